package synth

import (
	"math"
	"slices"

	"pinlash/vision/raster"
)

// What a camera's firmware does, it does to the encoded values, 0 to 1, of one
// channel.

// Unsharp returns g with amount times its difference from a Gaussian mean of
// standard deviation sigma added, cut at 0 and 1 as a file cuts it.
func Unsharp(g raster.Gray, amount, sigma float64) raster.Gray {
	mean := gaussian(g, sigma)
	out := raster.NewGray(g.W, g.H)
	for i, v := range g.Pix {
		out.Pix[i] = max(0, min(1, v+float32(amount)*(v-mean.Pix[i])))
	}
	return out
}

// Median returns the middle value of the (2n+1) x (2n+1) pixels about each.
func Median(g raster.Gray, n int) raster.Gray {
	wide, out := padded(g, n), raster.NewGray(g.W, g.H)
	side := 2*n + 1
	values := make([]float32, 0, side*side)
	for y := range g.H {
		row := out.Row(y)
		for x := range row {
			values = values[:0]
			for j := range side {
				values = append(values, wide.Row(y + j)[x:x+side]...)
			}
			slices.Sort(values)
			row[x] = values[len(values)/2]
		}
	}
	return out
}

// Bilateral returns the mean about each pixel with Gaussian weights of the
// distance, standard deviation sigma in pixels, and of the difference in
// value, standard deviation tone: faces are smoothed, edges are not (Tomasi and
// Manduchi, ICCV 1998).
func Bilateral(g raster.Gray, sigma, tone float64) raster.Gray {
	n := int(math.Ceil(2 * sigma))
	side := 2*n + 1
	near := make([]float32, side*side)
	for j := range side {
		for i := range side {
			dx, dy := float64(i-n), float64(j-n)
			near[j*side+i] = float32(math.Exp(-(dx*dx + dy*dy) / (2 * sigma * sigma)))
		}
	}
	const steps = 1024
	var alike [steps + 1]float32
	for i := range alike {
		d := float64(i) / steps
		alike[i] = float32(math.Exp(-d * d / (2 * tone * tone)))
	}
	wide, out := padded(g, n), raster.NewGray(g.W, g.H)
	for y := range g.H {
		row, own := out.Row(y), g.Row(y)
		for x, v := range own {
			var sum, weights float32
			for j := range side {
				for i, u := range wide.Row(y + j)[x : x+side] {
					d := u - v
					if d < 0 {
						d = -d
					}
					w := near[j*side+i] * alike[int(min(d, 1)*steps)]
					sum, weights = sum+w*u, weights+w
				}
			}
			row[x] = sum / weights
		}
	}
	return out
}

// Zoom is the way in which a picture is enlarged.
type Zoom string

// The ways of enlarging: by repeating pixels, the cubic of Keys, or the sinc
// under a sinc of three lobes (Lanczos).
const (
	Nearest Zoom = "nearest"
	Bicubic Zoom = "bicubic"
	Lanczos Zoom = "lanczos"
)

// Enlarge returns g with factor times the pixels along each side. The middle
// of the picture stays its middle.
func (z Zoom) Enlarge(g raster.Gray, factor float64) raster.Gray {
	return z.along(z.along(g, factor), factor)
}

// along enlarges g along its rows and exchanges rows and columns.
func (z Zoom) along(g raster.Gray, factor float64) raster.Gray {
	w := int(math.Round(factor * float64(g.W)))
	out := raster.NewGray(g.H, w)
	for x := range w {
		u := (float64(x)+0.5)*float64(g.W)/float64(w) - 0.5
		first, weights := z.weights(u)
		for y := range g.H {
			row := g.Row(y)
			var v float64
			for i, k := range weights {
				v += k * float64(row[max(0, min(g.W-1, first+i))])
			}
			out.Pix[x*g.H+y] = float32(max(0, min(1, v)))
		}
	}
	return out
}

// weights returns those of the pixels from first on for the place u.
func (z Zoom) weights(u float64) (first int, weights []float64) {
	from := int(math.Floor(u))
	switch z {
	case Bicubic:
		k := keys(u - float64(from))
		return from - 1, k[:]
	case Lanczos:
		sinc := func(t float64) float64 {
			if t == 0 {
				return 1
			}
			return math.Sin(math.Pi*t) / (math.Pi * t)
		}
		var sum float64
		for i := from - 2; i <= from+3; i++ {
			t := u - float64(i)
			weights = append(weights, sinc(t)*sinc(t/3))
			sum += weights[len(weights)-1]
		}
		for i := range weights {
			weights[i] /= sum
		}
		return from - 2, weights
	default:
		return int(math.Round(u)), []float64{1}
	}
}

// gaussian returns g blurred by a Gaussian of standard deviation sigma.
func gaussian(g raster.Gray, sigma float64) raster.Gray {
	if sigma <= 0 {
		return g
	}
	n := int(math.Ceil(4 * sigma))
	weights := make([]float32, 2*n+1)
	var sum float32
	for i := range weights {
		d := float64(i - n)
		weights[i] = float32(math.Exp(-d * d / (2 * sigma * sigma)))
		sum += weights[i]
	}
	wide := padded(g, n)
	rows, out := raster.NewGray(g.W, wide.H), raster.NewGray(g.W, g.H)
	for y := range wide.H {
		to := rows.Row(y)
		for i, w := range weights {
			for x, v := range wide.Row(y)[i:][:g.W] {
				to[x] += w / sum * v
			}
		}
	}
	for y := range g.H {
		to := out.Row(y)
		for i, w := range weights {
			for x, v := range rows.Row(y + i) {
				to[x] += w / sum * v
			}
		}
	}
	return out
}
