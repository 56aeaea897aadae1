package vision

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// headRim is the rim of something round that is darker than what is around
// it: a pin's head in its dark line, the open end of a bush, a digit's bowl.
type headRim struct {
	circle geom.Circle // good to a pixel or two
	score  float64     // mean rise of light over its directions, share of the light around
}

// The search works on a picture about this wide: with 40 pitches across it a
// head is still eight pixels wide.
const headSearchWidth = 1000

// A chain of 3 to 40 pitches that fills half of the picture or more.
const (
	mostPitches  = 40
	leastPitches = 3
	// A head's radius as a share of the pitch: 0.16 (big rollers) to 0.3
	// (leaf chains) in chain tables, and some way around.
	leastHeadShare, mostHeadShare = 0.1, 0.38
	// Heads are to be 20 px wide. What is smaller by far are the gaps between
	// the marks of a rule.
	leastHeadR = 8.0
)

// searchHeads finds the row of heads, in a small copy of the picture first, and
// where they are too small for that in a larger one.
func searchHeads(g raster.Gray) (rims []headRim, seed chainSeed, ok bool) {
	small, scale := g, 1.0
	for max(small.W, small.H) >= 1.4*headSearchWidth {
		small = small.Half()
		scale *= 2
	}
	rims = headRims(small, scale)
	seed, ok = assembleChain(rims)
	if scale == 1 || ok && seed.radius() > clearRadius*scale {
		return rims, seed, ok
	}
	finer, scale := g, scale/2
	for s := 1.0; s < scale; s *= 2 {
		finer = finer.Half()
	}
	more := headRims(finer, scale)
	if again, found := assembleChain(more); again.score > seed.score {
		seed, ok = again, found
	}
	return slices.Concat(rims, more), seed, ok
}

// without returns the rims that are none of a row's.
func without(rims []headRim, row chainSeed) []headRim {
	return slices.DeleteFunc(slices.Clone(rims), func(r headRim) bool {
		return slices.ContainsFunc(row.links, func(l chainLink) bool {
			return r2.Norm(r2.Sub(r.circle.Center, l.circle.Center)) < l.circle.R
		})
	})
}

// clearRadius is the radius in pixels of the searched picture from which on
// heads are not missed.
const clearRadius = 7.0

// headRims lists the round dark-to-light edges of a picture that shows the
// photo at 1/scale of its size, in pixels of the photo.
//
// Each place where light rises votes for centres on the dark side, along its
// gradient, apart for each band of radii. A centre counts when votes came from
// most directions, so that one seen from all sides wins over any number of
// parallel marks of a rule. About the best centres of each band the radius at
// which light rises in most directions is then looked for.
func headRims(small raster.Gray, scale float64) []headRim {
	long := float64(max(small.W, small.H))
	rmin := max(leastHeadShare*long/(mostPitches+1), 3)
	rmax := mostHeadShare * long / (leastPitches + 1)
	var bands []float64
	for r := rmin; r < rmax; r *= bandRatio {
		bands = append(bands, r)
	}
	bands = append(bands, rmax)
	var out []headRim
	for b, places := range headCentres(small, bands) {
		var in []headRim
		for _, at := range places {
			e, ok := ringAt(small, at, bands[b]/1.1, bands[b+1]*1.1)
			if !ok {
				continue
			}
			e.circle.Center = raster.Rescaled(e.circle.Center, scale)
			e.circle.R *= scale
			if e.circle.R >= leastHeadR {
				in = append(in, e)
			}
		}
		out = append(out, distinctRims(in)...)
	}
	return out
}

// bandRatio is the ratio of the radii at the ends of a band.
const bandRatio = 1.5

// distinctRims keeps the best of rims that share their centre.
func distinctRims(all []headRim) []headRim {
	var out []headRim
next:
	for _, e := range all {
		for i, o := range out {
			if r2.Norm(r2.Sub(e.circle.Center, o.circle.Center)) < 0.6*max(e.circle.R, o.circle.R) {
				if e.score > o.score {
					out[i] = e
				}
				continue next
			}
		}
		out = append(out, e)
	}
	return out
}

// headCentres returns for each band of radii the likely centres of round
// dark-to-light edges, best first.
func headCentres(g raster.Gray, bands []float64) [][]r2.Vec {
	const (
		cell = 2
		most = 60
	)
	w, h := g.W/cell+1, g.H/cell+1
	votes := make([][]float32, len(bands)-1)
	from := make([][]uint8, len(votes)) // directions the votes came from
	for b := range votes {
		votes[b], from[b] = make([]float32, w*h), make([]uint8, w*h)
	}
	for y := 1; y < g.H-1; y++ {
		up, row, down := g.Row(y-1), g.Row(y), g.Row(y+1)
		for x := 1; x < g.W-1; x++ {
			gx := row[x+1] - row[x-1]
			gy := down[x] - up[x]
			around := row[x+1] + row[x-1] + down[x] + up[x]
			m2 := gx*gx + gy*gy
			// A rise of a tenth of the light over two pixels.
			if m2 < 0.0006*around*around || m2 < 1e-4 {
				continue
			}
			m := float32(math.Sqrt(float64(m2)))
			ux, uy := gx/m, gy/m
			// A rise counts by its share of the light, a strong one no more
			// than a usual one: lamps mirrored in domes would drown the rims.
			weight := min(m/around, 0.1)
			bit := uint8(1) << octant(gx, gy)
			for b := range votes {
				v, f := votes[b], from[b]
				out := false
				for r := float32(bands[b]); r < float32(bands[b+1]); r += cell {
					cx, cy := int((float32(x)-r*ux)/cell+0.5), int((float32(y)-r*uy)/cell+0.5)
					if cx < 0 || cy < 0 || cx >= w || cy >= h {
						out = true
						break
					}
					v[cy*w+cx] += weight / r
					f[cy*w+cx] |= bit
				}
				if out {
					break
				}
			}
		}
	}
	out := make([][]r2.Vec, len(votes))
	for b := range out {
		out[b] = votePeaks(allRound(votes[b], from[b], w, h), w, h, most, max(int(0.4*bands[b]/cell), 2), cell)
	}
	return out
}

