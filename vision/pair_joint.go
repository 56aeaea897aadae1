package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// roundEnd is a round edge: the end of a pin, or the rim of a bush.
type roundEnd struct {
	Center   r2.Vec
	R, U     float64 // radius; standard uncertainty of the centre; pixels
	coverage float64 // share of the directions that show the edge
}

const (
	mostRoundEnds  = 6
	smallestEnd    = 0.02 // radius of the longest side (L)
	largestEnd     = 0.25 // (L)
	leastCoverage  = 0.55 // of the directions (L)
	roundDirection = 72
)

// roundEnds finds round edges in the first photo, the clearest first.
//
// Every strong gradient votes for the points on its line: the middle of a
// circle gets the votes of its whole rim, and of every ring about it. The marks
// of the rule vote for each other and are left out.
func (p pair) roundEnds(rule geom.Rule) []roundEnd {
	level := p.look
	for max(p.a[level].W, p.a[level].H) > 450 && level < p.coarse {
		level++
	}
	g := p.a[level].Gray
	long := float64(max(g.W, g.H))
	votes := centreVotes(g, smallestEnd*long, largestEnd*long)
	if onRule := marksOf(rule); onRule != nil {
		for i := range votes.Pix {
			if onRule(fullPoint(r2.Vec{X: float64(i % g.W), Y: float64(i / g.W)}, level)) {
				votes.Pix[i] = 0
			}
		}
	}
	var out []roundEnd
	for range 3 * mostRoundEnds {
		x, y, v := peak(votes)
		if v == 0 {
			break
		}
		clearAround(votes, x, y, int(smallestEnd*long)+2)
		end, ok := clearestRing(g, r2.Vec{X: float64(x), Y: float64(y)}, smallestEnd*long, largestEnd*long)
		if ok && !openBore(g, end) {
			out = append(out, end)
		}
	}
	slices.SortStableFunc(out, func(a, b roundEnd) int { return cmp.Compare(b.coverage, a.coverage) })
	out = out[:min(len(out), mostRoundEnds)]
	k := math.Ldexp(1, level)
	for i := range out {
		out[i].Center = fullPoint(out[i].Center, level)
		out[i].R *= k
		out[i].U *= k
	}
	return out
}

// centreVotes returns for every pixel how many edge pixels have it on their
// normal, between the radii from and to.
func centreVotes(g raster.Gray, from, to float64) raster.Gray {
	type edge struct {
		x, y   int
		dx, dy float32
		size   float32
	}
	edges := make([]edge, 0, g.W*g.H)
	for y := 1; y < g.H-1; y++ {
		up, at, down := g.Row(y-1), g.Row(y), g.Row(y+1)
		for x := 1; x < g.W-1; x++ {
			dx := (up[x+1] + 2*at[x+1] + down[x+1] - up[x-1] - 2*at[x-1] - down[x-1]) / 8
			dy := (down[x-1] + 2*down[x] + down[x+1] - up[x-1] - 2*up[x] - up[x+1]) / 8
			if s := dx*dx + dy*dy; s > 0 {
				// Contrast counts relative to the light there.
				edges = append(edges, edge{x, y, dx, dy, s / ((at[x] + 0.05) * (at[x] + 0.05))})
			}
		}
	}
	// The strongest eighth votes; every 16th pixel tells where that begins.
	var sample []float32
	for i := 0; i < len(edges); i += 16 {
		sample = append(sample, edges[i].size)
	}
	slices.Sort(sample)
	votes := raster.NewGray(g.W, g.H)
	for _, e := range edges {
		if e.size < sample[len(sample)*7/8] {
			continue
		}
		n := float32(1 / math.Sqrt(float64(e.dx*e.dx+e.dy*e.dy)))
		x0, y0 := float32(e.x)+0.5, float32(e.y)+0.5
		for _, sign := range []float32{-n, n} {
			sx, sy := sign*e.dx, sign*e.dy
			for r := float32(from); r <= float32(to); r++ {
				// To the nearest pixel; left of the picture's second it does not matter.
				x, y := int(x0+sx*r), int(y0+sy*r)
				if x < 1 || y < 1 || x >= g.W-1 || y >= g.H-1 {
					break
				}
				votes.Pix[y*g.W+x] += 1 / r
			}
		}
	}
	// A rim drawn over pixels meets within a pixel or two.
	sum := raster.NewGray(g.W, g.H)
	for y := 1; y < g.H-1; y++ {
		up, at, down, to := votes.Row(y-1), votes.Row(y), votes.Row(y+1), sum.Row(y)
		for x := 1; x < g.W-1; x++ {
			to[x] = up[x-1] + up[x] + up[x+1] + at[x-1] + at[x] + at[x+1] + down[x-1] + down[x] + down[x+1]
		}
	}
	return sum
}

