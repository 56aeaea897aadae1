package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// minLinkScore is the least score at which the order of the links is told
// (judgement: generated chains without any edge between the plates stay below
// it, see the tests).
const minLinkScore = 4.0

// linkKinds tells inner and outer links apart.
//
// The plates of outer links lie on top, over those of the inner ones: between
// the two heads of an outer link the face of its plate runs through, between
// the heads of an inner link the round ends of two outer plates cross, an edge
// with its shadow about each head, at the same distance from all. So on the
// arcs about each head, towards either side, light is searched for a dark line,
// and for each distance what the sides towards every other link show is held
// against what the sides towards the links between show. The score is the best
// difference over its standard deviation, or over what other distances show.
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
func linkOrder(g raster.Gray, h geom.Heads) (order, score float64) {
	n := len(h.Heads)
	var pitch, radius float64
	for i, c := range h.Heads {
		radius += c.R / float64(n)
		if i > 0 {
			pitch += r2.Norm(r2.Sub(c.Center, h.Heads[i-1].Center)) / float64(n-1)
		}
	}
	from, to := 1.2*radius, 0.5*pitch
	count := int(to - from)
	if count < 4 {
		return 0, 0
	}
	side := max(2, 0.025*pitch, 2.5*h.Blur)
	// What the sides towards links 0, 2, ... show, and those towards 1, 3, ...
	var sides [2][][]float64
	for i, c := range h.Heads {
		for _, link := range []int{i - 1, i} { // the link before and after head i
			// Beyond the ends the chain runs on as it came.
			to := r2.Sub(h.Heads[min(link+1, n-1)].Center, h.Heads[max(link, 0)].Center)
			if link < 0 {
				to = r2.Sub(h.Heads[1].Center, c.Center)
			}
			if link == n-1 {
				to = r2.Sub(c.Center, h.Heads[n-2].Center)
			}
			if link < i {
				to = r2.Scale(-1, to)
			}
			k := (link + 2) % 2
			sides[k] = append(sides[k], arcLines(g, c.Center, math.Atan2(to.Y, to.X), from, count, side))
		}
	}
	diff, noise := make([]float64, count), make([]float64, count)
	var usual []float64
	for j := range count {
		var mean, variance [2]float64
		for k, lines := range sides {
			mean[k], variance[k] = meanOf(lines, j)
		}
		if math.IsNaN(variance[0] + variance[1]) {
			continue
		}
		diff[j], noise[j] = mean[0]-mean[1], math.Sqrt(variance[0]+variance[1])
		usual = append(usual, math.Abs(diff[j]))
	}
	// The sides of one kind must agree with each other, and the line must stand
	// out from what other distances show.
	floor := max(1.48*middle(usual), 0.002)
	for j, d := range diff {
		if s := math.Abs(d) / max(noise[j], floor); s > score {
			order, score = math.Copysign(1, d), s
		}
	}
	return order, score
}

// meanOf returns the mean of value j of the lines and the variance of the
// mean, NaN with fewer than two.
func meanOf(lines [][]float64, j int) (mean, variance float64) {
	n, sum, sumsq := 0.0, 0.0, 0.0
	for _, l := range lines {
		if v := l[j]; !math.IsNaN(v) {
			n++
			sum += v
			sumsq += v * v
		}
	}
	if n < 2 {
		return 0, math.NaN()
	}
	mean = sum / n
	return mean, max(sumsq/n-mean*mean, 0) / (n - 1)
}

// leastPlate is the light of a plate as a share of that beside the head below
// which it is no plate.
const leastPlate = 0.35

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
			out[j] = max((around-b)/around, -0.05)
		}
	}
	return out
}
