package calib

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// Limits of a rule's reading. The number of marks and the residual were
// exercised on generated scenes; the others are judgement.
const (
	minMarks      = 8
	goodMarks     = 20
	minShare      = 0.5  // of the marks between the outermost ones
	maxResidual   = 0.08 // of the distance of neighbouring marks
	maxResidualPx = 1.0
	minPeriodPx   = 1.0   // between marks; nothing finer can be seen
	maxTilt       = 0.05  // change of the scale over the length of the rule
	warnTilt      = 0.003 // worth a word
	warnScaleU    = 0.001
)

// FromRule reads the scale from the marks of a rule; division is the distance
// of neighbouring marks.
//
// Along the rule the position of mark k is fitted, robustly, by
//
//	x(k) = a + s + e s² + e² s³,  s = b (k - middle)
//
// which is the row of equal steps seen at a slant, s/(1 - e s), up to its
// cubic term. The scale is division/b at the middle of the rule, and the
// lengths along the rule change by -2 e per pixel. How the marks' own
// direction turns from one to the next, d angle/dx, is the relative change of
// those lengths across the rule. Both are weighed against what Options assumes
// of a camera set by eye.
//
// A cubic term left over is the lens. Where the marks leave no doubt of it the
// scale has a Lens of one coefficient about the photo's middle, and they are
// read as it leaves them; else its possible size is carried on as DistortionU.
//
// The error is a *check.Refusal (scale_unclear) when the marks do not make a
// scale; the Reading then still has the checks made so far.
func FromRule(rule geom.Rule, division Length, o Options) (Reading, error) {
	if err := o.validate(division, "division"); err != nil {
		return Reading{}, err
	}
	var reading Reading
	if err := reading.hold(check.AtLeast("rule_marks", float64(len(rule.Ticks)), minMarks)); err != nil {
		return reading, err
	}
	ticks := slices.Clone(rule.Ticks)
	slices.SortFunc(ticks, func(a, b geom.Tick) int { return cmp.Compare(a.K, b.K) })
	row, lens, err := readBent(ticks, o)
	if err != nil {
		return reading, err
	}
	if lens.read() {
		err := reading.hold(check.AtMost("lens_corner", math.Abs(lens.K1)*square(o.diagonal()/2), mostBend))
		if refused := (*check.Refusal)(nil); errors.As(err, &refused) {
			refused.Remedy = "read the lens from a flat grid with pinlash scale --grid, and measure with --scale-file; or use a lens that bends less"
			return reading, refused
		}
	}
	marks := row.comb.kept()
	expected := max(rule.Expected, ticks[len(ticks)-1].K-ticks[0].K+1)
	for _, c := range []check.Check{
		check.AtLeast("rule_marks", float64(marks), minMarks),
		check.AtLeast("rule_marks_share", float64(marks)/float64(expected), minShare),
		check.AtMost("rule_residual_px", row.comb.rms, min(maxResidual*row.period(), maxResidualPx)),
	} {
		if err := reading.hold(c); err != nil {
			return reading, err
		}
	}
	scale := Scale{
		Lens:       lens,
		Source:     "rule",
		DivisionMM: float64(division),
		Marks:      marks,
		W:          o.W,
		H:          o.H,
	}
	mmPerPx := float64(division) / row.period()
	assumed := o.assumedSlant(mmPerPx)
	e, eU := row.slant()
	h1, h1U, readAlong := settle(e, eU, assumed)
	turnU := grainTurns * row.turnU
	// A camera square along the rule is seldom far off across.
	most := leanRatio * math.Hypot(h1, h1U)
	if math.Abs(row.turn) < clearlyLeans*turnU {
		assumed = min(assumed, most) // nothing clear was seen across
	}
	turn, turnU, readAcross := settle(row.turn, turnU, assumed)
	if math.Abs(turn) > most {
		turnU = math.Hypot(turnU, oddTurns*turn)
	}
	along, across := axes(row.angle)
	scale.Gradient = r2.Add(r2.Scale(-2*h1, along), r2.Scale(turn, across))
	scale.GradientU = r2.Vec{X: 2 * h1U, Y: turnU}
	scale.GradientRead = r2.Vec{X: readAlong, Y: readAcross}
	scale.Foreshortening = o.foreshortening(mmPerPx, h1, h1U, turn, turnU)
	scale.DistortionU = row.bendLeft(lens, o)
	length, stated := row.length(), ruleLength(ticks, division)
	if !row.bent {
		// The least-squares slope of s + q s³ over this length is its mean
		// slope over sqrt(3/5) of it; with the cubic it is that of the middle.
		scale.Extent = math.Sqrt(0.6) * length
	}
	// The marks were read in the flat picture; the scale is that of the photo.
	scale.Origin = lens.bend(row.origin)
	way := lens.bent(row.origin, direction(row.angle))
	scale.AngleRad = math.Atan2(way.Y, way.X)
	scale.MMPerPx = relative(mmPerPx/r2.Norm(way),
		uncert.Term{Name: "rule marks read", U: row.comb.u(1) / row.comb.coef[1], DF: row.comb.df},
		uncert.Term{Name: "rule division tolerance", U: o.toleranceOr(relativeTolerance*stated) / float64(stated)},
	)
	tilt := length * max(2*math.Abs(h1), math.Abs(turn))
	if err := reading.hold(check.AtMost("tilt", tilt, maxTilt)); err != nil {
		return reading, err
	}
	if err := reading.take(scale); err != nil {
		return reading, err
	}
	reading.Notes = ruleNotes(rule.LongEvery, division, marks, tilt, scale.MMPerPx.U/scale.MMPerPx.Value, row.bent)
	if lens.read() {
		reading.Notes = append(reading.Notes, fmt.Sprintf("the rule's marks show a lens that moves the photo's corners by %+.1f %% of their distance from its middle; it was taken out, as far as one rule tells: pinlash scale --grid tells more", 100*lens.K1*square(o.diagonal()/2)))
	}
	return reading, nil
}