func peak(g raster.Gray) (x, y int, v float32) {
	for i, w := range g.Pix {
		if w > v {
			x, y, v = i%g.W, i/g.W, w
		}
	}
	return x, y, v
}

func clearAround(g raster.Gray, x, y, r int) {
	for j := max(y-r, 0); j <= min(y+r, g.H-1); j++ {
		clear(g.Row(j)[max(x-r, 0):min(x+r+1, g.W)])
	}
}

// spokes holds the change of light outwards from a point, by direction and
// radius, with the level of change that is usual in each direction.
type spokes struct {
	slope [roundDirection][]float64
	usual [roundDirection]float64
	reach [roundDirection]int // radii that lie in the picture
}

func newSpokes(g raster.Gray, c r2.Vec, far int) *spokes {
	s := &spokes{}
	const beside = 3 // neighbouring rays that are summed up
	light := make([]float64, far+2)
	slopes := make([]float64, roundDirection*(far+2))
	for d := range roundDirection {
		clear(light)
		n := far + 2
		for k := range beside {
			sin, cos := math.Sincos(2 * math.Pi * (float64(d) + (float64(k)-1)/beside) / roundDirection)
			n = g.Ray(light[:n], c.X, c.Y, cos, sin)
		}
		s.slope[d] = slopes[d*(far+2):][: far+2 : far+2]
		for r := 1; r < n-1; r++ {
			s.slope[d][r] = (light[r+1] - light[r-1]) / (light[r+1] + light[r-1] + 0.05*beside)
			s.usual[d] += math.Abs(s.slope[d][r]) / float64(n-2)
		}
		s.reach[d] = n - 1
	}
	return s
}

// edge says whether direction d shows an edge of that sign within a pixel of
// radius r: several times stronger than what is usual there.
func (s *spokes) edge(d, r int, sign float64) bool {
	if r+2 > s.reach[d] {
		return false
	}
	const clearly = 3
	limit := clearly*s.usual[d] + 0.01
	return max(sign*s.slope[d][r-1], sign*s.slope[d][r], sign*s.slope[d][r+1]) > limit
}

