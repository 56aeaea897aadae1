package synth

import (
	"image"
	"image/color"
	"image/jpeg"
	"io"

	"pinlash/vision/raster"
)

// Snapshot is a photo as a hurried hand takes it with a cheap camera. Its zero
// value adds nothing to the Camera of a scene.
type Snapshot struct {
	// On the way of the light, in this order.
	Soil    *Soil
	Lens    Lens
	Path    Path
	Shutter Shutter
	Mosaic  *Mosaic // nil is a grey sensor
	// On the encoded values, in this order.
	Denoise func(raster.Gray) raster.Gray
	Zoom    Zoom
	Factor  float64 // of the zoom
	// Sharpen is the amount of Unsharp, Radius its sigma.
	Sharpen, Radius float64
}

// Take returns what the camera stores of the light g before its JPEG. The
// camera's Blur is that of g; its noise, tone curve, contrast and sharpening
// are applied here.
func (s Snapshot) Take(g raster.Gray, c Camera, seed uint64) image.Image {
	if s.Soil != nil {
		g = s.Soil.On(g, c.Blur)
	}
	if s.Lens != (Lens{}) {
		g = s.Lens.Through(g)
	}
	if len(s.Path) > 0 {
		g = s.Path.Smear(g)
	}
	if s.Shutter != (Shutter{}) {
		g = s.Shutter.Roll(g)
	}
	scene := Scene{Camera: c, Seed: seed}
	if s.Mosaic != nil {
		planes := s.Mosaic.Planes(g, c.Noise, seed)
		for i, p := range planes {
			scene.encode(p)
			planes[i] = s.develop(p)
		}
		return colours(planes)
	}
	seen := raster.NewGray(g.W, g.H)
	copy(seen.Pix, g.Pix)
	scene.expose(seen)
	scene.encode(seen)
	seen = s.develop(seen)
	img := image.NewGray(image.Rect(0, 0, seen.W, seen.H))
	for i, v := range seen.Pix {
		img.Pix[i] = level(v)
	}
	return img
}

// develop is what the firmware does to one channel.
func (s Snapshot) develop(g raster.Gray) raster.Gray {
	if s.Denoise != nil {
		g = s.Denoise(g)
	}
	if s.Factor > 1 {
		g = s.Zoom.Enlarge(g, s.Factor)
	}
	if s.Sharpen > 0 {
		g = Unsharp(g, s.Sharpen, s.Radius)
	}
	return g
}

func level(v float32) uint8 { return uint8(max(0, min(1, v))*255 + 0.5) }

func colours(p [3]raster.Gray) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, p[0].W, p[0].H))
	for y := range p[0].H {
		for x := range p[0].W {
			i := y*p[0].W + x
			img.SetRGBA(x, y, color.RGBA{R: level(p[0].Pix[i]), G: level(p[1].Pix[i]), B: level(p[2].Pix[i]), A: 255})
		}
	}
	return img
}

// Store writes the picture as a JPEG of the quality, 95 for 0.
func Store(w io.Writer, img image.Image, quality int) error {
	if quality == 0 {
		quality = 95
	}
	return jpeg.Encode(w, img, &jpeg.Options{Quality: quality})
}

// Light returns what falls on the sensor when the lower link has gone the
// share pulled of its way and the camera the share moved of its.
func (p Pair) Light(pulled, moved float64) raster.Gray {
	g := p.light(pulled, moved)
	Scene{W: p.W, H: p.H, Camera: p.Camera}.lit(g)
	for _, spot := range p.Camera.Glare {
		spot.add(g)
	}
	return g
}
