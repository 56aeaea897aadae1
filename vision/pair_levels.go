package vision

import (
	"cmp"
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

const (
	tileSide    = 32   // pixels of a tile, on every level
	bodyTiles   = 200  // tiles that register a body
	findTiles   = 80   // tiles that find about how a body moved
	lookWidth   = 1000 // longest side of the level on which links are told apart
	coarseWidth = 220  // longest side of the level that is searched

	// A registration ends when a step is shorter than this, pixels of its
	// level: where a finer one follows, and in the last.
	roughly, finely = 0.05, 4e-3
)

// pair is two photos at full, half, quarter ... size.
type pair struct {
	a, b []subpixel.Lit
	// look is the level on which the links are told apart, coarse the one on
	// which the first motion is searched for.
	look, coarse int
	energy       []energies // of photo a, by level
	// texture has all tiles of photo a, by level from look to before coarse.
	texture map[int]*subpixel.Template
}

// energies holds the squared gradients of a picture summed over cells of
// tileSide pixels.
type energies struct {
	w, h   int
	xx, yy []float64
}

func newPair(a, b raster.Gray) pair {
	p := pair{}
	for long := max(a.W, a.H); ; long /= 2 {
		if long > lookWidth {
			p.look = p.coarse + 1
		}
		if long <= coarseWidth {
			break
		}
		p.coarse++
	}
	together(
		func() {
			p.a = levels(a, p.coarse)
			for _, l := range p.a {
				p.energy = append(p.energy, newEnergies(l.Gray))
			}
		},
		func() { p.b = levels(b, p.coarse) },
	)
	p.texture = map[int]*subpixel.Template{}
	for level := p.look; level < p.coarse; level++ {
		e := p.energy[level]
		p.texture[level] = subpixel.NewTemplate(p.a[level], p.tiles(level, everywhere, 2*e.w*e.h))
	}
	return p
}

// template returns up to n tiles in the region, of a level from look to before
// coarse.
func (p pair) template(level int, in region, n int) *subpixel.Template {
	return p.texture[level].Of(p.tiles(level, in, n))
}

// levels returns a photo at full, half ... size, n times halved.
func levels(g raster.Gray, n int) []subpixel.Lit {
	out := []subpixel.Lit{subpixel.NewLit(g)}
	for range n {
		g = g.Half()
		out = append(out, subpixel.NewLit(g))
	}
	return out
}

// newEnergies measures the texture over steps of two pixels: finer than that
// there is mostly noise.
func newEnergies(g raster.Gray) energies {
	e := energies{w: g.W / tileSide, h: g.H / tileSide}
	e.xx, e.yy = make([]float64, e.w*e.h), make([]float64, e.w*e.h)
	for cy := range e.h {
		for cx := range e.w {
			var xx, yy float32
			// Every fourth row is enough to choose by.
			for y := max(cy*tileSide, 1); y < min((cy+1)*tileSide, g.H-1); y += 4 {
				up, at, down := g.Row(y-1), g.Row(y), g.Row(y+1)
				for x := max(cx*tileSide, 1); x < min((cx+1)*tileSide, g.W-1); x += 2 {
					dx, dy := at[x+1]-at[x-1], down[x]-up[x]
					xx, yy = xx+dx*dx, yy+dy*dy
				}
			}
			e.xx[cy*e.w+cx], e.yy[cy*e.w+cx] = float64(xx), float64(yy)
		}
	}
	return e
}

// tiles returns up to n tiles of a level whose middle and corners lie in the
// region: half of them those that show most of a motion to the side, half of
// one up and down. A brushed face shows only one of the two.
func (p pair) tiles(level int, in region, n int) []image.Rectangle {
	e := p.energy[level]
	var cells []int
	k := math.Ldexp(1, level)
	side := float64(tileSide)
	if level > 0 {
		side = tileSide - 1
	}
	for cy := range e.h {
		for cx := range e.w {
			x, y := float64(cx*tileSide)*k, float64(cy*tileSide)*k
			far := side * k
			if in(r2.Vec{X: x, Y: y}) && in(r2.Vec{X: x + far, Y: y}) && in(r2.Vec{X: x, Y: y + far}) &&
				in(r2.Vec{X: x + far, Y: y + far}) && in(r2.Vec{X: x + far/2, Y: y + far/2}) {
				cells = append(cells, cy*e.w+cx)
			}
		}
	}
	chosen := map[int]bool{}
	for _, of := range [][]float64{e.xx, e.yy} {
		slices.SortStableFunc(cells, func(i, j int) int { return cmp.Compare(of[j], of[i]) })
		for _, c := range cells[:min(n/2, len(cells))] {
			chosen[c] = true
		}
	}
	slices.Sort(cells)
	var out []image.Rectangle
	for _, c := range cells {
		if chosen[c] {
			x, y := c%e.w*tileSide, c/e.w*tileSide
			r := image.Rect(x, y, x+tileSide, y+tileSide).Intersect(image.Rect(1, 1, p.a[level].W-1, p.a[level].H-1))
			out = append(out, r)
		}
	}
	return out
}

// toLevel states a movement in the pixels of a level, each of which is the
// mean of a square of the first; see raster.Gray.Half.
func toLevel(m geom.Similarity, level int) geom.Similarity {
	k := math.Ldexp(1, level)
	m.Center = raster.Rescaled(m.Center, 1/k)
	m.Shift = r2.Scale(1/k, m.Shift)
	m.Cov = [4][4]float64{}
	return m
}

// fromLevel is the inverse of toLevel; the covariance comes along.
func fromLevel(m geom.Similarity, level int) geom.Similarity {
	k := math.Ldexp(1, level)
	m.Center = fullPoint(m.Center, level)
	m.Shift = r2.Scale(k, m.Shift)
	for i := range 2 {
		for j := range 4 {
			m.Cov[i][j] *= k
			m.Cov[j][i] *= k
		}
	}
	return m
}

// fullPoint returns where a point of a level lies in the photo.
func fullPoint(p r2.Vec, level int) r2.Vec { return raster.Rescaled(p, math.Ldexp(1, level)) }

func everywhere(r2.Vec) bool { return true }

// wholeMotion returns how most of the picture moved, good to about a pixel
// of the look level.
func (p pair) wholeMotion(fixed image.Rectangle) (geom.Similarity, error) {
	in := region(everywhere)
	if !fixed.Empty() {
		in = inRect(fixed)
	}
	mid := r2.Vec{X: float64(p.a[0].W-1) / 2, Y: float64(p.a[0].H-1) / 2}
	d := p.search(p.coarse, geom.Similarity{Center: mid}, searchRange, in, false)
	m := geom.Similarity{Center: mid, Shift: r2.Scale(math.Ldexp(1, p.coarse), d.shift)}
	found := false
	for level := p.coarse - 1; level >= p.look; level-- {
		r, err := p.template(level, in, findTiles).Register(p.b[level], toLevel(m, level), roughly)
		if err == nil {
			m, found = fromLevel(r.Motion, level), true
		}
	}
	if !found {
		return m, subpixel.ErrNoTexture
	}
	return m, nil
}

// searchRange is how far a body may have moved, in pixels of the coarse level.
const searchRange = 11

// candidate is a shift with what speaks for it.
type candidate struct {
	shift r2.Vec // pixels of the level
	score float64
}

// search lays the tiles of a level over the second photo, moved by m and then
// by every whole shift up to reach, and returns the shift at which most of
// them match: the one with the largest sum of positive correlations. With
// second set tiles count by how much better they match than where m puts them,
// and shifts of less than a pixel and a half are left out.
func (p pair) search(level int, m geom.Similarity, reach int, in region, second bool) candidate {
	const side = matchSide
	a, b := newRelief(p.a[level].Gray), newRelief(p.b[level].Gray)
	// A tile of less relief than the picture has on the whole counts less.
	floor := 0.1 * side * side * a.mean()
	m = toLevel(m, level)
	width := 2*reach + 1
	score, row := make([]float64, width*width), make([]float64, width*width)
	for y := side / 2; y+side < a.H; y += side {
		for x := side / 2; x+side < a.W; x += side {
			c := center(image.Rect(x, y, x+side, y+side))
			if !in(fullPoint(c, level)) {
				continue
			}
			to := m.ShiftAt(c)
			matchAround(row, a, b, x, y, int(math.Round(to.X)), int(math.Round(to.Y)), reach, floor)
			base := 0.0
			if second {
				base = max(0, row[reach*width+reach])
			}
			for i, v := range row {
				score[i] += max(0, v-base)
			}
		}
	}
	best := candidate{score: math.Inf(-1)}
	for i, v := range score {
		dx, dy := i%width-reach, i/width-reach
		if second && dx*dx+dy*dy <= 2 {
			continue
		}
		if v > best.score {
			best = candidate{shift: r2.Vec{X: float64(dx), Y: float64(dy)}, score: v}
		}
	}
	return best
}

// relief is a picture without its slow changes of light: of each pixel the
// mean of its neighbours two pixels off is taken.
type relief struct {
	raster.Gray
	// squares holds at (x, y), in rows of W+1, the sum of the squares of all
	// pixels left of x and above y.
	squares []float64
}

func newRelief(g raster.Gray) relief {
	out := relief{raster.NewGray(g.W, g.H), make([]float64, (g.W+1)*(g.H+1))}
	for y := 2; y < g.H-2; y++ {
		up, at, down, to := g.Row(y-2), g.Row(y), g.Row(y+2), out.Row(y)
		for x := 2; x < g.W-2; x++ {
			to[x] = at[x] - (at[x-2]+at[x+2]+up[x]+down[x])/4
		}
	}
	for y := range g.H {
		above, to := out.squares[y*(g.W+1):][:g.W+1], out.squares[(y+1)*(g.W+1):][:g.W+1]
		sum := 0.0
		for x, v := range out.Row(y) {
			sum += float64(v * v)
			to[x+1] = above[x+1] + sum
		}
	}
	return out
}

// power returns the sum of the squares in the tile that begins at (x, y).
func (r relief) power(x, y int) float64 {
	top, bottom := r.squares[y*(r.W+1)+x:], r.squares[(y+matchSide)*(r.W+1)+x:]
	return bottom[matchSide] - bottom[0] - top[matchSide] + top[0]
}

// mean returns the mean of all squares.
func (r relief) mean() float64 {
	return r.squares[len(r.squares)-1] / float64(max(len(r.Pix), 1))
}

// matchSide is the side of the tiles that are searched for, pixels.
const matchSide = 12

// matchAround sets row to the correlation of the tile of a that begins at
// (x, y) with those of b that lie (dx, dy) and up to reach pixels more away,
// line by line.
func matchAround(row []float64, a, b relief, x, y, dx, dy, reach int, floor float64) {
	own := a.power(x, y) + floor
	width := 2*reach + 1
	for j := range width {
		for i := range width {
			row[j*width+i] = 0
			x0, y0 := x+dx+i-reach, y+dy+j-reach
			if x0 < 0 || y0 < 0 || x0+matchSide > b.W || y0+matchSide > b.H {
				continue
			}
			// Sums side by side need not wait for each other.
			var s, t, u, v float32
			for k := range matchSide {
				p := (*[matchSide]float32)(a.Pix[(y+k)*a.W+x:])
				q := (*[matchSide]float32)(b.Pix[(y0+k)*b.W+x0:])
				s += p[0]*q[0] + p[4]*q[4] + p[8]*q[8]
				t += p[1]*q[1] + p[5]*q[5] + p[9]*q[9]
				u += p[2]*q[2] + p[6]*q[6] + p[10]*q[10]
				v += p[3]*q[3] + p[7]*q[7] + p[11]*q[11]
			}
			other := b.power(x0, y0) + floor
			row[j*width+i] = float64(s+t+u+v) / math.Sqrt(max(own*other, 1e-30))
		}
	}
}