// clearestRing looks for the circle about a point that shows in most directions,
// and moves the point to its middle.
func clearestRing(g raster.Gray, c r2.Vec, from, to float64) (end roundEnd, ok bool) {
	far := int(to) + 4
	s := newSpokes(g, c, far)
	bestR, bestSign := 0, 0.0
	for r := int(from); r <= int(to); r++ {
		for _, sign := range []float64{-1, 1} {
			n := 0
			for d := range roundDirection {
				if s.edge(d, r, sign) {
					n++
				}
			}
			if share := float64(n) / roundDirection; share > end.coverage+1e-9 {
				end.coverage, bestR, bestSign = share, r, sign
			}
		}
	}
	if end.coverage < leastCoverage {
		return end, false
	}
	var pts []geom.EdgePoint
	for d := range roundDirection {
		if !s.edge(d, bestR, bestSign) {
			continue
		}
		r := bestR
		for _, k := range []int{bestR - 2, bestR - 1, bestR + 1, bestR + 2} {
			if k >= 1 && k+1 < s.reach[d] && bestSign*s.slope[d][k] > bestSign*s.slope[d][r] {
				r = k
			}
		}
		at := float64(r)
		if r >= 1 && r+1 < s.reach[d] {
			l, m, n := bestSign*s.slope[d][r-1], bestSign*s.slope[d][r], bestSign*s.slope[d][r+1]
			if bend := l - 2*m + n; bend < 0 {
				at += max(-0.5, min(0.5, 0.5*(l-n)/bend))
			}
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(d) / roundDirection)
		pts = append(pts, geom.EdgePoint{
			At:     r2.Vec{X: c.X + at*cos, Y: c.Y + at*sin},
			Normal: r2.Vec{X: cos, Y: sin}, U: 0.5,
		})
	}
	fit, err := geom.FitCircle(pts, geom.FitOptions{})
	if err != nil || r2.Norm(r2.Sub(fit.Center, c)) > 0.3*fit.R {
		return end, false
	}
	end.Center, end.R = fit.Center, fit.R
	end.U = math.Sqrt(max(fit.Cov[0][0], fit.Cov[1][1])) + 0.3
	return end, true
}

// openBore says whether a round end is a bore without a pin, which is no
// joint: much darker in its middle than around it.
func openBore(g raster.Gray, e roundEnd) bool {
	mean := func(from, to float64) float64 {
		sum, n := 0.0, 0.0
		for d := range roundDirection {
			sin, cos := math.Sincos(2 * math.Pi * float64(d) / roundDirection)
			for r := from; r <= to; r++ {
				if x, y := e.Center.X+r*cos, e.Center.Y+r*sin; g.Inside(x, y) {
					sum += g.Bilinear(x, y)
					n++
				}
			}
		}
		return sum / max(n, 1)
	}
	return mean(0, 0.3*e.R) < darkBore*mean(1.15*e.R, 1.3*e.R)
}

// darkBore is the light of an open bore against that around it (L).
const darkBore = 0.35

// jointBeside returns which round end is the joint of two links told apart:
// one from which the moving link lies all to one side, and of those one near
// to it, large and clear. Without such an end the joint lies where the links meet.
func jointBeside(ends []roundEnd, p pair, moving, fixed region) (c r2.Vec, u, r float64) {
	mid, spread := p.extent(moving)
	best := math.Inf(1)
	for _, e := range ends {
		toOneSide := p.concentration(e.Center, moving)
		far := r2.Norm(r2.Sub(e.Center, mid))
		if toOneSide < allOneSide || moving(e.Center) && toOneSide < 0.95 {
			continue
		}
		if cost := far / (e.coverage * e.coverage * e.R); cost < best {
			best, c, u, r = cost, e.Center, e.U, e.R
		}
	}
	if !math.IsInf(best, 1) {
		return c, u, r
	}
	return p.nearest(mid, fixed), spread, 0
}

// allOneSide is the length of the mean of the unit vectors to the tiles of a
// link, as seen from its joint: 0.83 when they fill 120 degrees evenly.
const allOneSide = 0.83

// extent returns the middle of a region and the root mean square distance of
// its tiles from there.
func (p pair) extent(in region) (mid r2.Vec, spread float64) {
	tiles := p.tiles(p.look, in, 8*bodyTiles)
	n := float64(max(len(tiles), 1))
	for _, t := range tiles {
		mid = r2.Add(mid, r2.Scale(1/n, fullPoint(center(t), p.look)))
	}
	for _, t := range tiles {
		spread += r2.Norm2(r2.Sub(fullPoint(center(t), p.look), mid)) / n
	}
	return mid, math.Sqrt(spread)
}

