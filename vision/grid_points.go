package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// target is what may be a point of a grid, good to a pixel.
type target struct {
	at   r2.Vec
	size float64 // radius of a dot; zero for a corner
}

// gridLight has the dark and the bright light of a photo, by squares of it, with
// those around them: what lies half-way between is neither dot nor ground.
type gridLight struct {
	w, h     int // squares
	size     int // pixels
	dark     []float32
	bright   []float32
	contrast float64 // median of bright minus dark over their sum
}

// squaresAcross is the number of squares along the longer side: one with those
// around it shows some points of any grid of five and more.
const squaresAcross = 10

func lightOfGrid(g raster.Gray) gridLight {
	size := max(8, (max(g.W, g.H)+squaresAcross-1)/squaresAcross)
	l := gridLight{size: size, w: (g.W + size - 1) / size, h: (g.H + size - 1) / size}
	samples := make([][]float32, l.w*l.h)
	step := max(1, size/24)
	for y := 0; y < g.H; y += step {
		row := g.Row(y)
		for x := 0; x < g.W; x += step {
			k := y/size*l.w + x/size
			samples[k] = append(samples[k], row[x])
		}
	}
	var contrasts []float64
	for j := range l.h {
		for i := range l.w {
			var all []float32
			for y := max(0, j-1); y <= min(l.h-1, j+1); y++ {
				for x := max(0, i-1); x <= min(l.w-1, i+1); x++ {
					all = append(all, samples[y*l.w+x]...)
				}
			}
			slices.Sort(all)
			n := len(all)
			dark, bright := all[n*3/100], all[n-1-n*3/100]
			l.dark, l.bright = append(l.dark, dark), append(l.bright, bright)
			contrasts = append(contrasts, float64(bright-dark)/max(float64(bright+dark), 1e-6))
		}
	}
	l.contrast = middle(contrasts)
	return l
}

// at returns both at a pixel, between the middles of the squares.
func (l gridLight) at(x, y int) (dark, bright float32) {
	u := max(0, min((float32(x)+0.5)/float32(l.size)-0.5, float32(l.w-1)))
	v := max(0, min((float32(y)+0.5)/float32(l.size)-0.5, float32(l.h-1)))
	i, j := int(u), int(v)
	i1, j1 := min(i+1, l.w-1), min(j+1, l.h-1)
	s, t := u-float32(i), v-float32(j)
	between := func(of []float32) float32 {
		top := of[j*l.w+i] + s*(of[j*l.w+i1]-of[j*l.w+i])
		low := of[j1*l.w+i] + s*(of[j1*l.w+i1]-of[j1*l.w+i])
		return top + t*(low-top)
	}
	return between(l.dark), between(l.bright)
}

// halfWay fills a row with the light half-way between dark and bright.
func (l gridLight) halfWay(y int, row []float32) {
	half := func(x int) float32 {
		dark, bright := l.at(x, y)
		return (dark + bright) / 2
	}
	// Between the middles of two squares it goes straight.
	const step = 16
	for x := 0; x < len(row); x += step {
		from, end := half(x), min(x+step, len(row))
		slope := (half(end) - from) / float32(end-x)
		for k := range row[x:end] {
			row[x+k] = from + slope*float32(k)
		}
	}
}

// patch sums up the pixels of one patch of ink.
type patch struct {
	n, x, y, xx, xy, yy float64
	border              bool
}

// dots returns the middles of all round patches that are darker, or brighter,
// than half-way, whole in the photo.
func dots(g raster.Gray, l gridLight, bright bool) []target {
	label := make([]int32, g.W*g.H)
	parent := []int32{0}
	root := func(k int32) int32 {
		for parent[k] != k {
			parent[k] = parent[parent[k]]
			k = parent[k]
		}
		return k
	}
	half := make([]float32, g.W)
	for y := range g.H {
		l.halfWay(y, half)
		for x, v := range g.Row(y) {
			if (v > half[x]) != bright {
				continue
			}
			i := y*g.W + x
			var left, up int32
			if x > 0 {
				left = label[i-1]
			}
			if y > 0 {
				up = label[i-g.W]
			}
			switch {
			case left == 0 && up == 0:
				label[i] = int32(len(parent))
				parent = append(parent, label[i])
			case left == 0:
				label[i] = up
			case up == 0:
				label[i] = left
			default:
				a, b := root(left), root(up)
				a, b = min(a, b), max(a, b)
				parent[b] = a
				label[i] = a
			}
		}
	}
	patches := make([]patch, len(parent))
	for y := range g.H {
		for x := range g.W {
			k := label[y*g.W+x]
			if k == 0 {
				continue
			}
			p := &patches[root(k)]
			fx, fy := float64(x), float64(y)
			p.n++
			p.x += fx
			p.y += fy
			p.xx += fx * fx
			p.xy += fx * fy
			p.yy += fy * fy
			p.border = p.border || x == 0 || y == 0 || x == g.W-1 || y == g.H-1
		}
	}
	var out []target
	for _, p := range patches {
		if d, ok := p.dot(); ok {
			out = append(out, d)
		}
	}
	return out
}