const (
	// leanRatio is how many times more a camera may lean across the rule than
	// along it: of axes of tilt in any direction nine in ten lie within it.
	leanRatio = 6.0
	// clearlyLeans is how many standard uncertainties of a reading leave no
	// doubt that the camera leans across the rule.
	clearlyLeans = 2.5
	// grainTurns is by how much the brushed grain of a rule, which runs on from
	// mark to mark, turns the marks more than their scatter tells (from rendered
	// rules without tilt: root mean square of 1.4 claimed uncertainties).
	grainTurns = 1.5
	// oddTurns is the standard uncertainty of a lean across the rule that is
	// greater than that, over it: of 14 such photos, rendered without a tilt, it was
	// grain and print that turned the marks.
	oddTurns = 0.3
)

// hold keeps the check and returns the refusal when it failed. A check of
// the same name takes the place of the earlier one.
func (r *Reading) hold(c check.Check) error {
	r.Checks = slices.DeleteFunc(r.Checks, func(old check.Check) bool { return old.Name == c.Name })
	r.Checks = append(r.Checks, c)
	if c.OK {
		return nil
	}
	return check.Refuse(check.ScaleUnclear, fmt.Sprintf(refusals[c.Name], c.Value, c.Limit))
}

// take keeps the scale that was read, unless it is too vague or makes no sense.
func (r *Reading) take(scale Scale) error {
	if err := r.hold(scaleCheck(scale.MMPerPx)); err != nil {
		return err
	}
	if err := scale.sound(); err != nil {
		return check.Refuse(check.ScaleUnclear, "the scale makes no sense: "+err.Error())
	}
	r.Scale = scale
	return nil
}

