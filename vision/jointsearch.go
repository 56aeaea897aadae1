package vision

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// jointSeed is where a joint seems to be, good to a pixel or two.
type jointSeed struct {
	bore, pin geom.Circle
	blur      float64
	// share is the part of the directions in which both rims were seen.
	share float64
	// depth is by how much the ring is darker than its darker side, as a
	// share, on the mean of those directions.
	depth float64
}

// The coarse search works on a picture about this high.
const searchHeight = 320

// searchJoint looks for a dark ring between two bright rims.
//
// A small copy of the picture votes for the centres of its round edges: each
// edge pixel votes along its own gradient, both ways. About the best centres
// rays are then read for a drop from light to dark followed by a rise, and
// the circles on which most rays agree are the seed. The best seed over all
// centres wins.
func searchJoint(g raster.Gray) (jointSeed, bool) {
	small, scale := searchCopy(g)
	var best jointSeed
	bestScore := 0.0
	for _, c := range centres(small) {
		at := fullSize(c, scale)
		seed, score := seedAt(g, at, scale)
		if score > bestScore {
			best, bestScore = seed, score
		}
		if best.share > clearShare {
			return best, true
		}
	}
	// No centre stood out: try the picture over, coarsely. Half a radius off
	// is near enough.
	if best.share < doubtfulShare {
		step := 0.15 * float64(g.H)
		for y := step; y < float64(g.H); y += step {
			for x := step; x < float64(g.W); x += step {
				seed, score := seedAt(g, r2.Vec{X: x, Y: y}, scale)
				if score > bestScore {
					best, bestScore = seed, score
				}
				if best.share > clearShare {
					return best, true
				}
			}
		}
	}
	return best, bestScore > 0
}

// searchCopy returns the small copy of g, in square roots of light, and by how
// much it is smaller. The root is the eye's scale: a joint of dark steel beside
// a bright rule counts as much as the rule.
func searchCopy(g raster.Gray) (small raster.Gray, scale float64) {
	small, scale = g, 1
	for small.H >= 2*searchHeight || small.W >= 3*searchHeight || scale == 1 {
		if small.H >= 4*searchHeight {
			small, scale = small.Quarter(), 4*scale
		} else {
			small, scale = small.Half(), 2*scale
		}
	}
	for i, v := range small.Pix {
		small.Pix[i] = float32(math.Sqrt(float64(max(v, 0))))
	}
	return small, scale
}

// fullSize returns where a place of the small copy lies in the picture: small
// pixels have their centres between the full-size ones.
func fullSize(p r2.Vec, scale float64) r2.Vec {
	return r2.Vec{X: p.X*scale + (scale-1)/2, Y: p.Y*scale + (scale-1)/2}
}

// A pair of rims seen in this share of the directions ends the search.
const clearShare = 0.8

// Below this share the likely centres were the wrong ones.
const doubtfulShare = 0.5

// dip is a drop of light followed by a rise along a ray.
type dip struct {
	in, out float64 // radius of the half-level points
	depth   float64 // share by which it is darker than its darker side
	blur    float64 // edge spread seen at the rise and the drop
}

const rays = 96

// seedAt looks for a joint about a likely centre. The score is the number of
// rays that agree, weighed with the depth of their dips.
//
// The first centre may be off by much: once circles are agreed on, rays are
// read again from the bore's centre, close about them. And they may be those
// of the seam in which the bush sits in its plate: the joint is the innermost
// ring.
func seedAt(g raster.Gray, at r2.Vec, scale float64) (jointSeed, float64) {
	rng := rand.New(rand.NewPCG(3, 4))
	seed, score := agreeAt(g, at, 0.05*float64(g.H), 0.6*float64(g.H), 2, scale, rng)
	closer := func() {
		s, v := agreeAt(g, seed.bore.Center, 0.6*seed.pin.R, 1.25*seed.bore.R, 1, scale, rng)
		if v > score {
			seed, score = s, v
		}
	}
	if score == 0 {
		return seed, 0
	}
	closer()
	inner, v := agreeAt(g, seed.bore.Center, 0.35*seed.pin.R, 0.9*seed.pin.R, 2, scale, rng)
	if inner.share >= innerShare && inner.depth > asDark*seed.depth || inner.share >= minSeen && inner.depth > seed.depth ||
		inner.share >= minSeen/2 && inner.depth > muchDarker*seed.depth {
		seed, score = inner, v
		closer()
	}
	return seed, score
}

// A ring within a ring is the joint when this share of the directions show it and it
// is about as dark, or fewer and it is darker: a bore with a deep worn flank is a
// crescent, black where it is wide and zero wide elsewhere, and the seam around the
// bush is paler, even in the shade of a lamp on one side. Grain and oil leave less of
// it to be seen. Of 390 harsh photos grain made rings within the joint of up to 0.6
// of its depth, and once 0.9; joints within a seam had 1.06 of the seam's at least.
const (
	innerShare = 0.6
	asDark     = 0.75
	muchDarker = 1.3
)

