package vision

import (
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// gaugeScene is a round gauge alone: a ground pin's end of radius r before a
// dark ground, or, backlit, its silhouette.
func gaugeScene(w, h int, at r2.Vec, r float64, backlit bool) synth.Scene {
	s := synth.Scene{
		W: w, H: h,
		Gauge:      synth.Gauge{Center: at, R: r, Face: synth.Face{Level: 0.5}},
		Background: synth.Face{Level: 0.02},
		Camera: synth.Camera{
			Blur: 1.2, Noise: synth.Noise{Read: 0.004, FullWell: 8000}, Curve: raster.SRGB,
		},
	}
	if backlit {
		s.Gauge.Face.Level, s.Background.Level = 0.02, 0.6
	}
	return s
}

// drawnGauge draws a gauge by chance over sizes, places, finishes and cameras.
func drawnGauge(rng *rand.Rand) synth.Scene {
	const w, h = 1000, 800
	r := 80 + 220*rng.Float64()
	at := r2.Vec{X: r + 12 + (w-2*r-24)*rng.Float64(), Y: r + 12 + (h-2*r-24)*rng.Float64()}
	s := gaugeScene(w, h, at, r, rng.IntN(2) == 0)
	s.Seed = rng.Uint64()
	s.Camera.Blur = 0.8 + 1.5*rng.Float64()
	s.Camera.Vignette = 0.2 * rng.Float64()
	s.Camera.Gradient = r2.Vec{X: 2e-4 * rng.NormFloat64(), Y: 2e-4 * rng.NormFloat64()}
	s.Camera.JPEGQuality = 85 + rng.IntN(15)
	if s.Gauge.Face.Level > s.Background.Level {
		s.Gauge.Face.Finish = synth.Finish{Amplitude: 0.08 * rng.Float64(), AngleRad: math.Pi * rng.Float64(), Along: 40, Across: 2}
	}
	return s
}

// Known truth: R to within 2 standard deviations of the least that any
// unbiased method can have, over plain pictures. The bound is that of
// sd(R) = sqrt(2 s sqrt(pi)/(2 pi R))/SNR for a full circle, with the spread s
// of lens and pixel together and the noise of the brighter side.
func TestGaugeRadius(t *testing.T) {
	for _, tt := range []struct {
		name     string
		r, blur  float64
		backlit  bool
		read     float64
		wantBias float64 // allowed beside the noise, pixels
	}{
		{"bright", 301.3, 1.2, false, 0.01, 0.001},
		{"backlit", 301.3, 1.2, true, 0.01, 0.001},
		{"small", 60.4, 1.2, false, 0.01, 0.002},
		{"soft", 150.7, 3, true, 0.01, 0.002},
	} {
		t.Run(tt.name, func(t *testing.T) {
			const trials = 12
			size := int(2.6 * tt.r)
			mid := r2.Vec{X: float64(size)/2 + 0.3, Y: float64(size)/2 - 0.4}
			s := gaugeScene(size, size, mid, tt.r, tt.backlit)
			s.Camera.Blur, s.Camera.Noise = tt.blur, synth.Noise{Read: tt.read}
			spread := math.Sqrt(tt.blur*tt.blur + 1.0/12)
			step := math.Abs(s.Background.Level - s.Gauge.Face.Level)
			bound := math.Sqrt(2*spread*math.Sqrt(math.Pi)/(2*math.Pi*tt.r)) * tt.read / step
			var bias, square, claimed float64
			for i := range trials {
				s.Seed = uint64(i + 1)
				found, _, err := FindGauge(s.Sensor(), raster.SRGB)
				if err != nil {
					t.Fatal(err)
				}
				c := found.Circle
				bias += (c.R - tt.r) / trials
				square += (c.R - tt.r) * (c.R - tt.r) / trials
				claimed += c.Cov[2][2] / trials
				if off := r2.Norm(r2.Sub(c.Center, mid)); off > 6*bound+tt.wantBias {
					t.Errorf("seed %d: centre off by %.4f px, bound %.4f", i, off, bound)
				}
			}
			rms, u := math.Sqrt(square), math.Sqrt(claimed)
			t.Logf("R %.1f: bias %+.4f, rms %.4f, claimed %.4f, bound %.4f px", tt.r, bias, rms, u, bound)
			if rms > 2*bound+tt.wantBias {
				t.Errorf("rms error %.4f px, more than twice the bound of %.4f", rms, bound)
			}
			if u < 0.7*bound || u > 3*bound {
				t.Errorf("claims u = %.4f px where the bound is %.4f", u, bound)
			}
		})
	}
}

// Over gauges of all kinds the error in units of the claimed uncertainty is
// that of a normal distribution.
func TestGaugeUncertainty(t *testing.T) {
	trials := 60
	if testing.Short() {
		trials = 20
	}
	rng := rand.New(rand.NewPCG(11, 12))
	var square, far float64
	for i := range trials {
		s := drawnGauge(rng)
		g := photoOf(t, s)
		found, checks, err := FindGauge(g, raster.SRGB)
		c := found.Circle
		if err != nil {
			t.Errorf("%d: %v (%v)", i, err, checks)
			continue
		}
		z := (c.R - s.Gauge.R) / math.Sqrt(c.Cov[2][2])
		square += z * z / float64(trials)
		far = max(far, math.Abs(z))
		if math.Abs(c.R-s.Gauge.R) > 0.05 {
			t.Errorf("%d: radius off by %.4f px, u %.4f", i, c.R-s.Gauge.R, math.Sqrt(c.Cov[2][2]))
		}
	}
	t.Logf("%d gauges: rms of error over u %.2f, largest %.1f", trials, math.Sqrt(square), far)
	if rms := math.Sqrt(square); rms > 1.3 {
		t.Errorf("errors are %.2f times what is claimed", rms)
	}
}

// A gauge beside a joint is found, and never the joint's own rims.
func TestGaugeBesideJoint(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for i := range 12 {
		s, at, r := jointAndGauge(rng)
		g := photoOf(t, s)
		found, checks, err := FindGauge(g, raster.SRGB)
		c := found.Circle
		if err != nil {
			t.Errorf("%d: %v (%v)", i, err, checks)
			continue
		}
		if math.Abs(c.R-r) > 0.05 || r2.Norm(r2.Sub(c.Center, at)) > 0.05 {
			t.Errorf("%d: found R %.3f at %v, want %.3f at %v", i, c.R, c.Center, r, at)
		}
		e, _, err := FindJoint(g, raster.SRGB)
		if err != nil {
			t.Errorf("%d: joint: %v", i, err)
			continue
		}
		if math.Abs(e.PinFit.R-s.Joint.PinR) > 0.3 {
			t.Errorf("%d: pin of R %.2f, want %.2f", i, e.PinFit.R, s.Joint.PinR)
		}
		s.Gauge.R = 0
		_, _, err = FindGauge(photoOf(t, s), raster.SRGB)
		refusedAs(t, err, check.NoScale)
	}
}

// jointAndGauge draws a bush of its own, with a worn pin in it, beside a gauge.
func jointAndGauge(rng *rand.Rand) (s synth.Scene, at r2.Vec, r float64) {
	s = gaugeScene(1280, 800, r2.Vec{X: 1000 + 20*rng.Float64(), Y: 300 + 200*rng.Float64()}, 90+60*rng.Float64(), false)
	s.Seed = rng.Uint64()
	j := &s.Joint
	j.BoreCenter = r2.Vec{X: 420, Y: 400}
	j.BoreR = 160 + 60*rng.Float64()
	j.PinR = j.BoreR - 3 - 10*rng.Float64()
	j.BushR = j.BoreR * (1.25 + 0.3*rng.Float64())
	j.Pin, j.Bush = synth.Face{Level: 0.45}, synth.Face{Level: 0.35}
	j.Dark = 0.01
	j.PullRad = 2 * math.Pi * rng.Float64()
	if rng.IntN(2) == 0 {
		j.BoreWear = synth.Wear{Depth: 4 * rng.Float64(), DirectionRad: j.PullRad}
	}
	j.Pull(0.5)
	return s, s.Gauge.Center, s.Gauge.R
}

func TestGaugeRefused(t *testing.T) {
	mid := r2.Vec{X: 500, Y: 400}
	for _, tt := range []struct {
		name  string
		spoil func(*synth.Scene)
		want  check.Code
	}{
		{"nothing there", func(s *synth.Scene) { s.Gauge.R = 0 }, check.NoScale},
		{"half out of the photo", func(s *synth.Scene) { s.Gauge.Center.X = 60 }, check.NoScale},
		{"a chamfered end", func(s *synth.Scene) { s.Gauge.Chamfer = synth.Chamfer{Width: 15, Level: 0.12} }, check.NoScale},
		{"a narrow chamfer", func(s *synth.Scene) { s.Gauge.Chamfer = synth.Chamfer{Width: 5, Level: 0.1} }, check.ScaleUnclear},
		{"a dark chamfer", func(s *synth.Scene) { s.Gauge.Chamfer = synth.Chamfer{Width: 10, Level: 0.05} }, check.ScaleUnclear},
		{"out of focus", func(s *synth.Scene) { s.Camera.Blur = 8 }, check.Blurred},
		{"faint", func(s *synth.Scene) { s.Gauge.Face.Level = 0.024 }, check.NoScale},
		{"burnt out", func(s *synth.Scene) { s.Gauge.Face.Level = 3 }, check.Overexposed},
		{"two of them", func(s *synth.Scene) {
			// A bore without a pin has one round edge, too.
			s.Joint = synth.Joint{BoreCenter: r2.Vec{X: 780, Y: 400}, BoreR: 90, PinCenter: r2.Vec{X: 780, Y: 400}, PinR: 20, BushR: 91, Pin: s.Gauge.Face, Bush: s.Gauge.Face, Dark: 0.5}
		}, check.ScaleUnclear},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := gaugeScene(1000, 800, mid, 150, false)
			s.Seed = 5
			tt.spoil(&s)
			g := photoOf(t, s)
			found, checks, err := FindGauge(g, raster.SRGB)
			c := found.Circle
			err = OrBlurred(g, err)
			t.Log(err)
			if err == nil {
				t.Errorf("R %.2f at %v taken, %v", c.R, c.Center, checks)
			}
			refusedAs(t, err, tt.want)
		})
	}
}

