package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"

	"pinlash/measure/uncert"
)

// How the line is found along which pin and bore touch (judgement, tried on
// generated and ray-traced joints).
const (
	crossSigmas = 2.0 // standard uncertainties by which the circles must cross
	openGap     = 1.5 // edge spreads: rims farther apart than this are seen each
	// Two flanks worn together share the crossing alike all along. If their middle
	// lies aside of the pull they do not: 7 degrees aside, the line is off by this
	// share of what the circles cross less there, 60 degrees from the pull.
	flankUneven = 0.2
	lineU       = 0.1  // px, and of the edge spread: least standard deviation of a direction
	shareStep   = 0.05 // px, between the shares that are tried
	mostShares  = 600
	// likeNeighbours is the number of neighbouring directions that oil or grain
	// lead astray alike, so that they count for one.
	likeNeighbours = 2.0
)

// contact is a pin that lies against a worn flank: the circles of pin and bore
// cross there.
//
// No gap is seen then, but at most one line. How deep both are worn together
// follows from the pin's place, for along the pull the bore's radius and its
// wear reach as far as the offset, the pin's radius less its wear, and the gap
// that is left:
//
//	bore's wear + pin's wear = offset - clearance/2 + gap.
//
// How they share it only the line says. Where that is not seen, each may have
// anything from nothing to all.
type contact struct {
	cross         uncert.Quantity // by how much the circles cross on the line of pull, px
	gap, gapU     float64         // left between pin and bore, px
	share, shareU float64         // of the bore in the wear of both
	alone         [2]bool         // bore or pin is seen there, and not the other
}

// line is what one direction shows of the line of contact, in pixels.
type line struct {
	cross      float64 // by how much the circles cross there
	bore, both float64 // wear of the bore, and of bore and pin
	u          float64 // of where between them the line lies
	cos        float64 // of the angle from the line of pull
	short      float64 // by how much less the circles cross there than on that line
}

// gap is what the direction says of the gap on the line of pull: two flanks of
// one radius are apart by the gap times the cosine of the angle from there.
func (l line) gap() float64 { return (l.both - l.cross) / l.cos }

// contact returns how pin and bore touch; ok is false where their circles do
// not cross, or where the gap is open, so that each rim is seen by itself.
func (j joint) contact(offset, clearance uncert.Quantity, load float64) (c contact, ok bool) {
	c.cross = j.onPull(-1, offset, clearance)
	if math.IsNaN(load) || c.cross.Value < crossSigmas*c.cross.U {
		return c, false
	}
	lines, alone := j.lines(offset.Value, load)
	open, ok := openGap*j.e.Blur, true
	var widths []float64
	for _, l := range lines {
		widths = append(widths, l.both-l.cross)
	}
	switch {
	case alone[0]+alone[1] > len(lines):
		// The gap was too narrow to read the other rim: no more is known of it.
		c.alone = [2]bool{alone[0] > alone[1], alone[1] > alone[0]}
		open = max(open, j.bore.hidden, j.pin.hidden)
		lines = nil
	case len(lines) > 0 && median(widths) > open:
		open, ok = 2*median(widths), false
	}
	lines = slices.DeleteFunc(lines, func(l line) bool { return !l.between(j.e.Blur) })
	c.divide(lines, j.e.Blur)
	c.spread(lines, j.e.Blur, open)
	return c, ok
}

// lines returns what the directions in which the circles cross show of the
// line of contact, and in how many bore and pin are seen alone.
func (j joint) lines(offset, load float64) (lines []line, alone [2]int) {
	boreR, pinR := j.bore.circle.R, j.pin.circle.R
	scatter := math.Hypot(j.bore.circle.RMS, j.pin.circle.RMS) / 2
	for i := range min(len(j.bore.Angle), len(j.pin.Angle)) {
		sin, cos := math.Sincos(angleBetween(j.bore.Angle[i], load))
		cross := offset*cos + math.Sqrt(max(pinR*pinR-offset*offset*sin*sin, 0)) - boreR
		if cross <= 0 {
			continue
		}
		switch bore, worn := j.bore.Dev[i], -j.pin.Dev[i]; {
		case j.bore.U[i] > 0 && j.pin.U[i] > 0:
			u := math.Hypot((j.bore.U[i]+j.pin.U[i])/2, scatter)
			short := max(0, offset+pinR-boreR-cross)
			lines = append(lines, line{cross, bore, bore + worn, u, cos, short})
		case j.bore.U[i] > 0:
			alone[0]++
		case j.pin.U[i] > 0:
			alone[1]++
		}
	}
	return lines, alone
}

