package vision

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// enlarged is a photo drawn larger and stored as JPEG.
func enlarged(b *testing.B, g raster.Gray, w, h int) []byte {
	b.Helper()
	out := raster.NewGray(w, h)
	for y := range h {
		for x := range w {
			out.Pix[y*w+x] = float32(g.Bilinear(float64(x)*float64(g.W)/float64(w), float64(y)*float64(g.H)/float64(h)))
		}
	}
	return storedJPEG(b, out, 92)
}

// storedJPEG is a picture as a grey JPEG file.
func storedJPEG(t testing.TB, g raster.Gray, quality int) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, g.W, g.H))
	for i, v := range g.Pix {
		img.Pix[i] = uint8(255*raster.SRGB.Encode(float64(v)) + 0.5)
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// BenchmarkPair measures a pair of 5 MP photos from files in memory. The
// metric "of-decode" is the time of everything over that of the grey decode of
// both alone, taken in the same run; at most 6 is asked on a machine at rest.
func BenchmarkPair(b *testing.B) {
	for _, p := range renderedPairs(b) {
		b.Run(p.ID, func(b *testing.B) {
			g, h := openPair(b, p)
			files := [2][]byte{enlarged(b, g, 2592, 1944), enlarged(b, h, 2592, 1944)}
			var decode, all time.Duration
			for b.Loop() {
				start := time.Now()
				for _, f := range files {
					s, err := walkJPEG(f, Limits{}.withDefaults())
					if err != nil {
						b.Fatal(err)
					}
					if err := decodeJPEG(s, func([]uint8) {}); err != nil {
						b.Fatal(err)
					}
				}
				decode += time.Since(start)
				start = time.Now()
				var light [2]raster.Gray
				together(
					func() { light[0] = mustDecode(b, files[0]) },
					func() { light[1] = mustDecode(b, files[1]) },
				)
				if _, _, err := FindMotion(light[0], light[1], MotionHint{}); err != nil {
					b.Fatal(err)
				}
				all += time.Since(start)
			}
			b.ReportMetric(float64(all)/float64(decode), "of-decode")
		})
	}
}

func mustDecode(b *testing.B, file []byte) raster.Gray {
	p, err := Decode(file, "", Limits{})
	if err != nil {
		b.Error(err)
	}
	return p.Light
}

// BenchmarkClip follows a clip of 1.3 MP frames, and compares with decoding it
// alone; at least 30 frames a second are asked on a machine at rest.
func BenchmarkClip(b *testing.B) {
	p := smallPair(6)
	p.W, p.H, p.Joint = 1280, 1024, r2.Vec{X: 500, Y: 400}
	p.PinR, p.PlateR, p.Pitch, p.Rule = 130, 250, 640, 40
	path := writeClip(b, p, rocking(2, 5), 0.1)
	var decode, all time.Duration
	frames := 0
	for b.Loop() {
		start := time.Now()
		c, err := OpenClip(context.Background(), path, ClipLimits{})
		if err != nil {
			b.Fatal(err)
		}
		if _, _, err := c.Follow(context.Background(), MotionHint{}, nil); err != nil {
			b.Fatal(err)
		}
		all += time.Since(start)
		start = time.Now()
		if err := c.each(context.Background(), func(int, []uint8) { frames++ }); err != nil {
			b.Fatal(err)
		}
		decode += time.Since(start)
	}
	b.ReportMetric(float64(all)/float64(decode), "of-decode")
	b.ReportMetric(float64(frames)/all.Seconds(), "frames/s")
}