// refusals tells of a failed check, its value and its limit.
var refusals = map[string]string{
	"rule_marks":        "%.0f marks of the rule could be read, fewer than %.0f",
	"rule_marks_share":  "only a share of %.2f of the rule's marks could be read, less than %.2f",
	"lens_corner":       "the rule's marks show a lens that moves the photo's corners by %.2g of their distance from its middle, more than %.2g: one rule does not tell enough of it",
	"rule_residual_px":  "the rule's marks stray %.3g px from an even row, more than %.3g px",
	"tilt":              "the scale changes by %.2g over the length of the rule, more than %.2g: the camera looks at a slant",
	"scale_uncertainty": "the scale is known to %.2g of itself (standard uncertainty), worse than %.2g",
	"gauge_residual_px": "the gauge's rim strays %.3g px from a circle, more than %.3g px",
	"grid_points":       "%.0f points of the grid could be read, fewer than %.0f",
	"grid_points_share": "only a share of %.2f of the grid's points lie where they should, less than %.2f",
	"grid_residual_px":  "the grid's points stray %.3g px from an even grid, more than %.3g px",
	"grid_reach":        "the grid reaches only %.2f of the way from the photo's middle to its corner, less than %.2f: what the lens does beyond cannot be read",
	"grid_squash":       "the grid looks shorter one way than the other by %.2g of itself, more than %.2g: the camera looks at a slant, or the target is not square",
	"grid_tilt":         "the scale changes by %.2g over the photo, more than %.2g: the camera looks at a slant",
}

// ruleLength is the stated length between the outermost marks.
func ruleLength(ticks []geom.Tick, division Length) Length {
	return Length(ticks[len(ticks)-1].K-ticks[0].K) * division
}

// settle returns the weighted mean of a component read as v with standard
// uncertainty u and of zero with that of one that was not looked at: a rule
// too short to tell a slant does not invent one. The share is the weight of
// what was read.
func settle(v, u, assumed float64) (value, standard, share float64) {
	if math.IsInf(u, 1) {
		return 0, assumed, 0
	}
	share = square(assumed) / (square(assumed) + square(u))
	return share * v, math.Sqrt(share) * u, share
}

// row is a row of marks brought onto a straight line.
type row struct {
	place []float64 // of the marks along the row, pixels
	half  float64   // of the steps between the outermost marks
	comb  curve     // place against t = (k - middle)/half; see fitComb
	cubic curve     // the same with the lens's cubic
	bent  bool      // the cubic stood out, and comb is that fit

	origin      r2.Vec // the middle, pixels
	angle       float64
	turn, turnU float64 // of the marks' own direction, rad/px; turnU infinite when not seen
}

// readRow fits the row of at least minMarks marks, sorted by K.
func readRow(ticks []geom.Tick) (row, error) {
	n := len(ticks)
	first, last := ticks[0].K, ticks[n-1].K
	middle := float64(first)/2 + float64(last)/2
	r := row{half: float64(last)/2 - float64(first)/2}
	unclear := func(why string) (row, error) {
		return row{}, check.Refuse(check.ScaleUnclear, "the rule's marks do not make an even row: "+why)
	}
	var centre, way r2.Vec
	var mean float64
	for _, t := range ticks {
		if !usable(t) {
			return unclear(fmt.Sprintf("mark %d has no usable position", t.K))
		}
		centre = r2.Add(centre, r2.Scale(1/float64(n), t.At))
		mean += float64(t.K) / float64(n)
	}
	for _, t := range ticks {
		way = r2.Add(way, r2.Scale(float64(t.K)-mean, t.At))
	}
	if r.half == 0 || r2.Norm(way) == 0 {
		return unclear("they do not advance")
	}
	r.angle = math.Atan2(way.Y, way.X)
	along, across := axes(r.angle)
	s := series{}
	for _, t := range ticks {
		s.t = append(s.t, (float64(t.K)-middle)/r.half)
		s.y = append(s.y, r2.Dot(r2.Sub(t.At, centre), along))
		s.u = append(s.u, t.U)
	}
	r.place = s.y
	var ok bool
	if r.comb, ok = fitComb(s, 3); !ok || !(r.period() >= minPeriodPx) {
		return unclear("they do not advance")
	}
	if r.cubic, ok = fitComb(s, 4); !ok || !(r.cubic.coef[1] >= minPeriodPx*r.half) {
		return unclear("too few are left")
	}
	// The lens must not be called in to explain what leaves out marks.
	if math.Abs(r.cubic.coef[3]) > 3*r.cubic.u(3) && r.cubic.kept() >= r.comb.kept() {
		r.comb, r.bent = r.cubic, true
	}
	r.origin = r2.Add(centre, r2.Scale(r.comb.coef[0], along))
	r.turn, r.turnU = fitTurn(ticks, r, math.Atan2(across.Y, across.X))
	return r, nil
}