// Limits of a dot: pixels, and how far its area may be from that of the ellipse
// with its moments; a slanted camera makes ellipses of dots.
const (
	minDot     = 12
	roundDot   = 0.08
	slenderDot = 0.6 // shorter over longer half axis
)

func (p patch) dot() (target, bool) {
	if p.n < minDot || p.border {
		return target{}, false
	}
	x, y := p.x/p.n, p.y/p.n
	xx, yy, xy := p.xx/p.n-x*x+1.0/12, p.yy/p.n-y*y+1.0/12, p.xy/p.n-x*y
	det := xx*yy - xy*xy
	half, root := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	round := p.n / (4 * math.Pi * math.Sqrt(det))
	if !(math.Abs(round-1) < roundDot) || math.Sqrt((half-root)/(half+root)) < slenderDot {
		return target{}, false
	}
	return target{at: r2.Vec{X: x, Y: y}, size: math.Sqrt(p.n / math.Pi)}, true
}

// corners returns the places where bright and dark meet crosswise.
func corners(g raster.Gray, l gridLight) []target {
	s := smoothed(g)
	const (
		near = 4 // pixels within which only the strongest counts
		ring = 5 // radius on which bright and dark take turns
	)
	w, h := s.W, s.H
	saddle := make([]float32, w*h)
	for y := 1; y < h-1; y++ {
		up, row, down := s.Row(y-1), s.Row(y), s.Row(y+1)
		for x := 1; x < w-1; x++ {
			xx := row[x-1] - 2*row[x] + row[x+1]
			yy := up[x] - 2*row[x] + down[x]
			xy := (up[x-1] - up[x+1] - down[x-1] + down[x+1]) / 4
			saddle[y*w+x] = xy*xy - xx*yy
		}
	}
	var out []target
	margin := ring + 1
	for y := margin; y < h-margin; y++ {
		for x := margin; x < w-margin; x++ {
			i := y*w + x
			v := saddle[i]
			if v <= 0 || v <= saddle[i-1] || v < saddle[i+1] || v <= saddle[i-w] || v < saddle[i+w] {
				continue
			}
			dark, bright := l.at(x, y)
			if step := (bright - dark) / 2; v < 1e-5*step*step || !topWithin(saddle, w, i, near) || !takesTurns(s, x, y, ring, float64(step)) {
				continue
			}
			out = append(out, target{at: r2.Vec{X: float64(x), Y: float64(y)}})
		}
	}
	return out
}

func topWithin(v []float32, w, i, reach int) bool {
	h := len(v) / w
	x, y := i%w, i/w
	for yy := max(0, y-reach); yy <= min(h-1, y+reach); yy++ {
		for xx := max(0, x-reach); xx <= min(w-1, x+reach); xx++ {
			if v[yy*w+xx] > v[i] {
				return false
			}
		}
	}
	return true
}

// takesTurns says whether light rises and falls twice around a place: its
// second harmonic has to hold most of what varies, and enough of the step from
// dark to bright.
func takesTurns(g raster.Gray, x, y int, radius, step float64) bool {
	const n = 24
	var v [n]float64
	var mean, a, b, all float64
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		v[i] = g.Bilinear(float64(x)+radius*cos, float64(y)+radius*sin)
		mean += v[i] / n
	}
	for i := range n {
		sin, cos := math.Sincos(4 * math.Pi * float64(i) / n)
		a += 2 * v[i] * cos / n
		b += 2 * v[i] * sin / n
		all += (v[i] - mean) * (v[i] - mean) / n
	}
	second := (a*a + b*b) / 2
	return second > 0.65*all && math.Sqrt(2*second) > 0.25*step
}

// smoothed returns the photo blurred by a Gaussian of two pixels.
func smoothed(g raster.Gray) raster.Gray {
	const sigma, reach = 2.0, 6
	var k [2*reach + 1]float32
	var sum float32
	for i := range k {
		d := float64(i - reach)
		k[i] = float32(math.Exp(-d * d / (2 * sigma * sigma)))
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	rows, out := raster.NewGray(g.W, g.H), raster.NewGray(g.W, g.H)
	for y := range g.H {
		in, to := g.Row(y), rows.Row(y)
		for x := range to {
			var v float32
			for i, f := range k {
				v += f * in[min(max(x+i-reach, 0), g.W-1)]
			}
			to[x] = v
		}
	}
	for y := range g.H {
		to := out.Row(y)
		for i, f := range k {
			for x, v := range rows.Row(min(max(y+i-reach, 0), g.H-1)) {
				to[x] += f * v
			}
		}
	}
	return out
}