// between says whether the line lies between the circles, as that of contact
// does, and is as narrow.
func (l line) between(blur float64) bool {
	return l.bore > -beyond(blur) && l.bore < l.both+beyond(blur) && l.both > 0 &&
		math.Abs(l.both-l.cross) < openGap*blur+2*l.u
}

// beyond is how far outside the two circles a line of contact may seem to lie.
func beyond(blur float64) float64 { return 1 + blur }

// likelihood is the density of what the direction shows where the bore has a
// share of the wear, and that of a direction that shows grain, oil or a scratch
// instead, anywhere between the circles.
func (l line) likelihood(share, blur float64) (shown, other float64) {
	sd := math.Hypot(l.u, math.Hypot(lineU*(1+blur), flankUneven*l.short))
	z := (l.bore - share*l.both) / sd
	return math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi)), 1 / (l.both + 2*beyond(blur))
}

// divide finds the share of the bore in the wear, and its standard
// uncertainty: median of all shares, each weighed by how well the directions
// agree on it, whatever part of them shows the line at all (Bayes' rule; shares
// and parts are all alike before), and their scatter about it.
func (c *contact) divide(lines []line, blur float64) {
	margin := beyond(blur) / c.cross.Value
	n := min(int((1+2*margin)*c.cross.Value/shareStep)+2, mostShares)
	shares, logs := make([]float64, n), make([]float64, n)
	parts := [...]float64{0, 0.1, 0.3, 0.5, 0.7, 0.9}
	for i := range shares {
		shares[i] = (1+2*margin)*float64(i)/float64(n-1) - margin
		var sums [len(parts)]float64
		for _, l := range lines {
			shown, other := l.likelihood(shares[i], blur)
			for k, part := range parts {
				sums[k] += math.Log(part*shown+(1-part)*other) / likeNeighbours
			}
		}
		most := slices.Max(sums[:])
		for k := range sums {
			logs[i] += math.Exp(sums[k] - most)
		}
		logs[i] = most + math.Log(logs[i])
	}
	most := slices.Max(logs)
	for i := range logs {
		logs[i] = math.Exp(logs[i] - most)
		shares[i] = max(0, min(shares[i], 1)) // beyond, one of them is not worn
	}
	c.share = weightedMedian(shares, logs)
	var weight, square float64
	for i, w := range logs {
		weight += w
		square += w * (shares[i] - c.share) * (shares[i] - c.share)
	}
	c.shareU = math.Sqrt(square / weight)
}

// spread finds the gap left between pin and bore from the directions that show
// the line; before, it may be anything up to open.
func (c *contact) spread(lines []line, blur, open float64) {
	c.gap, c.gapU = open/2, open/math.Sqrt(12)
	if len(lines) == 0 {
		return
	}
	var gaps, weights []float64
	directions := 0.0
	for _, l := range lines {
		l.u = math.Hypot(l.u, c.shareU*l.both)
		shown, other := l.likelihood(c.share, blur)
		w := shown / (shown + other) * l.cos
		gaps, weights = append(gaps, l.gap()), append(weights, w)
		directions += w / likeNeighbours
	}
	middle := weightedMedian(gaps, weights)
	for i := range gaps {
		gaps[i] = math.Abs(gaps[i] - middle)
	}
	u := 1.48 * weightedMedian(gaps, weights)
	before, now := 1/(c.gapU*c.gapU), directions/(u*u+lineU*lineU)
	c.gap = max(0, (before*c.gap+now*middle)/(before+now))
	c.gapU = math.Sqrt(1 / (before + now))
}

