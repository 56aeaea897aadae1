package vision

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// FoundRule is a graduated rule as it lies in a photo.
type FoundRule struct {
	geom.Rule
	// Outline has the corners around all marks, in turn, pixels. Digits and
	// the rule's own edge lie outside.
	Outline [4]r2.Vec
	// LineWidth is the width of a mark, Blur the edge spread (standard
	// deviation) at its flanks, pixels.
	LineWidth, Blur float64
	Bright          bool // marks are lighter than the rule
}

// RuleSearch is the outcome of a search for a rule.
type RuleSearch struct {
	FoundRule
	// Second is another rule elsewhere in the photo, nil when there is none.
	// The two need not agree: whether they do is for the caller to judge, who
	// knows their divisions.
	Second *FoundRule
	Checks []check.Check // of the first rule
}

// Limits of a readable rule, from the tables and trials the package's design
// rests on; method checks shows what they are held against.
const (
	minMarks      = 8    // a false comb by chance has 6 or 7
	minMarksShare = 0.5  // of the marks between first and last
	maxResidual   = 0.05 // of the period
	maxResidualPx = 1.0
	maxChange     = 0.05 // of the period from end to end
	minRepetition = 0.25
	minAligned    = 0.75 // share of marks with an end in line
	maxTries      = 12   // candidates looked at closely for the first rule
	maxMoreTries  = 3    // and, once there is one, for another
	maxPattern    = 0.45 // by how much fewer of every third or fourth mark may be found
	maxBetween    = 0.15 // height of marks between the marks
	minContrast   = 0.25 // printed marks have 0.9, etched ones 0.3; smeared ones less
	minEnded      = 0.5  // share of marks that end; lines of a grating do not
	minSlender    = 2    // length of a mark over its width; a round hole has 1
	maxCrossed    = 0.25 // bars of a mesh across the marks, over the marks
	maxRepeats    = 1    // a rule divided along both edges has one
	maxInTurn     = 0.3  // of the marks' height, by which every second differs
)

// FindRule looks for graduated rules in a photo: at least eight straight,
// parallel, evenly spaced marks, 6 to 130 pixels apart, dark or bright, at any
// angle and anywhere. The best rule (smallest relative uncertainty of its
// period) comes first.
//
// The error is a *check.Refusal: no_scale when there is no comb of marks,
// scale_unclear when there is one that fails a check.
func FindRule(g raster.Gray) (RuleSearch, error) {
	var found, failed []*ruleFit
	var doubtful *check.Refusal
	runs := findRuns(g)
	for tries, i := maxTries, 0; tries > 0 && len(found) < 2 && i < len(runs); i++ {
		if slices.ContainsFunc(found, func(f *ruleFit) bool { return f.holds(runs[i]) }) {
			continue
		}
		tries--
		f, ok := readRule(g, runs[i])
		if !ok || slices.ContainsFunc(found, f.partOf) || slices.ContainsFunc(failed, f.partOf) {
			continue
		}
		f.checked = f.checks(runs)
		if refusal := firstFailing(f.checked); refusal != nil {
			if f.plausible() {
				failed = append(failed, f)
				if doubtful == nil {
					doubtful = refusal
				}
			}
			continue
		}
		found = append(found, f)
		tries = min(tries, maxMoreTries)
	}
	switch {
	case len(found) == 0 && doubtful != nil:
		return RuleSearch{}, doubtful
	case len(found) == 0:
		return RuleSearch{}, check.Refuse(check.NoScale, fmt.Sprintf("no row of %d or more evenly spaced marks found in the photo", minMarks))
	}
	slices.SortStableFunc(found, func(a, b *ruleFit) int {
		return cmp.Compare(a.comb.UPeriod/a.comb.Period, b.comb.UPeriod/b.comb.Period)
	})
	s := RuleSearch{FoundRule: found[0].rule(), Checks: found[0].checked}
	if len(found) > 1 {
		second := found[1].rule()
		s.Second = &second
	}
	return s, nil
}

