package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Path is the way of the picture over the sensor while the shutter is open,
// pixels, at equal times and about zero.
type Path []r2.Vec

// Stroke returns the path of a camera that moves straight on at an even speed.
func Stroke(length, angleRad float64) Path {
	p := make(Path, max(1, int(math.Ceil(20*length))))
	for i := range p {
		p[i] = r2.Scale(length*((float64(i)+0.5)/float64(len(p))-0.5), direction(angleRad))
	}
	return p
}

// Shake returns the path of a hand that cannot hold still: each way it swings
// in two waves, the slower one by about reach from end to end.
func Shake(r *rand.Rand, reach float64) Path {
	p := make(Path, max(1, int(math.Ceil(60*reach))))
	var slow, fast [2]float64
	for k := range slow {
		slow[k], fast[k] = angle(r), angle(r)
	}
	turns, ripple := between(r, 0.4, 1), between(r, 2, 4)
	var mean r2.Vec
	for i := range p {
		t := 2 * math.Pi * (float64(i) + 0.5) / float64(len(p))
		wave := func(k int) float64 {
			return reach / 2 * (math.Sin(turns*t+slow[k]) + 0.2*math.Sin(ripple*t+fast[k]))
		}
		p[i] = r2.Vec{X: wave(0), Y: wave(1)}
		mean = r2.Add(mean, r2.Scale(1/float64(len(p)), p[i]))
	}
	for i := range p {
		p[i] = r2.Sub(p[i], mean)
	}
	return p
}

// Smear returns the light that the sensor gathers from g along the path: its
// mean over the time. Each moment's place between pixels is spread by the
// cubic of Keys (IEEE Trans. ASSP 29, 1981, 1153), which keeps centre and
// width.
func (p Path) Smear(g raster.Gray) raster.Gray {
	n := 2
	for _, at := range p {
		n = max(n, int(math.Ceil(max(math.Abs(at.X), math.Abs(at.Y))))+2)
	}
	side := 2*n + 1
	weights := make([]float32, side*side)
	for _, at := range p {
		x0, y0 := int(math.Floor(at.X)), int(math.Floor(at.Y))
		wx, wy := keys(at.X-float64(x0)), keys(at.Y-float64(y0))
		for j, v := range wy {
			for i, u := range wx {
				weights[(y0-1+j+n)*side+x0-1+i+n] += float32(u * v / float64(len(p)))
			}
		}
	}
	wide, out := padded(g, n), raster.NewGray(g.W, g.H)
	for y := range g.H {
		row := out.Row(y)
		for j := range side {
			in := wide.Row(y + side - 1 - j)
			for i := range side {
				w := weights[j*side+i]
				if w == 0 {
					continue
				}
				for x, v := range in[side-1-i:][:len(row)] {
					row[x] += w * v
				}
			}
		}
	}
	return out
}

// Shutter is a sensor whose rows are read one after the other while the
// picture moves: by Drift from the first row to the last, and to and fro by
// Sway in so many Waves from top to bottom.
type Shutter struct {
	Drift, Sway  r2.Vec
	Waves, Phase float64
}

// Roll returns what the rows have seen of the light g.
func (s Shutter) Roll(g raster.Gray) raster.Gray {
	return warped(g, func(x, y float64) (u, v float64) {
		t := y/float64(g.H-1) - 0.5
		sway := math.Sin(2*math.Pi*s.Waves*t + s.Phase)
		return x - s.Drift.X*t - s.Sway.X*sway, y - s.Drift.Y*t - s.Sway.Y*sway
	})
}

// Through returns the light g as the lens shows it.
func (l Lens) Through(g raster.Gray) raster.Gray {
	c := r2.Add(r2.Vec{X: float64(g.W-1) / 2, Y: float64(g.H-1) / 2}, l.Off)
	return warped(g, func(x, y float64) (u, v float64) {
		d := r2.Sub(r2.Vec{X: x, Y: y}, c)
		seen := r2.Norm(d)
		if seen == 0 {
			return x, y
		}
		// The radius r that is seen at r (1 + K1 r² + K2 r⁴), by steps that
		// shrink as long as the bend is a few percent.
		r := seen
		for range 12 {
			r = seen / (1 + r*r*(l.K1+r*r*l.K2))
		}
		return c.X + d.X*r/seen, c.Y + d.Y*r/seen
	})
}

// Bend returns the lens that moves the corners of a picture of w x h pixels
// outwards by a share of their distance from the middle.
func Bend(w, h int, share float64) Lens {
	x, y := float64(w-1)/2, float64(h-1)/2
	return Lens{K1: share / (x*x + y*y)}
}

// warped returns the picture that shows at each pixel what g has at from.
// Beyond the border the nearest pixel is repeated.
func warped(g raster.Gray, from func(x, y float64) (u, v float64)) raster.Gray {
	out := raster.NewGray(g.W, g.H)
	for y := range g.H {
		row := out.Row(y)
		for x := range row {
			u, v := from(float64(x), float64(y))
			row[x] = cubic(g, u, v)
		}
	}
	return out
}

// cubic samples g at (x, y) by the cubic of Keys.
func cubic(g raster.Gray, x, y float64) float32 {
	x, y = max(-2, min(x, float64(g.W)+1)), max(-2, min(y, float64(g.H)+1))
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	wx, wy := keys(x-float64(x0)), keys(y-float64(y0))
	var sum float64
	for j, v := range wy {
		row := g.Row(max(0, min(g.H-1, y0-1+j)))
		var line float64
		for i, u := range wx {
			line += u * float64(row[max(0, min(g.W-1, x0-1+i))])
		}
		sum += v * line
	}
	return float32(sum)
}

// keys returns the weights of the four places about the share t of the way
// from the second to the third, with a = -1/2.
func keys(t float64) [4]float64 {
	return [4]float64{
		((-0.5*t+1)*t - 0.5) * t,
		(1.5*t-2.5)*t*t + 1,
		((-1.5*t+2)*t + 0.5) * t,
		(0.5*t - 0.5) * t * t,
	}
}
