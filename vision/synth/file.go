package synth

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"

	"pinlash/vision/raster"
)

// Gray8 returns the 8-bit picture that the camera stores, after its tone
// curve, its sharpening and, with Camera.JPEGQuality set, the loss of JPEG.
// The error tells of a picture too large for JPEG.
func (s Scene) Gray8() (*image.Gray, error) {
	return s.stored(s.Sensor())
}

// stored returns the bytes the camera makes of what its sensor saw. It uses up
// g.
func (s Scene) stored(g raster.Gray) (*image.Gray, error) {
	s.encode(g)
	img := image.NewGray(image.Rect(0, 0, g.W, g.H))
	for i, v := range g.Pix {
		img.Pix[i] = uint8(v*255 + 0.5)
	}
	if s.Camera.JPEGQuality == 0 {
		return img, nil
	}
	return throughJPEG(img, s.Camera.JPEGQuality)
}

// Photo returns the stored picture read back into linear light, as a reader
// does that knows Camera.Curve and nothing of Camera.Contrast. From 254 of
// 255 on a pixel counts as clipped.
func (s Scene) Photo() (raster.Gray, error) {
	img, err := s.Gray8()
	if err != nil {
		return raster.Gray{}, err
	}
	return s.read(img), nil
}

// read returns a stored picture in linear light.
func (s Scene) read(img *image.Gray) raster.Gray {
	table := s.Camera.Curve.Table(256)
	g := raster.NewGray(s.W, s.H)
	for y := range g.H {
		// Of a JPEG the rows go on to the end of their last block.
		for x, v := range img.Pix[y*img.Stride:][:g.W] {
			g.Pix[y*g.W+x] = table[v]
		}
	}
	g.Clip = table[254]
	return g
}

// WriteJPEG writes the picture as a JPEG of Camera.JPEGQuality, or of quality
// 95 when that is 0.
func (s Scene) WriteJPEG(w io.Writer) error {
	quality := s.Camera.JPEGQuality
	if quality == 0 {
		quality = 95
	}
	s.Camera.JPEGQuality = 0 // lost once, not twice
	img, err := s.Gray8()
	if err != nil {
		return err
	}
	return jpeg.Encode(w, img, &jpeg.Options{Quality: quality})
}

// WritePNG writes the stored picture, with the loss of JPEG if the camera has
// it.
func (s Scene) WritePNG(w io.Writer) error {
	img, err := s.Gray8()
	if err != nil {
		return err
	}
	return png.Encode(w, img)
}

// encode turns light into the numbers of the file, 0 to 1.
func (s Scene) encode(g raster.Gray) {
	c := s.Camera
	table := encodeTable(c.Curve, c.Contrast)
	for i, v := range g.Pix {
		t := v * (encodeSteps - 1)
		k := min(int(t), encodeSteps-2)
		g.Pix[i] = table[k] + (table[k+1]-table[k])*(t-float32(k))
	}
	if c.Sharpen > 0 {
		sharpen(g, float32(c.Sharpen))
	}
}

// encodeSteps is fine enough for the steep foot of the sRGB curve: a line
// between two entries is off by less than 0.001 of a level of 255.
const encodeSteps = 1 << 14

func encodeTable(curve raster.Curve, contrast float64) []float32 {
	t := make([]float32, encodeSteps)
	for i := range t {
		v := curve.Encode(float64(i) / (encodeSteps - 1))
		v += contrast * v * (1 - v) * (2*v - 1)
		t[i] = float32(math.Max(0, math.Min(1, v)))
	}
	return t
}

// sharpen adds to g the share amount of its difference from a Gaussian mean
// of standard deviation 1 px, limited to 0..1.
func sharpen(g raster.Gray, amount float32) {
	const n = 3
	var w [2*n + 1]float32
	var sum float32
	for i := range w {
		d := float64(i - n)
		w[i] = float32(math.Exp(-d * d / 2))
		sum += w[i]
	}
	wide := padded(g, n)
	rows := raster.NewGray(g.W, wide.H)
	for y := range wide.H {
		in, out := wide.Row(y), rows.Row(y)
		for x := range out {
			var v float32
			for i, u := range in[x : x+len(w)] {
				v += w[i] * u
			}
			out[x] = v / sum
		}
	}
	mean := make([]float32, g.W)
	for y := range g.H {
		clear(mean)
		for i := range w {
			for x, v := range rows.Row(y + i) {
				mean[x] += w[i] / sum * v
			}
		}
		row := g.Row(y)
		for x, v := range row {
			row[x] = max(0, min(1, v+amount*(v-mean[x])))
		}
	}
}

// throughJPEG returns img after it has been stored as JPEG and read again.
func throughJPEG(img *image.Gray, quality int) (*image.Gray, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("synth: store picture: %w", err)
	}
	back, err := jpeg.Decode(&b)
	if err != nil {
		return nil, fmt.Errorf("synth: read picture back: %w", err)
	}
	gray, ok := back.(*image.Gray)
	if !ok {
		return nil, fmt.Errorf("synth: a grey picture came back as %T", back)
	}
	if gray.Stride != gray.Rect.Dx() { // JPEG pads rows to whole blocks
		tight := image.NewGray(image.Rect(0, 0, gray.Rect.Dx(), gray.Rect.Dy()))
		for y := range tight.Rect.Dy() {
			copy(tight.Pix[y*tight.Stride:], gray.Pix[y*gray.Stride:][:tight.Stride])
		}
		gray = tight
	}
	return gray, nil
}