// readRule measures the rule of which run is a part. When the run turns out to
// be of long marks only, the short ones are read as well; those beside a long
// mark can be in the way of its being measured alone.
func readRule(g raster.Gray, run ruleRun) (*ruleFit, bool) {
	f, ok := fitRule(g, run)
	if !ok {
		for _, parts := range [...]int{5, 2} {
			if run.period < ruleMinPeriod*float64(parts) {
				continue
			}
			if f, ok := fitRule(g, run.divided(parts)); ok {
				return f, true
			}
		}
		return nil, false
	}
	if height, parts := f.between(); height > maxBetween {
		if finer, ok := fitRule(g, run.divided(parts)); ok {
			return finer, true
		}
	}
	return f, true
}

// rule gives the fit in the words of package geom. Marks are numbered towards
// +x, or downwards along an upright rule.
func (f *ruleFit) rule() FoundRule {
	r := FoundRule{LineWidth: f.shape.Width, Blur: f.shape.Blur, Bright: f.bright, Outline: f.outline(0)}
	first, last := f.marks[0].k, f.marks[len(f.marks)-1].k
	across, along := f.frame.across(), f.frame.along
	rough := max(1, f.comb.Rough)
	for _, m := range f.marks {
		d := r2.Add(across, r2.Scale(m.lean, along))
		r.Ticks = append(r.Ticks, geom.Tick{
			K: m.k - first, At: f.frame.at(m.Center, 0), U: m.u * rough,
			AngleRad: math.Atan2(d.Y, d.X), UAngle: m.leanU,
			Length: (m.bottom - m.top) * math.Hypot(1, m.lean),
		})
	}
	if along.X < 0 || along.X == 0 && along.Y < 0 {
		along = r2.Scale(-1, along)
		slices.Reverse(r.Ticks)
		for i := range r.Ticks {
			r.Ticks[i].K = last - first - r.Ticks[i].K
		}
	}
	r.Expected = last - first + 1
	r.Period, r.UPeriod = f.comb.Period, f.comb.UPeriod
	r.AngleRad = math.Atan2(along.Y, along.X)
	r.LongEvery = longEvery(f.marks)
	return r
}

// outline returns the corners around the marks and margin pixels more.
func (f *ruleFit) outline(margin float64) [4]r2.Vec {
	first, last := f.marks[0], f.marks[len(f.marks)-1]
	top, bottom := f.v0, f.v1
	for _, m := range f.marks {
		top, bottom = min(top, m.top), max(bottom, m.bottom)
	}
	side := f.shape.Width/2 + f.shape.Blur + margin
	top, bottom = top-margin, bottom+margin
	corner := func(m ruleMark, du, v float64) r2.Vec { return f.frame.at(m.Center+du+f.frame.lean(m.Center)*v, v) }
	return [4]r2.Vec{corner(first, -side, top), corner(last, side, top), corner(last, side, bottom), corner(first, -side, bottom)}
}

// holds says whether more than half of the run's bars belong to the rule.
func (f *ruleFit) holds(run ruleRun) bool {
	box := f.outline(f.period)
	n := 0
	for _, b := range run.bars {
		if inQuad(box, r2.Scale(0.5, r2.Add(b.a, b.b))) {
			n++
		}
	}
	return 2*n > len(run.bars)
}

// partOf says whether the fit is no rule of its own but belongs to another: a
// stretch of it beyond something that covers it, or its figures, whose strokes
// repeat at a multiple of the period.
func (f *ruleFit) partOf(other *ruleFit) bool {
	if math.Abs(r2.Cross(f.frame.along, other.frame.along)) > 0.05 {
		return false
	}
	_, v := other.frame.of(f.frame.origin)
	ratio := f.period / other.period
	off := math.Abs(ratio/math.Round(ratio) - 1)
	return off < 0.02 && (math.Abs(v) < other.v1-other.v0 || ratio > 1.5)
}

// inQuad says whether p lies in the convex quadrilateral q.
func inQuad(q [4]r2.Vec, p r2.Vec) bool {
	side := 0.0
	for i := range q {
		c := r2.Cross(r2.Sub(q[(i+1)%4], q[i]), r2.Sub(p, q[i]))
		if c*side < 0 {
			return false
		}
		if c != 0 {
			side = c
		}
	}
	return true
}
