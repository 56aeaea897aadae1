package vision

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/synth"
)

// benchPhoto is a JPEG of a joint with a rule, 5 MP: a generated photo of the
// usual kind, pixels doubled in number by drawing it larger.
func benchPhoto(b *testing.B) []byte {
	b.Helper()
	return jointFile(b, 1)
}

// jointFile is benchPhoto with k times the pixels a side.
func jointFile(t testing.TB, k float64) []byte {
	t.Helper()
	const w, h = 2592, 1944
	s := synth.Ring(470, 24, 1, 0.3)
	mid := r2.Vec{X: 1250, Y: 800}
	shift := r2.Sub(mid, s.Joint.BoreCenter)
	s.Joint.BoreCenter = r2.Add(s.Joint.BoreCenter, shift)
	s.Joint.PinCenter = r2.Add(s.Joint.PinCenter, shift)
	s.Joint.BushR = 660
	s.W, s.H = w, h
	// Ground and brushed faces make the file as large as a camera's, about a
	// megabyte: a smooth picture would decode in half the time.
	s.Joint.Pin.Finish = synth.Finish{Amplitude: 0.08, AngleRad: 0.7, Along: 6, Across: 1.5}
	s.Joint.Bush.Finish = synth.Finish{Amplitude: 0.08, AngleRad: -0.4, Along: 6, Across: 1.5}
	s.Plate = synth.Plate{R: 900, HalfHeight: 700, Face: synth.Face{Level: 0.35, Finish: synth.Finish{Amplitude: 0.12, AngleRad: 0.2, Along: 60, Across: 1.5}}}
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
	if err := s.Scaled(k).WriteJPEG(&buf); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// BenchmarkJoint times the whole way of a photo of a joint, from the file to
// the rims and marks, next to the bare grey decode of the same bytes. The two
// searches run side by side, as the command runs them. "x-decode" is the ratio
// of the medians; the project promises at most 6.
func BenchmarkJoint(b *testing.B) {
	data := benchPhoto(b)
	path := filepath.Join(b.TempDir(), "joint.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	var decode, open, rule, joint, whole []float64
	for b.Loop() {
		t0 := time.Now()
		m, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
		if err != nil {
			b.Fatal(err)
		}
		m.Close()
		t1 := time.Now()
		p, err := Open(context.Background(), path, Limits{})
		if err != nil {
			b.Fatal(err)
		}
		t2 := time.Now()
		var wg sync.WaitGroup
		var ruleErr, jointErr error
		var ruleTime, jointTime time.Duration
		wg.Go(func() {
			_, ruleErr = FindRule(p.Light)
			ruleTime = time.Since(t2)
		})
		wg.Go(func() {
			_, _, jointErr = FindJoint(p.Light, p.Curve)
			jointTime = time.Since(t2)
		})
		wg.Wait()
		if ruleErr != nil || jointErr != nil {
			b.Fatal(ruleErr, jointErr)
		}
		decode = append(decode, t1.Sub(t0).Seconds())
		open = append(open, t2.Sub(t1).Seconds())
		rule = append(rule, ruleTime.Seconds())
		joint = append(joint, jointTime.Seconds())
		whole = append(whole, time.Since(t1).Seconds())
	}
	d := middle(decode)
	b.ReportMetric(float64(len(data))/1e6, "MB")
	b.ReportMetric(middle(whole)/d, "x-decode")
	b.ReportMetric(middle(open)/d, "open/decode")
	b.ReportMetric(middle(rule)/d, "rule/decode")
	b.ReportMetric(middle(joint)/d, "joint/decode")
	b.ReportMetric(d*1e3, "decode-ms")
}