// agreeAt reads every so many of the rays from a centre, between two radii,
// and agrees on two circles.
func agreeAt(g raster.Gray, at r2.Vec, from, to float64, every int, scale float64, rng *rand.Rand) (jointSeed, float64) {
	var cand [rays][]dip
	for i := 0; i < rays; i += every {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rays)
		cand[i] = dips(g, at, cos, sin, from, to, scale)
	}
	bore, ok := agreeCircle(at, cand, func(d dip) float64 { return d.out }, rng, nil, rays/every, scale)
	if !ok {
		return jointSeed{}, 0
	}
	pin, ok := agreeCircle(at, cand, func(d dip) float64 { return d.in }, rng, &bore, rays/every, scale)
	if !ok {
		return jointSeed{}, 0
	}
	return judge(at, cand, bore, pin, rays/every, scale)
}

// dips lists the drops and rises along one ray between two radii, deepest
// first.
func dips(g raster.Gray, at r2.Vec, cos, sin, from, to, scale float64) []dip {
	line := make([]float64, 0, int(to-from)+1)
	for r := from; r < to; r++ {
		x, y := at.X+r*cos, at.Y+r*sin
		if !g.Inside(x, y) {
			break
		}
		line = append(line, g.Bilinear(x, y))
	}
	n := len(line)
	k := int(max(3, scale*1.5)) // shoulder length
	if n < 4*k {
		return nil
	}
	// Running means before and after each place.
	sum := make([]float64, n+1)
	for i, v := range line {
		sum[i+1] = sum[i] + v
	}
	mean := func(a, b int) float64 {
		a, b = max(a, 0), min(b, n)
		if b <= a {
			return 0
		}
		return (sum[b] - sum[a]) / float64(b-a)
	}
	var out []dip
	for i := 1; i < n-k; i++ {
		// The least value far and wide starts a dip; its sides are where the
		// light has come back to half.
		v := line[i]
		if !leastWithin(line, i, 2*k) || v > 0.8*max(mean(i-6*k, i), mean(i+1, i+6*k)) {
			continue
		}
		d := grow(line, mean, i, k, int(widestGap*float64(g.H)))
		if d.depth < 0.2 {
			continue
		}
		d.in += from
		d.out += from
		if len(out) > 0 && math.Abs(out[len(out)-1].in-d.in) < 1 && math.Abs(out[len(out)-1].out-d.out) < 1 {
			continue
		}
		out = append(out, d)
	}
	slices.SortFunc(out, func(a, b dip) int { return cmp.Compare(b.depth, a.depth) })
	return out[:min(len(out), 4)]
}

// leastDip is the least drop of light that counts, in square roots of light:
// some nine levels of 255 in a file.
const leastDip = 0.035

// leastWithin says whether no light within reach of place i is less.
func leastWithin(line []float64, i, reach int) bool {
	for d := 1; d <= reach; d++ {
		if i-d >= 0 && line[i-d] < line[i] || i+d < len(line) && line[i+d] < line[i] {
			return false
		}
	}
	return true
}

// widestGap is the widest ring that is looked for, to either side of its darkest
// place, of the picture's height.
const widestGap = 0.11

// grow walks from the least light at i outwards on both sides, up to limit places, to
// the first shoulder that stays light, and returns the half-level points.
func grow(line []float64, mean func(a, b int) float64, i, k, limit int) dip {
	n := len(line)
	low := line[i]
	shoulder := func(dir int) (level float64) {
		for s := 1; s < limit; s++ {
			p := i + dir*s
			if p-k < 0 || p+k >= n {
				break
			}
			a, b := mean(p-k/2, p+k/2+1), 0.0
			if dir > 0 {
				b = mean(p+1, p+1+k)
			} else {
				b = mean(p-k, p)
			}
			level = max(level, b)
			// The climb is over when the light no longer rises.
			if level > 1.1*low+0.005 && a > low+0.7*(level-low) && b < a+0.1*(level-low) {
				return level
			}
		}
		return level
	}
	right, left := shoulder(1), shoulder(-1)
	cross := func(dir int, level, share float64) float64 {
		t := low + share*(level-low)
		for s := 1; s < limit+k; s++ {
			p := i + dir*s
			if p < 0 || p >= n {
				break
			}
			if line[p] >= t {
				prev := line[p-dir]
				f := 0.0
				if line[p] > prev {
					f = (line[p] - t) / (line[p] - prev)
				}
				return float64(p) - float64(dir)*f
			}
		}
		return math.NaN()
	}
	side := min(left, right)
	if math.Sqrt(max(side, 0))-math.Sqrt(max(low, 0)) < leastDip {
		return dip{} // grain of a dark ground
	}
	d := dip{in: cross(-1, left, 0.5), out: cross(1, right, 0.5), depth: (side - low) / max(side, 0.01)}
	// The quarter and three-quarter points of a Gaussian edge lie 1.349
	// spreads apart.
	d.blur = math.Min(cross(1, right, 0.75)-cross(1, right, 0.25), cross(-1, left, 0.25)-cross(-1, left, 0.75)) / 1.349
	if math.IsNaN(d.in) || math.IsNaN(d.out) || math.IsNaN(d.blur) {
		return dip{}
	}
	return d
}

