package vision

import (
	"bytes"
	"testing"
	"time"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// benchPhoto is a JPEG of a joint with a rule, 5 MP: a generated photo of the
// usual kind, pixels doubled in number by drawing it larger.
func benchPhoto(b *testing.B) []byte {
	b.Helper()
	const w, h = 2592, 1944
	s := synth.Ring(470, 24, 1, 0.3)
	mid := r2.Vec{X: 1250, Y: 800}
	shift := r2.Sub(mid, s.Joint.BoreCenter)
	s.Joint.BoreCenter = r2.Add(s.Joint.BoreCenter, shift)
	s.Joint.PinCenter = r2.Add(s.Joint.PinCenter, shift)
	s.Joint.BushR = 660
	s.W, s.H = w, h
	s.Background.Level = 0.05
	s.Rule = synth.Rule{
		Origin: r2.Vec{X: 60, Y: 1600}, Period: 27, Marks: 90, LineWidth: 6,
		Short: 70, Mid: 100, Long: 140, MidEvery: 5, LongEvery: 10,
		Width: 300, End: 60, Body: synth.Face{Level: 0.6}, Ink: 0.03,
	}
	s.Camera.Blur = 0.9
	s.Camera.Noise = synth.Noise{Read: 0.002, FullWell: 3000}
	s.Camera.JPEGQuality = 90
	s.Seed = 7
	var buf bytes.Buffer
	if err := s.WriteJPEG(&buf); err != nil {
		b.Fatal(err)
	}
	return buf.Bytes()
}

// BenchmarkJoint times the way of a photo from bytes to rims, next to the
// bare grey decode of the same bytes: "x decode" is the ratio of the two.
func BenchmarkJoint(b *testing.B) {
	data := benchPhoto(b)
	var decode, rule, joint time.Duration
	for b.Loop() {
		t0 := time.Now()
		m, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
		if err != nil {
			b.Fatal(err)
		}
		m.Close()
		t1 := time.Now()
		p, err := Decode(data, "bench", Limits{})
		if err != nil {
			b.Fatal(err)
		}
		t2 := time.Now()
		if _, err := FindRule(p.Light); err != nil {
			b.Fatal(err)
		}
		t3 := time.Now()
		if _, _, err := FindJoint(p.Light, raster.SRGB); err != nil {
			b.Fatal(err)
		}
		t4 := time.Now()
		decode += t1.Sub(t0)
		rule += t3.Sub(t2)
		joint += t4.Sub(t3)
	}
	b.ReportMetric(float64(rule)/float64(decode), "rule/decode")
	b.ReportMetric(float64(joint)/float64(decode), "joint/decode")
	b.ReportMetric(decode.Seconds()*1e3/float64(b.N), "decode-ms")
}
