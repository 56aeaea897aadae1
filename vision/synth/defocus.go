package synth

import (
	"math"
	"sync"

	"pinlash/vision/raster"
)

// defocus returns g blurred by an even disc of the given radius. Beyond the
// border the nearest pixel is repeated.
func defocus(g raster.Gray, radius float64) raster.Gray {
	disc, n := discWeights(radius)
	out := raster.NewGray(g.W, g.H)
	wide := padded(g, n)
	var wg sync.WaitGroup
	const bands = 2
	for b := range bands {
		wg.Go(func() {
			for y := b * g.H / bands; y < (b+1)*g.H/bands; y++ {
				row := out.Row(y)
				for dy := -n; dy <= n; dy++ {
					in := wide.Row(y + dy + n)
					for dx := -n; dx <= n; dx++ {
						w := disc[(dy+n)*(2*n+1)+dx+n]
						if w == 0 {
							continue
						}
						from := in[dx+n:][:len(row)]
						for x, v := range from {
							row[x] += w * v
						}
					}
				}
			}
		})
	}
	wg.Wait()
	return out
}

// discWeights returns the share of the disc's light that falls on each pixel
// of a square reaching n pixels each way.
//
// Spreading a disc over whole pixels widens it by one pixel's own width. The
// disc drawn is therefore a little smaller, so that the second moment of the
// weights is the true one, radius^2/4 along each axis.
func discWeights(radius float64) (weights []float32, n int) {
	n = int(math.Ceil(radius + 0.5))
	lo, hi := 0.0, radius
	for range 24 {
		mid := (lo + hi) / 2
		if secondMoment(discShares(mid, n), n) < radius*radius/4 {
			lo = mid
		} else {
			hi = mid
		}
	}
	shares := discShares(hi, n)
	weights = make([]float32, len(shares))
	for i, v := range shares {
		weights[i] = float32(v)
	}
	return weights, n
}

// discShares returns the area of each pixel inside a disc, normed to sum 1.
// It cuts pixels into thin rows and, since that is exact only along x, gives
// each half to the pixel mirrored in the diagonal.
func discShares(radius float64, n int) []float64 {
	const parts = 16
	shares := make([]float64, (2*n+1)*(2*n+1))
	var sum float64
	for y := -n; y <= n; y++ {
		for x := -n; x <= n; x++ {
			var v float64
			for i := range parts {
				u := math.Abs(float64(y) + (float64(i)+0.5)/parts - 0.5)
				if u >= radius {
					continue
				}
				half := math.Sqrt(radius*radius - u*u)
				v += math.Max(0, math.Min(float64(x)+0.5, half)-math.Max(float64(x)-0.5, -half))
			}
			shares[(y+n)*(2*n+1)+x+n] += v
			shares[(x+n)*(2*n+1)+y+n] += v
			sum += 2 * v
		}
	}
	if sum == 0 { // a disc lost between the parts of a pixel
		shares[len(shares)/2], sum = 1, 1
	}
	for i := range shares {
		shares[i] /= sum
	}
	return shares
}

func secondMoment(shares []float64, n int) float64 {
	var m float64
	for i, v := range shares {
		x := float64(i%(2*n+1) - n)
		m += v * x * x
	}
	return m
}

// padded returns g with n more pixels on every side, repeating its border.
func padded(g raster.Gray, n int) raster.Gray {
	p := raster.NewGray(g.W+2*n, g.H+2*n)
	for y := range p.H {
		row, in := p.Row(y), g.Row(max(0, min(g.H-1, y-n)))
		copy(row[n:], in)
		for x := range n {
			row[x], row[n+g.W+x] = in[0], in[g.W-1]
		}
	}
	return p
}
