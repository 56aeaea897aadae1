package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Mosaic is a colour sensor: one filter a pixel, red and green by turns in the
// first row, green and blue in the second, and the two other colours filled in
// from the neighbours that have them.
type Mosaic struct {
	// Tint is the light of red, green and blue that a grey face sends, 1 being
	// that of a white lamp.
	Tint [3]float64
	// Shift is where the lens shows a colour, pixels from where it should.
	Shift [3]r2.Vec
}

// filter returns the colour of the filter over a pixel: 0 red, 1 green, 2 blue.
func filter(x, y int) int { return x&1 + y&1 }

// Planes returns the three colours as the sensor has seen the light: noisy,
// clipped to 0..1, filled in.
func (m Mosaic) Planes(light raster.Gray, n Noise, seed uint64) [3]raster.Gray {
	raw := raster.NewGray(light.W, light.H)
	r := rand.New(rand.NewPCG(seed, 3))
	for y := range raw.H {
		row := raw.Row(y)
		for x := range row {
			c := filter(x, y)
			v := light.At(x, y)
			if s := m.Shift[c]; s != (r2.Vec{}) {
				v = cubic(light, float64(x)-s.X, float64(y)-s.Y)
			}
			seen := m.Tint[c] * max(0, float64(v))
			variance := n.Read * n.Read
			if n.FullWell > 0 {
				variance += seen / n.FullWell
			}
			row[x] = float32(max(0, min(1, seen+math.Sqrt(variance)*r.NormFloat64())))
		}
	}
	return filledIn(raw)
}

// filledIn returns each colour at every pixel: its own where it has a filter,
// otherwise the mean of the nearest that have.
func filledIn(raw raster.Gray) (planes [3]raster.Gray) {
	// Two more pixels a side keep the order of the filters.
	wide := raster.NewGray(raw.W+4, raw.H+4)
	mirrored := func(i, n int) int {
		if i < 0 {
			i = -i
		}
		if i >= n {
			i = 2*(n-1) - i
		}
		return max(0, i)
	}
	for y := range wide.H {
		row, in := wide.Row(y), raw.Row(mirrored(y-2, raw.H))
		for x := range row {
			row[x] = in[mirrored(x-2, raw.W)]
		}
	}
	for c := range planes {
		planes[c] = raster.NewGray(raw.W, raw.H)
	}
	for y := range raw.H {
		for x := range raw.W {
			at := func(dx, dy int) float32 { return wide.At(x+2+dx, y+2+dy) }
			own, cross := at(0, 0), (at(-1, 0)+at(1, 0)+at(0, -1)+at(0, 1))/4
			beside, above := (at(-1, 0)+at(1, 0))/2, (at(0, -1)+at(0, 1))/2
			slant := (at(-1, -1) + at(1, -1) + at(-1, 1) + at(1, 1)) / 4
			i := y*raw.W + x
			var v [3]float32
			switch {
			case filter(x, y) == 0:
				v = [3]float32{own, cross, slant}
			case filter(x, y) == 2:
				v = [3]float32{slant, cross, own}
			case y&1 == 0: // green between reds
				v = [3]float32{beside, own, above}
			default:
				v = [3]float32{above, own, beside}
			}
			for c := range planes {
				planes[c].Pix[i] = v[c]
			}
		}
	}
	return planes
}
