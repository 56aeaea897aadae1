package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// minLinkScore is the least score at which the order of the links is told
// (judgement). Of 360 generated chains, a tenth of them without any edge between
// the plates, those that speak for the wrong order stay below 1.
const minLinkScore = 4.0

// linkKinds tells inner and outer links apart.
//
// The plates of outer links lie on top, over those of the inner ones: between
// the two heads of an outer link the face of its plate runs through, between
// the heads of an inner link the round ends of two outer plates cross, an edge
// with its shadow about each head, at the same distance from all. So on the
// arcs about each head, towards either side, light is searched for a dark line.
//
// The plates that hold open bushes are inner ones, and lie below or alone, but
// hollow pins in outer plates look the same: from bush to bush, and where pins
// are not clearly pins, the kinds are not told.
func linkKinds(g raster.Gray, h geom.Heads) ([]geom.LinkKind, float64) {
	n := len(h.Heads) - 1
	kinds := make([]geom.LinkKind, n)
	for i := range kinds {
		kinds[i] = geom.UnknownLink
	}
	if h.Kind != geom.PinHead || h.Unclear {
		return kinds, 0
	}
	order, score := linkOrder(g, h)
	score = round(score, 1)
	if score < minLinkScore {
		return kinds, score
	}
	for i := range kinds {
		kinds[i] = geom.OuterLink
		if (i%2 == 0) == (order > 0) {
			kinds[i] = geom.InnerLink
		}
	}
	return kinds, score
}

// linkOrder returns +1 when the first link is the inner one, -1 when it is the
// outer one, and the score for it.
//
// For each distance it is held against each other what a head shows towards
// the link before and after it; the heads at the ends are left out, since
// plates may end with them. A line counts by what all heads show of it but the
// quarter of them that show it least: a scratch is at one head, and dirt hides
// one. The score is by how much the strongest line towards one kind of link
// exceeds the strongest towards the other, over the scatter of all that is no
// line: the kind that shows none has had as many distances to show one by
// chance.
func linkOrder(g raster.Gray, h geom.Heads) (order, score float64) {
	n := len(h.Heads)
	var pitch, radius float64
	for i, c := range h.Heads {
		radius += c.R / float64(n)
		if i > 0 {
			pitch += r2.Norm(r2.Sub(c.Center, h.Heads[i-1].Center)) / float64(n-1)
		}
	}
	side := max(2, 0.025*pitch, 2.5*h.Blur)
	// The nearer arc is off the head with its own line.
	from, to := (1+lineShare)*radius+2*h.Blur+side, 0.5*pitch
	count := int(to - from)
	if count < 4 {
		return 0, 0
	}
	// What heads show towards links 0, 2, ..., and towards 1, 3, ...
	var sides [][2][]float64
	for i := 1; i < n-1; i++ {
		at := h.Heads[i].Center
		var s [2][]float64
		for k, next := range []int{i - 1, i + 1} {
			way := r2.Sub(h.Heads[next].Center, at)
			s[(i-1+k)%2] = arcLines(g, at, math.Atan2(way.Y, way.X), from, count, side)
		}
		sides = append(sides, s)
	}
	var most [2]float64
	for j := range count {
		var more []float64 // line towards links 0, 2, ...
		for _, s := range sides {
			if d := max(s[0][j], 0) - max(s[1][j], 0); !math.IsNaN(d) {
				more = append(more, d)
			}
		}
		if len(more) < 2 || 2*len(more) < len(sides) {
			continue
		}
		slices.Sort(more)
		few := len(more) / 4
		most[0] = max(most[0], more[few])
		most[1] = max(most[1], -more[len(more)-1-few])
	}
	d := most[0] - most[1]
	return math.Copysign(1, d), math.Abs(d) / lineScatter(sides)
}

// lineScatter is the standard deviation of lines where there are none. What
// lies right beside a line is left out.
func lineScatter(sides [][2][]float64) float64 {
	var all []float64
	for _, s := range sides {
		for _, lines := range s {
			for _, v := range lines {
				if v > besideLine {
					all = append(all, v)
				}
			}
		}
	}
	if len(all) == 0 {
		return leastScatter
	}
	mid := middle(all)
	for i, v := range all {
		all[i] = math.Abs(v - mid)
	}
	return max(1.48*middle(all), leastScatter)
}

// leastScatter is that of lines on plates without grain, which the rounding to
// the levels of a file leaves.
const leastScatter = 0.004

// leastPlate is the light of a plate as a share of that beside the head below
// which it is no plate.
const leastPlate = 0.35

// besideLine is the least that arcLines returns: brighter than the arcs to
// either side by more is what lies beside a line.
const besideLine = -0.05

// arcLines returns by which share of the light around arcs about a centre are
// darker than the arcs side px nearer and farther, for the distances from,
// from+1, ...; NaN outside the picture and where there is no plate. The arcs open 25 degrees to either side
// of the direction.
func arcLines(g raster.Gray, at r2.Vec, direction, from float64, count int, side float64) []float64 {
	const open = 25 * math.Pi / 180
	pad := int(math.Ceil(side)) + 1
	arcs := make([]float64, count+2*pad)
	for j := range arcs {
		r := from + float64(j-pad)
		steps := max(int(open*r/1.5), 3)
		var v []float64
		for k := -steps; k <= steps; k++ {
			sin, cos := math.Sincos(direction + open*float64(k)/float64(steps))
			x, y := at.X+r*cos, at.Y+r*sin
			if g.Inside(x, y) {
				v = append(v, g.Bilinear(x, y))
			}
		}
		arcs[j] = math.NaN()
		if len(v) > steps {
			arcs[j] = middle(v)
		}
	}
	out := make([]float64, count)
	s := int(math.Round(side))
	plate := arcs[pad] // the plate beside the head
	for j := range out {
		a, b, c := arcs[j+pad-s], arcs[j+pad], arcs[j+pad+s]
		// A line is darker than either side; a step from one plate to the other
		// is not a line, and where it is much darker there is no plate.
		around := min(a, c)
		out[j] = math.NaN()
		if around > leastPlate*plate {
			out[j] = max((around-b)/around, besideLine)
		}
	}
	return out
}
