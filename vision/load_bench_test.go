package vision

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gocv.io/x/gocv"
)

// BenchmarkOpen opens a noisy JPEG of 5 million pixels. Its figure is the time
// over that of the bare grey decode of the same bytes in memory: "x-decode".
func BenchmarkOpen(b *testing.B) {
	data := noisyJPEG(2592, 1944)
	path := filepath.Join(b.TempDir(), "photo.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(data)))
	var bare, open time.Duration
	for b.Loop() {
		start := time.Now()
		mat, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
		if err != nil {
			b.Fatal(err)
		}
		mat.Close()
		bare += time.Since(start)

		start = time.Now()
		if _, err := Open(context.Background(), path, Limits{}); err != nil {
			b.Fatal(err)
		}
		open += time.Since(start)
	}
	b.ReportMetric(open.Seconds()/bare.Seconds(), "x-decode")
	b.ReportMetric(bare.Seconds()*1e3/float64(b.N), "decode-ms")
	b.ReportMetric(open.Seconds()*1e3/float64(b.N), "open-ms")
}

// noisyJPEG returns a colour photo of grey discs with noise, as a camera with
// a fine quality setting would store it.
func noisyJPEG(w, h int) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			level := 80.0
			if dx, dy := x%400-200, y%400-200; dx*dx+dy*dy < 150*150 {
				level = 180
			}
			img.Y[img.YOffset(x, y)] = uint8(level + 4*rng.NormFloat64())
		}
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = 128, 130
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 92}); err != nil {
		panic(err) // a buffer and a valid picture cannot fail
	}
	return buf.Bytes()
}