// concentration returns the length of the mean unit vector from c to the
// tiles of a region: 1 all in one direction, 0 all around.
func (p pair) concentration(c r2.Vec, in region) float64 {
	var sum r2.Vec
	n := 0.0
	for _, t := range p.tiles(p.look, in, 8*bodyTiles) {
		if d := r2.Sub(fullPoint(center(t), p.look), c); r2.Norm2(d) > 0 {
			sum = r2.Add(sum, r2.Unit(d))
			n++
		}
	}
	return r2.Norm(sum) / max(n, 1)
}

// nearest returns the tile of a region that lies next to a point.
func (p pair) nearest(to r2.Vec, in region) r2.Vec {
	best, at := math.Inf(1), to
	for _, t := range p.tiles(p.look, in, 8*bodyTiles) {
		c := fullPoint(center(t), p.look)
		if d := r2.Norm(r2.Sub(c, to)); d < best {
			best, at = d, c
		}
	}
	return at
}

// seam is where the rounded end of the upper plate lies over the lower link.
type seam struct {
	end      roundEnd
	r        float64 // radius of the plate's end, pixels
	angleRad float64 // direction in which the lower link goes on
}

const (
	seamFrom   = 1.25 // radius of a plate's end, of the pin's (L)
	seamTo     = 3.5  // (L)
	leastSeam  = 90   // degrees in one piece (L)
	mostSeam   = 290  // (L)
	seamMargin = 12   // pixels beside the seam that belong to neither link
)

// findSeam looks for the rounded end of a plate about one of the round ends.
func (p pair) findSeam(ends []roundEnd) (best seam, ok bool) {
	level := p.look
	k := math.Ldexp(1, level)
	g := p.a[level].Gray
	longest := 0
	for _, e := range ends {
		c := raster.Rescaled(e.Center, 1/k)
		far := int(seamTo*e.R/k) + 4
		s := newSpokes(g, c, far)
		for r := int(seamFrom * e.R / k); r <= int(seamTo*e.R/k); r++ {
			for _, sign := range []float64{-1, 1} {
				from, length, n := longestRun(func(d int) bool { return s.edge(d, r, sign) })
				if length*360/roundDirection > mostSeam || n <= longest {
					continue
				}
				longest = n
				best = seam{end: e, r: float64(r) * k, angleRad: 2 * math.Pi * (float64(from) + float64(length-1)/2) / roundDirection}
			}
		}
	}
	return best, longest*360/roundDirection >= leastSeam
}

// longestRun returns the run of directions with the most of them showing an
// edge, n; glare may hide up to 30 degrees in one place, and 40 % in all.
func longestRun(shows func(int) bool) (from, length, n int) {
	const most = 30 * roundDirection / 360
	for start := range roundDirection {
		if !shows(start) || shows((start+roundDirection-1)%roundDirection) {
			continue
		}
		missing, seen := 0, 0
		for i := range roundDirection {
			if shows((start + i) % roundDirection) {
				missing = 0
				if seen++; seen > n && float64(seen) >= 0.6*float64(i+1) {
					from, length, n = start, i+1, seen
				}
			} else if missing++; missing > most {
				break
			}
		}
	}
	return from, length, n
}

// beyond is the lower link: the strip as wide as the upper plate's end that
// goes on behind the seam.
func (s seam) beyond() region {
	return func(p r2.Vec) bool {
		u, v := s.along(p)
		return math.Hypot(u, v) > s.r+seamMargin && u > 0 && math.Abs(v) < 0.8*s.r
	}
}

// within is everything but a strip somewhat wider than the lower link.
func (s seam) within() region {
	return func(p r2.Vec) bool {
		u, v := s.along(p)
		return math.Hypot(u, v) < s.r-seamMargin || u < 0 || math.Abs(v) > 1.3*s.r
	}
}

func (s seam) along(p r2.Vec) (u, v float64) {
	d := r2.Sub(p, s.end.Center)
	sin, cos := math.Sincos(s.angleRad)
	return d.X*cos + d.Y*sin, d.Y*cos - d.X*sin
}
