package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// chainSeed is a row of rims at even distances that may be a chain's heads.
type chainSeed struct {
	links []chainLink
	score float64
}

// chainLink is one place along a chain: a rim that was seen, or where one must
// be.
type chainLink struct {
	circle geom.Circle
	score  float64
	seen   bool
}

// A chain's row of heads (judgement, tried on generated chains).
const (
	sameHead   = 0.2  // heads of one chain differ in radius by less than this share
	sameScore  = 0.4  // and in score by no more than this ratio: shadows between plates are no heads
	pitchShare = 0.12 // a head lies off its predicted place by less than this share of the pitch
	maxUnseen  = 2    // heads missing in a row
	leastHeads = 4
)

// assembleChain finds the best row of rims. From each pair of rims side by side of like size
// the row is followed both ways: the next head lies a pitch on in the direction
// of the last one, give or take.
func assembleChain(rims []headRim) (chainSeed, bool) {
	rims = mergeRims(rims)
	var best chainSeed
	for _, a := range rims {
		var alike []headRim
		for _, b := range rims {
			if like(a.circle, b.circle) && b.score > sameScore*a.score && a.score > sameScore*b.score {
				alike = append(alike, b)
			}
		}
		for _, b := range nextHeads(alike, a) {
			c := follow(alike, a, b)
			if c.score > best.score {
				best = c
			}
		}
	}
	return best, best.seen() >= leastHeads
}

func (c chainSeed) seen() int {
	n := 0
	for _, l := range c.links {
		if l.seen {
			n++
		}
	}
	return n
}

// mergeRims keeps the better one of rims that two bands of radii found.
func mergeRims(all []headRim) []headRim {
	slices.SortStableFunc(all, func(a, b headRim) int { return cmp.Compare(b.score, a.score) })
	var out []headRim
next:
	for _, e := range all {
		for _, o := range out {
			if like(e.circle, o.circle) && r2.Norm(r2.Sub(e.circle.Center, o.circle.Center)) < 0.3*o.circle.R {
				continue next
			}
		}
		out = append(out, e)
	}
	return out
}

// like says whether two rims may be heads of one chain.
func like(a, b geom.Circle) bool { return math.Abs(a.R-b.R) < sameHead*(a.R+b.R)/2 }

// nextHeads returns the nearest rims that can be a pitch away from a.
func nextHeads(rims []headRim, a headRim) []headRim {
	type near struct {
		rim headRim
		d   float64
	}
	var all []near
	for _, b := range rims {
		d := r2.Norm(r2.Sub(b.circle.Center, a.circle.Center))
		if r := (a.circle.R + b.circle.R) / 2; r < mostHeadShare*d && r > leastHeadShare*d {
			all = append(all, near{b, d})
		}
	}
	slices.SortStableFunc(all, func(a, b near) int { return cmp.Compare(a.d, b.d) })
	const most = 6
	var out []headRim
	for _, n := range all[:min(len(all), most)] {
		out = append(out, n.rim)
	}
	return out
}

// follow builds the row through a and b.
func follow(rims []headRim, a, b headRim) chainSeed {
	first := chainLink{a.circle, a.score, true}
	second := chainLink{b.circle, b.score, true}
	on := walk(rims, first, second)
	back := walk(rims, second, first)
	slices.Reverse(back)
	c := chainSeed{links: slices.Concat(back, []chainLink{first, second}, on)}
	c.score = c.worth()
	return c
}

// worth says how good the row is: a place counts by how much more it rises than
// half of what the better quarter of its rims do, so that a row does not gain
// from shadows half-way between its heads.
func (c chainSeed) worth() float64 {
	var all []float64
	for _, l := range c.links {
		if l.seen {
			all = append(all, l.score)
		}
	}
	slices.Sort(all)
	usual := all[len(all)*3/4]
	worth := -0.05 * float64(len(c.links)-len(all))
	for _, s := range all {
		worth += s - usual/2
	}
	return worth
}

// walk follows the row from a over b and returns the links beyond b.
func walk(rims []headRim, a, b chainLink) []chainLink {
	var out []chainLink
	missing := 0
	for len(out) < mostPitches {
		step := r2.Sub(b.circle.Center, a.circle.Center)
		next := chainLink{circle: geom.Circle{Center: r2.Add(b.circle.Center, step), R: b.circle.R}}
		reach := pitchShare * r2.Norm(step) * (1 + 0.5*float64(missing))
		bestOff := reach
		for _, e := range rims {
			if off := r2.Norm(r2.Sub(e.circle.Center, next.circle.Center)); off < bestOff {
				bestOff = off
				next = chainLink{e.circle, e.score, true}
			}
		}
		if next.seen {
			missing = 0
		} else if missing++; missing > maxUnseen {
			break
		}
		out = append(out, next)
		a, b = b, next
	}
	for len(out) > 0 && !out[len(out)-1].seen {
		out = out[:len(out)-1]
	}
	return out
}

// median head radius and pitch of the row, pixels.
func (c chainSeed) radius() float64 {
	var r []float64
	for _, l := range c.links {
		if l.seen {
			r = append(r, l.circle.R)
		}
	}
	return middle(r)
}