// fitComb fits x(t) = c0 + c1 t + c2 (t² + e t³) with e = c2/c1, and with
// terms = 4 another c3 t³. The slant's own cubic follows the quadratic and is
// found by repeating.
func fitComb(s series, terms int) (curve, bool) {
	e := 0.0
	var c curve
	for range 4 {
		var ok bool
		c, ok = fit(s, terms, func(t float64) []float64 {
			return []float64{1, t, t*t + e*t*t*t, t * t * t}[:terms]
		})
		if !ok || math.Abs(c.coef[2]) > math.Abs(c.coef[1]) {
			return curve{}, false // the row turns back on itself
		}
		if c.coef[1] != 0 {
			e = c.coef[2] / c.coef[1]
		}
	}
	return c, true
}

// readBent fits the row, and where the lens bends it beyond doubt the row as it
// is without that lens. The zero Lens stands for none.
func readBent(ticks []geom.Tick, o Options) (row, Lens, error) {
	r, err := readRow(ticks)
	if err != nil {
		return r, Lens{}, err
	}
	corner := square(o.diagonal() / 2)
	q, u := r.bend()
	if math.Abs(q) < clearlyBends*u || math.Abs(q)*corner < leastBend {
		return r, Lens{}, nil
	}
	lens := Lens{Centre: o.middle()}
	flat := r
	for range 4 { // each step leaves some percent of the one before
		q, _ := flat.bend()
		lens.K1 += q
		if math.Abs(lens.K1)*corner > mostBend {
			break // further on the model folds over
		}
		if flat, err = readRow(lens.flatTicks(ticks)); err != nil {
			return r, Lens{}, err
		}
	}
	flat.bent = false
	centreU := offCentre * o.diagonal()
	lens.Cov[1][1] = square(nextBend * lens.K1 / corner)
	lens.Cov[2][2], lens.Cov[3][3] = square(centreU), square(centreU)
	return flat, lens, nil
}

// What is assumed of a lens that one rule shows (judgement).
const (
	// clearlyBends is how many standard uncertainties of the cubic leave no
	// doubt that the lens bends, leastBend by how much it must in the corner to
	// be worth taking out.
	clearlyBends = 4.0
	leastBend    = 0.001
	// mostBend is how much it may in the corner for one coefficient to tell.
	mostBend = 0.05
	// nextBend is the standard uncertainty of the next coefficient's part in
	// the corner, over that of the first.
	nextBend = 0.2
	// offCentre is that of either coordinate of the lens's middle, over the
	// photo's diagonal.
	offCentre = 0.01
)

// flatTicks returns the marks as they are without the lens.
func (l Lens) flatTicks(ticks []geom.Tick) []geom.Tick {
	out := slices.Clone(ticks)
	for i := range out {
		t := &out[i]
		t.At = l.flat(t.At)
		way := l.flatter(t.At, direction(t.AngleRad))
		t.AngleRad = math.Atan2(way.Y, way.X)
	}
	return out
}

// bendLeft returns the standard uncertainty of the bend that is left when lens
// was taken out, 1/px². Where the marks show a larger one than is assumed, what
// their own uncertainty leaves of it is assumed.
func (r row) bendLeft(lens Lens, o Options) float64 {
	q, u := r.bend()
	if lens.read() {
		return u
	}
	assumed := o.assumedDistortion()
	if more := square(q) - square(u); more > square(assumed) {
		assumed = math.Sqrt(more)
	}
	q, u, _ = settle(q, u, assumed)
	return math.Hypot(q, u)
}

// usable reports whether the mark's figures are those of a mark in a photo.
func usable(t geom.Tick) bool {
	const far = 1e6
	return max(math.Abs(t.At.X), math.Abs(t.At.Y), math.Abs(float64(t.K))) <= far && t.U >= 1e-6 && t.U <= far
}