// agreeCircle finds the circle on which the most rays have a dip, by
// three-point trials, of so many rays that were read. With a bore given only
// dips that lie on the bore count.
func agreeCircle(at r2.Vec, cand [rays][]dip, radius func(dip) float64, rng *rand.Rand, bore *geom.Circle, read int, scale float64) (geom.Circle, bool) {
	type point struct {
		at     r2.Vec
		weight float64
	}
	var pts [rays][]point
	var seen []int
	for i, ds := range cand {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rays)
		u := r2.Vec{X: cos, Y: sin}
		for _, d := range ds {
			if bore != nil {
				p := r2.Add(at, r2.Scale(d.out, u))
				if math.Abs(r2.Norm(r2.Sub(p, bore.Center))-bore.R) > 2*tolerance(scale, d) {
					continue
				}
			}
			pts[i] = append(pts[i], point{r2.Add(at, r2.Scale(radius(d), u)), d.depth})
		}
		if len(pts[i]) > 0 {
			seen = append(seen, i)
		}
	}
	if len(seen) < read/4 {
		return geom.Circle{}, false
	}
	tol := tolerance(scale, dip{})
	var best geom.Circle
	bestScore := 0.0
	for range 300 {
		var p [3]r2.Vec
		for k := range p {
			c := pts[seen[rng.IntN(len(seen))]]
			p[k] = c[rng.IntN(len(c))].at
		}
		c, ok := circleThrough(p)
		if !ok || r2.Norm(r2.Sub(c.Center, at)) > 0.6*c.R {
			continue
		}
		score := 0.0
		for _, i := range seen {
			b := 0.0
			for _, q := range pts[i] {
				z := (r2.Norm(r2.Sub(q.at, c.Center)) - c.R) / tol
				if z = z * z; z < 1 {
					b = max(b, (1-z)*q.weight)
				}
			}
			score += b
		}
		if score > bestScore {
			best, bestScore = c, score
		}
	}
	return best, bestScore > 0
}

// tolerance is how far a dip's side may lie from a circle to belong to it.
func tolerance(scale float64, d dip) float64 { return 1.5 + 0.5*scale + d.blur }

// circleThrough returns the circle through three points, unless they nearly
// lie on a line.
func circleThrough(p [3]r2.Vec) (geom.Circle, bool) {
	a, b := r2.Sub(p[1], p[0]), r2.Sub(p[2], p[0])
	det := 2 * (a.X*b.Y - a.Y*b.X)
	la, lb := r2.Norm2(a), r2.Norm2(b)
	if math.Abs(det) < 0.05*(la+lb) {
		return geom.Circle{}, false
	}
	c := r2.Vec{X: (b.Y*la - a.Y*lb) / det, Y: (a.X*lb - b.X*la) / det}
	return geom.Circle{Center: r2.Add(p[0], c), R: r2.Norm(c)}, true
}

// judge scores a pair of circles by those of the rays read that show both.
func judge(at r2.Vec, cand [rays][]dip, bore, pin geom.Circle, read int, scale float64) (jointSeed, float64) {
	seed := jointSeed{bore: bore, pin: pin}
	if pin.R > bore.R || pin.R < 0.6*bore.R {
		return seed, 0
	}
	var blurs []float64
	both, score := 0, 0.0
	for i, ds := range cand {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rays)
		u := r2.Vec{X: cos, Y: sin}
		for _, d := range ds {
			po, pi := r2.Add(at, r2.Scale(d.out, u)), r2.Add(at, r2.Scale(d.in, u))
			tol := 2 * tolerance(scale, d)
			if math.Abs(r2.Norm(r2.Sub(po, bore.Center))-bore.R) < tol && math.Abs(r2.Norm(r2.Sub(pi, pin.Center))-pin.R) < tol {
				both++
				score += d.depth
				blurs = append(blurs, d.blur)
				break
			}
		}
	}
	seed.share, seed.depth = float64(both)/float64(read), score/float64(max(both, 1))
	score *= rays / float64(read)
	slices.Sort(blurs)
	if len(blurs) > 0 {
		// The sharper half: grain and dirt only ever widen an edge.
		seed.blur = max(0.5, blurs[len(blurs)/4])
	}
	if seed.share < 0.3 {
		return seed, 0
	}
	return seed, score
}

func (s jointSeed) rims() subpixel.Rims {
	return subpixel.Rims{Bore: s.bore, Pin: s.pin, Blur: s.blur}
}