// Rings of all clearances, with gaps down to a thin line, and photos of joints,
// rules and chains have no gauge in them.
func TestNoGaugeThere(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for i := range 24 {
		s := synth.Draw(rng, "clearance")
		g := photoOf(t, s)
		c, checks, err := FindGauge(g, s.Camera.Curve)
		if err == nil {
			t.Errorf("ring %d, pin %.1f in bore %.1f: R %.1f taken, %v", i, s.Joint.PinR, s.Joint.BoreR, c.Circle.R, checks)
		}
	}
	var paths []string
	for _, pattern := range []string{"../testdata/photos/*.jpg", "../testdata/rendered/*.jpg", "../samples/filler*.jpg", "../cmd/pinlash/internal/cli/testdata/span/*.jpg"} {
		some, err := filepath.Glob(pattern)
		if err != nil || len(some) == 0 {
			t.Fatalf("%s: %d photos, %v", pattern, len(some), err)
		}
		paths = append(paths, some...)
	}
	for i, path := range paths {
		if testing.Short() && i%4 != 0 {
			continue
		}
		photo, err := Open(t.Context(), path, Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if c, checks, err := FindGauge(photo.Light, photo.Curve); err == nil {
			t.Errorf("%s: R %.1f at %.0f taken, %v", path, c.Circle.R, c.Circle.Center, checks)
		}
	}
}

// Glare, oil and a straight thing across the rim do not move it.
func TestGaugeUnderGlare(t *testing.T) {
	mid := r2.Vec{X: 500, Y: 400}
	for name, spoil := range map[string]func(*synth.Scene){
		"glare": func(s *synth.Scene) {
			s.Camera.Glare = []synth.Glare{{At: r2.Vec{X: 640, Y: 400}, Radius: 12, Level: 0.6}, {At: r2.Vec{X: 430, Y: 270}, Radius: 8, Level: 0.8}}
		},
		"oil": func(s *synth.Scene) {
			s.Camera.Oil = []synth.Oil{{At: r2.Vec{X: 500, Y: 550}, Radius: 40, Shift: r2.Vec{X: 3, Y: 4}, Transmission: 0.8, Haze: 0.02}}
		},
		"rule": func(s *synth.Scene) {
			s.Rule = synth.Rule{Origin: r2.Vec{X: 60, Y: 544}, Period: 20, Marks: 45, LineWidth: 4, Short: 40, Mid: 50, Long: 60, MidEvery: 5, LongEvery: 10, Edge: 4, Width: 150, End: 20, Body: synth.Face{Level: 0.4}, Ink: 0.03}
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := gaugeScene(1000, 800, mid, 150, false)
			s.Seed = 6
			spoil(&s)
			g := photoOf(t, s)
			found, checks, err := FindGauge(g, raster.SRGB)
			c := found.Circle
			if err != nil {
				t.Fatal(err, checks)
			}
			t.Logf("R off by %+.4f px, u %.4f, %d sectors", c.R-150, math.Sqrt(c.Cov[2][2]), c.Inliers)
			if off := math.Abs(c.R - 150); off > 4*math.Sqrt(c.Cov[2][2]) {
				t.Errorf("radius off by %.4f px, u %.4f", off, math.Sqrt(c.Cov[2][2]))
			}
		})
	}
}

// photoOf returns the scene as its camera's file holds it.
func photoOf(t *testing.T, s synth.Scene) raster.Gray {
	t.Helper()
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func refusedAs(t *testing.T, err error, want check.Code) {
	t.Helper()
	var r *check.Refusal
	if !errors.As(err, &r) || r.Code != want {
		t.Errorf("error %v, want a refusal %s", err, want)
	}
}

func BenchmarkGauge(b *testing.B) {
	s := gaugeScene(1600, 1200, r2.Vec{X: 800, Y: 600}, 400, false)
	g := s.Sensor()
	b.SetBytes(int64(len(g.Pix)))
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := FindGauge(g, raster.SRGB); err != nil {
			b.Fatal(err)
		}
	}
}