// fitTurn returns by how much the marks' direction turns per pixel along the
// row, from those marks whose direction was read.
func fitTurn(ticks []geom.Tick, r row, across float64) (turn, u float64) {
	var s series
	for i, t := range ticks {
		if !r.comb.keep[i] || !(math.Abs(t.AngleRad) <= 4*math.Pi && t.UAngle >= 1e-9 && t.UAngle <= math.Pi) {
			continue
		}
		s.t = append(s.t, (r.place[i]-r.comb.coef[0])/r.comb.coef[1])
		s.y = append(s.y, math.Remainder(t.AngleRad-across, math.Pi))
		s.u = append(s.u, t.UAngle)
	}
	if len(s.t) < minMarks {
		return 0, math.Inf(1)
	}
	c, ok := fit(s, 2, func(t float64) []float64 { return []float64{1, t} })
	if !ok {
		return 0, math.Inf(1)
	}
	return c.coef[1] / r.comb.coef[1], c.u(1) / r.comb.coef[1]
}

// period returns the distance of neighbouring marks at the middle, pixels.
func (r row) period() float64 { return r.comb.coef[1] / r.half }

// length returns the length of the row, pixels.
func (r row) length() float64 { return 2 * r.comb.coef[1] }

// slant returns e with its standard uncertainty, 1/px.
func (r row) slant() (e, u float64) {
	b := square(r.comb.coef[1])
	return r.comb.coef[2] / b, r.comb.u(2) / b
}

// bend returns the lens's cubic term with its standard uncertainty, 1/px².
func (r row) bend() (q, u float64) {
	b := math.Pow(r.cubic.coef[1], 3)
	return r.cubic.coef[3] / b, r.cubic.u(3) / b
}

// ruleNotes says what is worth a second look.
func ruleNotes(longEvery int, division Length, marks int, tilt, u float64, bent bool) []string {
	var notes []string
	if odd := oddOrder(longEvery, division); odd != "" {
		notes = append(notes, odd)
	}
	if marks < goodMarks {
		notes = append(notes, fmt.Sprintf("only %d marks of the rule were read; %d or more make a better scale", marks, goodMarks))
	}
	if tilt > warnTilt {
		notes = append(notes, fmt.Sprintf("the scale changes by %.1f %% over the length of the rule: set the camera square", 100*tilt))
	}
	if u > warnScaleU {
		notes = append(notes, fmt.Sprintf("the scale is known only to %.2f %% (standard uncertainty)", 100*u))
	}
	if bent {
		notes = append(notes, "the lens bends the row of marks; the scale is that of the rule's middle")
	}
	return notes
}

// oddOrder says so when every longEvery-th mark being long is not how a rule
// of this division is marked: tens with fives between them, twos on a
// half-millimetre rule, and twos, fours and on for halved inches.
func oddOrder(longEvery int, division Length) string {
	var usual []int
	var kind string
	switch {
	case isDecade(float64(division)) || isDecade(float64(division/Inch)):
		usual, kind = []int{5, 10}, "5 or 10"
	case isDecade(float64(division) * 2):
		usual, kind = []int{2, 4, 10, 20}, "2, 10 or 20"
	case isHalving(float64(Inch / division)):
		usual, kind = []int{2, 4, 8, 16}, "2, 4, 8 or 16"
	default:
		return ""
	}
	if longEvery == 0 || slices.Contains(usual, longEvery) {
		return ""
	}
	hint := ""
	switch longEvery {
	case 2:
		hint = ", as on a half-millimetre rule"
	case 4, 8, 16:
		hint = ", as on an inch rule"
	case 5, 10:
		hint = ", as on a decimal rule"
	}
	return fmt.Sprintf("every %s mark of the rule is long%s; for a division of %v it should be every %s: check the stated division", ordinal(longEvery), hint, division, kind)
}

func ordinal(n int) string {
	switch n {
	case 2:
		return "2nd"
	case 3:
		return "3rd"
	default:
		return fmt.Sprintf("%dth", n)
	}
}

func isDecade(v float64) bool  { return nearWhole(math.Log10(v)) }
func isHalving(v float64) bool { return v >= 2 && nearWhole(math.Log2(v)) }

func nearWhole(v float64) bool { return math.Abs(v-math.Round(v)) < 1e-6 }