// allRound returns the sums of votes over squares of three cells where they
// came from at least six of eight directions.
func allRound(votes []float32, from []uint8, w, h int) []float32 {
	out := make([]float32, w*h)
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			if votes[i] == 0 {
				continue
			}
			var sum float32
			var dirs uint8
			for _, k := range [...]int{i - w, i, i + w} {
				sum += votes[k-1] + votes[k] + votes[k+1]
				dirs |= from[k-1] | from[k] | from[k+1]
			}
			if bits.OnesCount8(dirs) >= 6 {
				out[i] = sum
			}
		}
	}
	return out
}

// octant returns which of eight directions the vector points to.
func octant(x, y float32) int {
	d := 0
	if y < 0 {
		d, x, y = 4, -x, -y
	}
	if x < 0 {
		d, x, y = d+2, y, -x
	}
	if y > x {
		d++
	}
	return d
}

// votePeaks returns the places of the largest values that are largest within
// reach, in pixels of cell each.
func votePeaks(v []float32, w, h, most, reach, cell int) []r2.Vec {
	type peak struct {
		i int
		v float32
	}
	var all []peak
	for y := reach; y < h-reach; y++ {
		for x := reach; x < w-reach; x++ {
			i := y*w + x
			c := v[i]
			if c == 0 || c < v[i-1] || c <= v[i+1] || c < v[i-w] || c <= v[i+w] {
				continue
			}
			top := true
			for dy := -reach; dy <= reach && top; dy++ {
				for _, o := range v[i+dy*w-reach : i+dy*w+reach+1] {
					if o > c {
						top = false
						break
					}
				}
			}
			if top {
				all = append(all, peak{i, c})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b peak) int { return cmp.Compare(b.v, a.v) })
	var out []r2.Vec
	for _, p := range all[:min(len(all), most)] {
		out = append(out, r2.Vec{X: float64(p.i % w * cell), Y: float64(p.i / w * cell)})
	}
	return out
}

// ringAt finds the radius about a likely centre at which light rises outwards
// in most directions, and puts the centre right.
func ringAt(g raster.Gray, at r2.Vec, rmin, rmax float64) (headRim, bool) {
	const rays = 32
	best := headRim{}
	for range 2 {
		n := int(rmax) + 4
		var light [rays][]float64
		for k := range rays {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
			light[k] = make([]float64, n)
			for i := max(int(rmin)-5, 0); i < n; i++ {
				x, y := at.X+float64(i)*cos, at.Y+float64(i)*sin
				if !g.Inside(x, y) {
					light[k][i] = math.NaN()
					continue
				}
				light[k][i] = g.Bilinear(x, y)
			}
		}
		// Deep in a hole the share rises long before its rim does.
		var beyond []float64
		for k := range rays {
			beyond = append(beyond, light[k][n-1])
		}
		bright := middle(slices.DeleteFunc(beyond, math.IsNaN))
		dark := 0.1 * bright
		rise := func(k, i int) float64 {
			a, b := light[k][i-1], light[k][i+1]
			if !(a+b > 0) {
				return 0
			}
			return max(-0.1, min((b-a)/(a+b+dark), 0.2))
		}
		r, score := 0, 0.0
		for i := max(int(rmin)-1, 2); i < n-2; i++ {
			s := 0.0
			for k := range rays {
				// The centre is good to a pixel only.
				s += max(rise(k, i), rise(k, i-1), rise(k, i+1))
			}
			if s /= rays; s > score {
				r, score = i, s
			}
		}
		if score < leastRise {
			return best, false
		}
		// Where each ray rises most beside that radius, and the circle there. What
		// is far brighter than the plate is a lamp mirrored in the head.
		climb := func(k, i int) float64 {
			return min(light[k][i+1], 2*bright) - min(light[k][i-1], 2*bright)
		}
		var sx, sy, sr, sw float64
		for k := range rays {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
			top, where := 0.0, 0.0
			for i := max(r-3, 1); i <= min(r+3, n-2); i++ {
				if v := climb(k, i); v > top {
					top, where = v, float64(i)
				}
			}
			if top > 0 {
				sx += (where - float64(r)) * cos
				sy += (where - float64(r)) * sin
				sr += where
				sw++
			}
		}
		if sw < rays/2 {
			return best, false
		}
		at = r2.Add(at, r2.Vec{X: 2 * sx / sw, Y: 2 * sy / sw})
		best = headRim{circle: geom.Circle{Center: at, R: sr / sw}, score: score}
	}
	return best, true
}

// leastRise is the mean rise of light over two pixels at a rim, as a share of
// the sum, below which there is none.
const leastRise = 0.025
