package subpixel

import (
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// Lit is a photo with the places where it is too bright to be believed.
type Lit struct {
	raster.Gray
	glare        []bool // by block of glareBlock x glareBlock pixels
	blocksAcross int
}

const (
	glareBlock = 8
	// glareLevel is the share of the clip level from which on light is a
	// mirrored lamp, which does not move with the metal.
	glareLevel = 0.9
)

// NewLit marks the glare of a photo: blocks of 8 pixels with a pixel above 90 %
// of the clip level, and those around them.
func NewLit(g raster.Gray) Lit {
	w, h := (g.W+glareBlock-1)/glareBlock, (g.H+glareBlock-1)/glareBlock
	l := Lit{Gray: g, glare: make([]bool, w*h), blocksAcross: w}
	if g.Clip <= 0 {
		return l
	}
	limit := glareLevel * g.Clip
	for y := range g.H {
		row := g.Row(y)
		for x := 0; x < len(row); x += glareBlock {
			for _, v := range row[x:min(x+glareBlock, len(row))] {
				if v >= limit {
					l.dazzle(x/glareBlock, y/glareBlock)
					break
				}
			}
		}
	}
	return l
}

// dazzle marks a block and those around it.
func (l Lit) dazzle(bx, by int) {
	h := len(l.glare) / l.blocksAcross
	for j := max(by-1, 0); j <= min(by+1, h-1); j++ {
		for i := max(bx-1, 0); i <= min(bx+1, l.blocksAcross-1); i++ {
			l.glare[j*l.blocksAcross+i] = true
		}
	}
}

// Glare says whether (x, y), inside the photo, is beside a mirrored lamp.
func (l Lit) Glare(x, y int) bool {
	return l.glare[y/glareBlock*l.blocksAcross+x/glareBlock]
}

// dark says whether no pixel of a rectangle inside the photo is beside a
// mirrored lamp.
func (l Lit) dark(x0, y0, x1, y1 int) bool {
	for y := y0 / glareBlock; y <= y1/glareBlock; y++ {
		for x := x0 / glareBlock; x <= x1/glareBlock; x++ {
			if l.glare[y*l.blocksAcross+x] {
				return false
			}
		}
	}
	return true
}

// patch is a tile of the first photo with what a movement makes of it.
type patch struct {
	rect image.Rectangle
	mid  r2.Vec
	// light, gx, gy are the smoothed light of the first photo and its
	// gradient; usable leaves glare out.
	light, gx, gy []float32
	usable        []bool
	dazzled       bool // has glare, by blocks

	seen          bool
	info          [2][2]float64
	own, cross    [2][2]float64 // curvature: of the first photo alone, of both
	score         [2]float64
	match         float64
	stray, weight float64
	off           float64 // pixels, at least
}

// newPatch reads a tile. It fails where the tile lies too near to the border,
// or is smaller than 3 or larger than tileDrop pixels.
func newPatch(a Lit, r image.Rectangle) (patch, bool) {
	if r.Dx() < 3 || r.Dy() < 3 || r.Dx() > tileDrop || r.Dy() > tileDrop || r.Min.X < 1 || r.Min.Y < 1 || r.Max.X > a.W-1 || r.Max.Y > a.H-1 {
		return patch{}, false
	}
	w := r.Dx()
	n := w * r.Dy()
	store := make([]float32, 3*n)
	p := patch{rect: r, usable: allUsable[:n:n], light: store[:n], gx: store[n : 2*n], gy: store[2*n:]}
	p.mid = r2.Vec{X: float64(r.Min.X+r.Max.X-1) / 2, Y: float64(r.Min.Y+r.Max.Y-1) / 2}
	if !a.dark(r.Min.X, r.Min.Y, r.Max.X-1, r.Max.Y-1) {
		p.dazzled, p.usable = true, make([]bool, n)
		for i := range p.usable {
			p.usable[i] = !a.Glare(r.Min.X+i%w, r.Min.Y+i/w)
		}
	}
	var smooth, slope [tileDrop + 2]float32
	for y := range r.Dy() {
		// The B-spline and its derivative at whole pixels are (1 4 1)/6 and
		// (-1 0 1)/2: first down the columns, then along the row.
		from := (r.Min.Y+y)*a.W + r.Min.X - 1
		up, at, down := a.Pix[from-a.W:][:w+2], a.Pix[from:][:w+2], a.Pix[from+a.W:][:w+2]
		for x, v := range at {
			smooth[x] = (up[x] + 4*v + down[x]) * (1. / 6)
			slope[x] = (down[x] - up[x]) * (1. / 2)
		}
		light, gx, gy := p.light[y*w:][:w], p.gx[y*w:][:w], p.gy[y*w:][:w]
		for x := range light {
			l, m, n := smooth[x], smooth[x+1], smooth[x+2]
			light[x] = (l + 4*m + n) * (1. / 6)
			gx[x] = (n - l) * (1. / 2)
			gy[x] = (slope[x] + 4*slope[x+1] + slope[x+2]) * (1. / 6)
		}
	}
	if !p.dazzled {
		p.level(p.gx)
		p.level(p.gy)
	}
	p.own = curvature(p.gx, p.gy, p.gx, p.gy, p.usable)
	return p, true
}

// allUsable is the usable of a tile without glare; nobody writes to it.
var allUsable = slices.Repeat([]bool{true}, tileDrop*tileDrop)

// level takes mean and slope off the values of a tile. A gradient without them
// is blind to light that differs between the photos by a mean and a slope.
func (p *patch) level(v []float32) {
	w, h := p.rect.Dx(), p.rect.Dy()
	var mean, sx, sy float64
	i := 0
	for y := range h {
		var row float64
		for x := range w {
			row += float64(v[i])
			sx += float64(v[i]) * (float64(x) - float64(w-1)/2)
			i++
		}
		mean += row
		sy += row * (float64(y) - float64(h-1)/2)
	}
	n := float64(w * h)
	mean /= n
	// Sum of squares of whole steps about their middle: n (w^2 - 1)/12.
	sx /= n * float64(w*w-1) / 12
	sy /= n * float64(h*h-1) / 12
	i = 0
	for y := range h {
		at := mean + sy*(float64(y)-float64(h-1)/2) - sx*float64(w-1)/2
		for x := range w {
			v[i] -= float32(at + sx*float64(x))
			i++
		}
	}
}

// curvature returns the products of two gradients summed over the pixels,
// less what a uniform change of light takes up.
func curvature(ax, ay, bx, by []float32, ok []bool) (c [2][2]float64) {
	var xx, xy, yx, yy, a0, a1, b0, b1, n float64
	for i, ok := range ok {
		if !ok {
			continue
		}
		p, q, r, s := float64(ax[i]), float64(ay[i]), float64(bx[i]), float64(by[i])
		xx, xy, yx, yy = xx+p*r, xy+p*s, yx+q*r, yy+q*s
		a0, a1, b0, b1, n = a0+p, a1+q, b0+r, b1+s, n+1
	}
	if n == 0 {
		return c
	}
	c[0][0], c[1][1] = xx-a0*b0/n, yy-a1*b1/n
	c[0][1] = (xy + yx - (a0*b1+a1*b0)/n) / 2
	c[1][0] = c[0][1]
	return c
}

// tileFloor is how well at most a tile is believed to know its place when it
// is held against the others, pixels: light changes with the angle.
const tileFloor = 0.02

// A tile must be seen to this share, and both photos must have this much in
// common there.
const (
	seenShare   = 0.6
	commonMatch = 0.05
)

// compare reads the second photo where the movement puts the tile, and says
// how far off the movement is. While it may still be far off, the curvature
// is that of the first photo alone: too much, so steps are safe and short. Else
// it is that of both, which is right but falls with the distance; it is
// renewed when asked for.
func (p *patch) compare(b Lit, m geom.Similarity, near, renew bool, t *tileRows) {
	p.seen, p.match, p.score = false, 0, [2]float64{}
	inside := p.sample(b, m, near && renew, t)
	moved, light := t.moved[:len(inside)], p.light[:len(inside)]
	n, sa, sb, saa, sbb, sab := sums(light, moved, inside)
	if float64(n) < seenShare*float64(len(inside)) {
		return
	}
	k := 1 / float64(n)
	sa, sb = sa*k, sb*k
	vaa, vbb, vab := saa*k-sa*sa, sbb*k-sb*sb, sab*k-sa*sb
	if vaa <= 1e-12 || vbb <= 1e-12 {
		return
	}
	p.match = vab / math.Sqrt(vaa*vbb)
	if p.match <= commonMatch {
		return // the tile is hidden, or somewhere else
	}
	// The gain that makes both equally strong treats the two photos alike;
	// the regression's would be too low by the noise.
	gain := math.Sqrt(vaa / vbb)
	mean := k * residuals(moved, light, inside, float32(gain), float32(sa-gain*sb))
	// Mean size of a normal residual to its standard deviation.
	limit := float32(huberCut * max(mean*math.Sqrt(math.Pi/2), 1e-9))
	var sx, sy, rr float64
	inner := 0
	for i, ok := range inside {
		if !ok {
			continue
		}
		r := moved[i]
		if r > limit {
			r = limit
		} else if r < -limit {
			r = -limit
		} else {
			inner++
		}
		rr += float64(r * r)
		sx, sy = sx+float64(r*p.gx[i]), sy+float64(r*p.gy[i])
	}
	variance := rr * k
	if near && renew {
		p.cross = curvature(p.gx, p.gy, t.mx, t.my, inside)
		for i := range 2 {
			for j := range 2 {
				// The light's gradient counts where the pull still grows.
				p.cross[i][j] *= gain * float64(inner) * k
			}
		}
	}
	if variance <= 0 {
		return
	}
	c := p.own
	det := c[0][0]*c[1][1] - c[0][1]*c[0][1]
	if !(c[0][0] > 0 && c[1][1] > 0 && det > 1e-6*c[0][0]*c[1][1]) {
		return
	}
	p.seen = true
	// The score of noise alone has the first photo's own curvature c as its
	// covariance; that of an error of tileFloor pixels has c^2 floor^2/variance
	// more, all times the variance.
	e := tileFloor * tileFloor / variance
	v := [2][2]float64{
		{c[0][0] + e*(c[0][0]*c[0][0]+c[0][1]*c[0][1]), c[0][1] + e*c[0][1]*(c[0][0]+c[1][1])},
		{0, c[1][1] + e*(c[1][1]*c[1][1]+c[0][1]*c[0][1])},
	}
	det = v[0][0]*v[1][1] - v[0][1]*v[0][1]
	p.stray = math.Sqrt(max(0, (v[1][1]*sx*sx-2*v[0][1]*sx*sy+v[0][0]*sy*sy)/(det*variance)))
	// Along the direction in which the tile shows most of a movement.
	largest := (c[0][0]+c[1][1])/2 + math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	p.off = math.Hypot(sx, sy) / largest
	// Nor does a tile count for more than its floor allows: a few sharp edges
	// would decide alone.
	trust := 1 / (variance + tileFloor*tileFloor*(c[0][0]+c[1][1])/2)
	p.score = [2]float64{sx * trust, sy * trust}
	if near {
		c = p.cross
	}
	for i := range 2 {
		for j := range 2 {
			p.info[i][j] = c[i][j] * trust
		}
	}
}

// sums returns how many pixels can be used, and the sums of the light in both
// photos, its squares and its products over them.
func sums(light, moved []float32, inside []bool) (n int, sa, sb, saa, sbb, sab float64) {
	moved, inside = moved[:len(light)], inside[:len(light)]
	for i, a := range light {
		if inside[i] {
			u, v := float64(a), float64(moved[i])
			n++
			sa, sb = sa+u, sb+v
			saa, sbb, sab = saa+u*u, sbb+v*v, sab+u*v
		}
	}
	return n, sa, sb, saa, sbb, sab
}

// residuals turns the light of the second photo into what is left of it, with
// gain and bias, less that of the first. It returns the sum of its size.
func residuals(moved, light []float32, inside []bool, gain, bias float32) (sum float64) {
	moved, inside = moved[:len(light)], inside[:len(light)]
	for i, a := range light {
		if inside[i] {
			r := gain*moved[i] + bias - a
			moved[i] = r
			sum += math.Abs(float64(r))
		}
	}
	return sum
}

// sample reads the second photo through the movement, with its gradient when
// asked for, and says which pixels can be used.
func (p *patch) sample(b Lit, m geom.Similarity, gradient bool, t *tileRows) []bool {
	t.fit(p.rect.Dx(), p.rect.Dy())
	inside := p.usable
	clear := p.clear(b, m)
	if clear && math.Hypot(m.Zoom, m.Turn)*float64(p.rect.Dx()+p.rect.Dy())/4 < levelTurn {
		p.sampleLevel(b.Gray, m, gradient, t)
		return inside
	}
	if !clear {
		inside = t.inside
	}
	i := 0
	a, c := float32(1+m.Zoom), float32(m.Turn)
	for y := p.rect.Min.Y; y < p.rect.Max.Y; y++ {
		at := m.Apply(r2.Vec{X: float64(p.rect.Min.X), Y: float64(y)})
		// Whole and fractional parts apart: single precision is enough for
		// the short way along a row. The start lies below the row's lowest
		// point, so that cutting off is rounding down.
		wx, wy := math.Floor(at.X), math.Floor(at.Y)-tileDrop
		fx, fy := float32(at.X-wx), float32(at.Y-wy)
		x0, y0 := int(wx), int(wy)
		for x := range p.rect.Dx() {
			px, py := fx+a*float32(x), fy+c*float32(x)
			dx, dy := int(px), int(py)
			ix, iy := x0+dx, y0+dy
			if !clear {
				inside[i] = p.usable[i] && ix >= 1 && iy >= 1 && ix < b.W-2 && iy < b.H-2 && !b.Glare(ix, iy)
				if !inside[i] {
					i++
					continue
				}
			}
			if gradient {
				t.moved[i], t.mx[i], t.my[i] = splineGradient(b.Gray, ix, iy, px-float32(dx), py-float32(dy))
			} else {
				t.moved[i] = spline(b.Gray, ix, iy, px-float32(dx), py-float32(dy))
			}
			i++
		}
	}
	return inside
}

// levelTurn is by how much a movement may turn and stretch a tile, pixels at
// its border, for the tile to be sampled as if it were only shifted.
const levelTurn = 0.15

// tileRows holds what a tile shows in the second photo while it is compared.
type tileRows struct {
	moved, mx, my []float32 // light where it should be the same, and its gradient
	inside        []bool    // usable in both photos
	light, slope  []float32 // rows on the way to moved, mx and my
}

// fit makes room for a tile of w x h pixels.
func (t *tileRows) fit(w, h int) {
	n, more := w*h, w*(h+3)
	if cap(t.inside) < n || cap(t.light) < more {
		store := make([]float32, 3*n+2*more)
		t.moved, t.mx, t.my = store[:n:n], store[n:2*n:2*n], store[2*n:3*n:3*n]
		t.light, t.slope = store[3*n:3*n+more:3*n+more], store[3*n+more:]
		t.inside = make([]bool, n)
	}
	t.moved, t.mx, t.my, t.inside = t.moved[:n], t.mx[:n], t.my[:n], t.inside[:n]
	t.light, t.slope = t.light[:more], t.slope[:more]
}

// sampleLevel is sample for a tile that is nearly only shifted: rows first,
// then columns, each with the same weights for all pixels. What turn and zoom
// do within the tile is added to first order, by the gradient of the first
// photo.
func (p *patch) sampleLevel(b raster.Gray, m geom.Similarity, gradient bool, t *tileRows) {
	w, h := p.rect.Dx(), p.rect.Dy()
	light, slope := t.light, t.slope
	off := m.ShiftAt(p.mid)
	wx, wy := math.Floor(off.X), math.Floor(off.Y)
	i, j := splineStep(float32(off.X-wx)), splineStep(float32(off.Y-wy))
	a, d := splineWeights[i], splineSlopes[i]
	x0, y0 := p.rect.Min.X+int(wx)-1, p.rect.Min.Y+int(wy)-1
	for y := range h + 3 {
		in := b.Pix[(y0+y)*b.W+x0:][: w+3 : w+3]
		along(light[y*w:][:w:w], in, a)
		if gradient {
			along(slope[y*w:][:w:w], in, d)
		}
	}
	columns := func(out, rows []float32, v [4]float32) {
		for y := range h {
			r0, r1, r2, r3 := rows[y*w:][:w], rows[(y+1)*w:][:w], rows[(y+2)*w:][:w], rows[(y+3)*w:][:w]
			to := out[y*w:][:w]
			for x := range to {
				to[x] = v[0]*r0[x] + v[1]*r1[x] + v[2]*r2[x] + v[3]*r3[x]
			}
		}
	}
	columns(t.moved, light, splineWeights[j])
	if gradient {
		columns(t.mx, slope, splineWeights[j])
		columns(t.my, light, splineSlopes[j])
	}
	zoom, turn := float32(m.Zoom), float32(m.Turn)
	for y := range h {
		v := float32(y) - float32(h-1)/2
		u := -float32(w-1) / 2
		moved, gx, gy := t.moved[y*w:][:w], p.gx[y*w:][:w], p.gy[y*w:][:w]
		for x := range moved {
			moved[x] += gx[x]*(zoom*u-turn*v) + gy[x]*(zoom*v+turn*u)
			u++
		}
	}
}

// along weighs every four neighbours of a row, which has three more pixels than
// out.
func along(out, in []float32, weight [4]float32) {
	a, b, c, d := weight[0], weight[1], weight[2], weight[3]
	p, q, r := in[0], in[1], in[2]
	in = in[3:][:len(out)]
	for x, s := range in {
		out[x] = a*p + b*q + c*r + d*s
		p, q, r = q, r, s
	}
}

// tileDrop is more than a row of a tile can go up in the second photo, pixels.
const tileDrop = 1 << 6

// clear says whether every pixel of the tile can be used in both photos.
func (p *patch) clear(b Lit, m geom.Similarity) bool {
	if p.dazzled {
		return false
	}
	lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, x := range []int{p.rect.Min.X, p.rect.Max.X} {
		for _, y := range []int{p.rect.Min.Y, p.rect.Max.Y} {
			q := m.Apply(r2.Vec{X: float64(x), Y: float64(y)})
			lo = r2.Vec{X: min(lo.X, q.X), Y: min(lo.Y, q.Y)}
			hi = r2.Vec{X: max(hi.X, q.X), Y: max(hi.Y, q.Y)}
		}
	}
	if !(lo.X >= 2 && lo.Y >= 2 && hi.X < float64(b.W-3) && hi.Y < float64(b.H-3)) {
		return false
	}
	return b.dark(int(lo.X), int(lo.Y), int(hi.X), int(hi.Y))
}

// splineSteps is the number of fractions of a pixel for which the spline is
// tabled; a light read at the nearest of them is misplaced by 1e-4 px at most.
const splineSteps = 4096

// splineWeights are those of the cubic B-spline for the pixels -1 to 2,
// splineSlopes their derivatives.
var splineWeights, splineSlopes = func() (w, s [splineSteps + 1][4]float32) {
	for i := range w {
		f := float64(i) / splineSteps
		g := 1 - f
		w[i] = [4]float32{
			float32(g * g * g / 6), float32((4 - 6*f*f + 3*f*f*f) / 6),
			float32((4 - 6*g*g + 3*g*g*g) / 6), float32(f * f * f / 6),
		}
		s[i] = [4]float32{
			float32(-g * g / 2), float32(-2*f + 1.5*f*f),
			float32(2*g - 1.5*g*g), float32(f * f / 2),
		}
	}
	return w, s
}()

func splineStep(f float32) int { return int(f*splineSteps + 0.5) }

// spline returns the smoothed light at (x+fx, y+fy); one pixel before and two
// after must be inside.
func spline(g raster.Gray, x, y int, fx, fy float32) float32 {
	h, v := &splineWeights[splineStep(fx)], &splineWeights[splineStep(fy)]
	at := (y-1)*g.W + x - 1
	r := g.Pix[at : at+4 : at+4]
	sum := v[0] * (h[0]*r[0] + h[1]*r[1] + h[2]*r[2] + h[3]*r[3])
	at += g.W
	r = g.Pix[at : at+4 : at+4]
	sum += v[1] * (h[0]*r[0] + h[1]*r[1] + h[2]*r[2] + h[3]*r[3])
	at += g.W
	r = g.Pix[at : at+4 : at+4]
	sum += v[2] * (h[0]*r[0] + h[1]*r[1] + h[2]*r[2] + h[3]*r[3])
	at += g.W
	r = g.Pix[at : at+4 : at+4]
	return sum + v[3]*(h[0]*r[0]+h[1]*r[1]+h[2]*r[2]+h[3]*r[3])
}

// splineGradient returns the smoothed light and its gradient.
func splineGradient(g raster.Gray, x, y int, fx, fy float32) (light, gx, gy float32) {
	i, j := splineStep(fx), splineStep(fy)
	h, v := &splineWeights[i], &splineWeights[j]
	sh, sv := &splineSlopes[i], &splineSlopes[j]
	at := (y-1)*g.W + x - 1
	for k := range 4 {
		r := g.Pix[at : at+4 : at+4]
		row := h[0]*r[0] + h[1]*r[1] + h[2]*r[2] + h[3]*r[3]
		light += v[k] * row
		gx += v[k] * (sh[0]*r[0] + sh[1]*r[1] + sh[2]*r[2] + sh[3]*r[3])
		gy += sv[k] * row
		at += g.W
	}
	return light, gx, gy
}