// weightedMedian returns the value at which half of the weight is reached. It
// sorts values and weights.
func weightedMedian(v, weights []float64) float64 {
	stat.SortWeighted(v, weights)
	return stat.Quantile(0.5, stat.Empirical, v, weights)
}

// rimsU is the standard uncertainty of bore's and pin's place in contact, pixels: as
// they are read through the gap that is left, all of which may be shade. Of a pin that
// is not level what seems a gap may be the end of its shade, or of the bush's.
func (c contact) rimsU(j joint) [2]float64 {
	u := j.contactU()
	for i := range u {
		u[i] = math.Hypot(u[i], gapLeftU*(c.gap+j.shadeReach()))
	}
	return u
}

// inContact returns the wear of bore and pin where they touch.
func (j joint) inContact(c contact, load float64) (flanks [2]wornFlank) {
	contactU := c.rimsU(j)
	rims := [2]rim{j.bore, j.pin}
	flank := func(i int, depth, u float64) wornFlank {
		w := wornFlank{
			depth:     uncert.Combine(depth, "px", rims[i].depthBudget(u, load, contactU[i])),
			direction: math.Mod(load+2*math.Pi, 2*math.Pi),
			read:      true,
		}
		if depth > wearSigmas*u && depth > 2*w.depth.U {
			half := max(0, j.bore.circle.R-j.pin.circle.R)
			w.seen = true
			w.width = 2 * math.Acos(half/(half+depth)) // to where the circles cross
		}
		return w
	}
	both := c.cross.Value + c.gap
	for i := range flanks {
		if !c.alone[i] {
			continue
		}
		if w := rims[i].side(load).wear(load, contactU[i]); !w.unseen {
			// What the one does not have is the other's.
			u := math.Hypot(w.depth.U, math.Hypot(c.cross.U, c.gapU))
			flanks[i], flanks[1-i] = w, flank(1-i, max(0, both-w.depth.Value), u)
			return flanks
		}
	}
	part := func(i int, share float64) wornFlank {
		return flank(i, share*both, math.Hypot(c.shareU*both, share*math.Hypot(c.cross.U, c.gapU)))
	}
	return [2]wornFlank{part(0, c.share), part(1, 1-c.share)}
}

// farthest returns the play of a pin in contact, clearance and both depths of
// wear together: offset, half the clearance and gap.
func (j joint) farthest(c contact, offset, clearance uncert.Quantity) uncert.Quantity {
	q := j.onPull(+1, offset, clearance)
	u := c.rimsU(j)
	b := uncert.Budget{{Name: "gap left in contact", U: math.Hypot(c.gapU, max(u[0], u[1]))}}
	return uncert.Combine(q.Value+c.gap, "px", append(b, q.Budget...))
}

// onPull returns the offset plus (way +1) or less (way -1) half the clearance,
// pixels. What the rims have in common counts once.
func (j joint) onPull(way float64, offset, clearance uncert.Quantity) uncert.Quantity {
	to := r2.Vec{X: 1}
	if d := r2.Sub(j.e.PinFit.Center, j.e.BoreFit.Center); r2.Norm(d) > 0 {
		to = r2.Unit(d)
	}
	g := [6]float64{-to.X, -to.Y, way, to.X, to.Y, -way}
	v := 0.0
	for i := range g {
		for k := range g {
			v += g[i] * g[k] * j.e.Cov[i][k]
		}
	}
	half := clearance.Scaled(0.5, "px")
	b := uncert.Budget{{Name: rimsLight, U: math.Sqrt(max(v, 0)), DF: df(j.e.BoreFit) + df(j.e.PinFit)}}
	for _, t := range slices.Concat(half.Budget, offset.Budget) {
		if t.Name != rimsLight {
			b = append(b, t)
		}
	}
	return uncert.Combine(offset.Value+way*half.Value, "px", b)
}
