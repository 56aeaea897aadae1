package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Camera is what stands between the plane of the joint and the bytes of a
// file. Its zero value is a perfect camera with the curve "".
type Camera struct {
	Tilt Tilt
	Lens Lens
	// Blur is the standard deviation of the Gaussian blur, Defocus the
	// radius of the blur disc of a lens out of focus, pixels.
	Blur, Defocus float64
	// Gradient is the relative change of the lighting per pixel, about the
	// middle of the picture. Vignette is the share of light lost in the
	// corners; the loss grows with the square of the distance.
	Gradient r2.Vec
	Vignette float64
	Oil      []Oil
	Glare    []Glare
	Noise    Noise
	// Curve is the tone curve of the file; the empty one stores light as it
	// is. Contrast bends the encoded values v further to
	//
	//	v + Contrast v (1-v) (2v-1)
	//
	// as cameras do that want to please, from 0 to 1.
	Curve    raster.Curve
	Contrast float64
	// Sharpen is the share of the difference from a neighbourhood of
	// standard deviation 1 px that is added to the encoded values.
	Sharpen     float64
	JPEGQuality int // 1 to 100; 0 stores without loss
}

// Noise is the noise of a sensor. A pixel of light L has the variance
// Read^2 + L/FullWell.
type Noise struct {
	Read     float64 // standard deviation, share of full scale
	FullWell float64 // electrons at full scale; 0 leaves shot noise out
}

// Glare is a spot where a lamp is mirrored. It adds Level of light at its
// centre, falling off as a Gaussian of standard deviation Radius.
type Glare struct {
	At            r2.Vec
	Radius, Level float64
}

// Light returns what falls on the sensor: linear light without noise and
// without a clip level. Glare is part of it, since it is light.
func (s Scene) Light() raster.Gray {
	g := s.paint()
	s.lit(g)
	s.oiled(g)
	if s.Camera.Defocus > 0 {
		g = defocus(g, s.Camera.Defocus)
	}
	for _, spot := range s.Camera.Glare {
		spot.add(g)
	}
	return g
}

// Sensor returns the picture as the sensor sees it, in linear light: noisy,
// clipped to 0..1, and not rounded to the levels of a file.
func (s Scene) Sensor() raster.Gray {
	g := s.Light()
	s.expose(g)
	g.Clip = 1
	return g
}

// expose puts the sensor's noise and clipping into g.
func (s Scene) expose(g raster.Gray) {
	n := s.Camera.Noise
	r := rand.New(rand.NewPCG(s.Seed, 1))
	for i, v := range g.Pix {
		variance := n.Read * n.Read
		if n.FullWell > 0 {
			variance += math.Max(0, float64(v)) / n.FullWell
		}
		if variance > 0 {
			v += float32(math.Sqrt(variance) * r.NormFloat64())
		}
		g.Pix[i] = max(0, min(1, v))
	}
}

// lit applies the unevenness of the lighting and of the lens.
func (s Scene) lit(g raster.Gray) {
	c := s.Camera
	if c.Gradient == (r2.Vec{}) && c.Vignette == 0 {
		return
	}
	mid := s.center()
	fall := c.Vignette / (mid.X*mid.X + mid.Y*mid.Y)
	for y := range g.H {
		row := g.Row(y)
		dy := float64(y) - mid.Y
		for x := range row {
			dx := float64(x) - mid.X
			slope := math.Max(0, 1+c.Gradient.X*dx+c.Gradient.Y*dy)
			row[x] *= float32(slope * (1 - fall*(dx*dx+dy*dy)))
		}
	}
}

// add puts the spot into g.
func (spot Glare) add(g raster.Gray) {
	reach := 5 * spot.Radius
	x0, x1 := span(spot.At.X, spot.At.X, reach, g.W)
	y0, y1 := span(spot.At.Y, spot.At.Y, reach, g.H)
	for y := y0; y < y1; y++ {
		row := g.Row(y)
		dy := float64(y) - spot.At.Y
		for x := x0; x < x1; x++ {
			dx := float64(x) - spot.At.X
			row[x] += float32(spot.Level * math.Exp(-(dx*dx+dy*dy)/(2*spot.Radius*spot.Radius)))
		}
	}
}
