package vision_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// What a span must reach in pixels, of n pitches.
func spanLimit(n int) float64 { return min(0.06*math.Sqrt(float64(n)), 0.25) }

// comparePins holds heads against pins and reports span and largest error.
func comparePins(t *testing.T, h geom.Heads, pins []r2.Vec) (spanError, worst float64) {
	t.Helper()
	if len(h.Heads) != len(pins) {
		t.Fatalf("%d heads, want %d", len(h.Heads), len(pins))
	}
	for i, p := range pins {
		worst = max(worst, r2.Norm(r2.Sub(h.Heads[i].Center, p)))
		if i > 0 {
			spanError += r2.Norm(r2.Sub(h.Heads[i].Center, h.Heads[i-1].Center)) - r2.Norm(r2.Sub(p, pins[i-1]))
		}
	}
	return spanError, worst
}

// Rendered photos (testdata/photos/README.md) with their truth.
func TestHeadsOfRenderedChains(t *testing.T) {
	dir := filepath.Join("..", "testdata", "photos")
	raw, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Images []struct {
			ID, Kind string
			Files    []string
			PinPx    [][2]float64 `json:"pin_px"`
			Links    []string     `json:"pitch_link_type"`
		}
	}
	if err := json.Unmarshal(raw, &truth); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, im := range truth.Images {
		if im.Kind != "span" {
			continue
		}
		n++
		t.Run(im.ID, func(t *testing.T) {
			p, err := vision.Open(t.Context(), filepath.Join(dir, im.Files[0]), vision.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			h, checks, err := vision.FindHeads(p.Light, p.Curve)
			if err != nil {
				t.Fatalf("%v, checks %v", err, checks)
			}
			var pins []r2.Vec
			for _, c := range im.PinPx {
				pins = append(pins, r2.Vec{X: c[0], Y: c[1]})
			}
			span, worst := comparePins(t, h, pins)
			t.Logf("span error %+.3f px, worst head %.2f px, order of the links %.1f", span, worst, h.LinkScore)
			if limit := spanLimit(len(pins) - 1); math.Abs(span) > limit {
				t.Errorf("span is off by %+.3f px, want within %.3f", span, limit)
			}
			for i, want := range im.Links {
				if got := h.Links[i]; string(got) != want {
					t.Errorf("link %d is %q, want %q", i, got, want)
				}
			}
			if h.Kind != geom.PinHead {
				t.Errorf("kind %q, want pin", h.Kind)
			}
		})
	}
	if n < 2 {
		t.Fatalf("%d rendered chains", n)
	}
}

// hanging draws a chain and keeps it inside the picture.
func hanging(seed uint64, pitches int, pitch, angle, growth, sag float64, firstInner bool) synth.Scene {
	return synth.Pulled(rand.New(rand.NewPCG(seed, 31)), pitches, pitch, angle, growth, sag, firstInner)
}

func TestHeadsOfGeneratedChains(t *testing.T) {
	const deg = math.Pi / 180
	worn := func(s synth.Scene) synth.Scene { // wear differs from joint to joint
		r := rand.New(rand.NewPCG(77, 1))
		for i := 2; i < len(s.Chain.Pins); i += 2 {
			s.Chain.Pins[i] = r2.Add(s.Chain.Pins[i], r2.Vec{X: 0.01 * r.Float64() * 110})
		}
		return s
	}
	wide := func(s synth.Scene) synth.Scene { // twice as wide, not as high
		s.W, s.H = 2*s.W, 640
		for i, p := range s.Chain.Pins {
			s.Chain.Pins[i] = r2.Add(p, r2.Vec{X: 800, Y: -128})
		}
		s.Chain.Dome.Towards = r2.Vec{X: 1600, Y: 320}
		return s
	}
	tails := func(s synth.Scene, share float64) synth.Scene {
		s.Chain.Tails, s.Chain.BushHoleR = true, share*s.Chain.HeadR
		return s
	}
	for name, s := range map[string]synth.Scene{
		"straight":           hanging(1, 9, 150, 0, 0.01, 0, false),
		"first inner":        hanging(2, 9, 150, 0, 0.01, 0, true),
		"turned":             hanging(3, 7, 180, 33*deg, 0.01, 0, false),
		"turned the other":   hanging(4, 7, 150, -28*deg, 0.01, 0, false),
		"upright":            hanging(5, 5, 150, 90*deg, 0.01, 0, false),
		"sagging":            hanging(6, 10, 140, 0, 0.01, 5*deg, false),
		"worn 2 %":           hanging(7, 9, 160, 4*deg, 0.04, 0, false),
		"uneven":             worn(hanging(8, 13, 110, 0, 0.01, 0, false)),
		"three pitches":      hanging(9, 3, 250, 10*deg, 0.01, 0, false),
		"forty pitches":      wide(hanging(10, 40, 77, 0, 0.01, 0, false)),
		"twenty pitches":     hanging(13, 20, 74, 1*deg, 0.01, 2*deg, true),
		"open bushes":        tails(hanging(11, 7, 165, 0, 0.01, 0, false), 0.7),
		"open bushes, large": tails(hanging(12, 7, 165, 3*deg, 0.01, 2*deg, false), 0.97),
	} {
		t.Run(name, func(t *testing.T) {
			g, err := s.Photo()
			if err != nil {
				t.Fatal(err)
			}
			h, checks, err := vision.FindHeads(g, s.Camera.Curve)
			if err != nil {
				t.Fatalf("%v, checks %v", err, checks)
			}
			span, worst := comparePins(t, h, s.Chain.Pins)
			n := len(s.Chain.Pins) - 1
			t.Logf("span error %+.3f px of %.3f, worst head %.3f px, order %.1f, %v", span, spanLimit(n), worst, h.LinkScore, h.Links[0])
			if math.Abs(span) > spanLimit(n) {
				t.Errorf("span is off by %+.3f px, want within %.3f", span, spanLimit(n))
			}
			for i, k := range h.Links {
				want := geom.OuterLink
				if (i%2 == 0) == s.Chain.FirstInner {
					want = geom.InnerLink
				}
				if k != want && k != geom.UnknownLink {
					t.Fatalf("link %d is %q, want %q", i, k, want)
				}
			}
		})
	}
}

// The kinds of links must be unknown where nothing shows them: plates of one
// brightness without an edge between them.
func TestLinksUnknown(t *testing.T) {
	for seed := range uint64(12) {
		s := hanging(100+seed, 3+int(seed), min(1400/(3+float64(seed)), 220), 0, 0.01, 0, seed%2 == 0)
		s.Chain.ShadowWidth, s.Chain.Inner = 0, s.Chain.Outer
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		h, _, err := vision.FindHeads(g, s.Camera.Curve)
		if err != nil {
			t.Fatal(err)
		}
		for i, k := range h.Links {
			if k != geom.UnknownLink {
				t.Errorf("seed %d: link %d is %q with score %.1f, want unknown", seed, i, k, h.LinkScore)
				break
			}
		}
	}
}

func TestHeadsRefused(t *testing.T) {
	chain := hanging(20, 8, 160, 0, 0.01, 0, false)
	hidden := chain
	hidden.Chain.Hidden = []int{4}
	blurred := chain
	blurred.Camera.Blur = 12
	for name, c := range map[string]struct {
		scene synth.Scene
		codes []check.Code
	}{
		"hidden head":   {hidden, []check.Code{check.TooFewEdges}},
		"blurred":       {blurred, []check.Code{check.Blurred, check.NotFound, check.TooFewEdges}},
		"joint end-on":  {synth.Ring(250, 16, 1, 0.5), []check.Code{check.NotFound}},
		"joint and all": {synth.Draw(rand.New(rand.NewPCG(3, 3)), "photo"), []check.Code{check.NotFound, check.TooFewEdges}},
		"rule alone":    {ruleAlone(), []check.Code{check.NotFound, check.TooFewEdges}},
	} {
		t.Run(name, func(t *testing.T) {
			g, err := c.scene.Photo()
			if err != nil {
				t.Fatal(err)
			}
			h, checks, err := vision.FindHeads(g, c.scene.Camera.Curve)
			var refusal *check.Refusal
			if !errors.As(err, &refusal) {
				t.Fatalf("found %d heads, want a refusal; %v", len(h.Heads), err)
			}
			t.Logf("%s: %s", refusal.Code, refusal.Message)
			for _, code := range c.codes {
				if refusal.Code == code {
					if last := checks[len(checks)-1]; last.OK {
						t.Errorf("refused after %v, which holds", last)
					}
					return
				}
			}
			t.Errorf("refused with %q, want one of %v", refusal.Code, c.codes)
		})
	}
}

func ruleAlone() synth.Scene {
	return synth.Scene{
		W: 1600, H: 896, Background: synth.Face{Level: 0.02},
		Rule: synth.Rule{
			Origin: r2.Vec{X: 40, Y: 300}, Period: 15, Marks: 100, LineWidth: 3, Short: 40, Mid: 55, Long: 75,
			MidEvery: 5, LongEvery: 10, DigitHeight: 40, Width: 250, End: 30, Body: synth.Face{Level: 0.6}, Ink: 0.03,
		},
		Camera: synth.Camera{Blur: 0.8, Curve: raster.SRGB, Noise: synth.Noise{Read: 0.001, FullWell: 4000}}, Seed: 5,
	}
}

// A head half under dirt is found where its neighbours say it must be.
func TestHeadHalfHidden(t *testing.T) {
	s := hanging(30, 8, 160, 0, 0.01, 0, false)
	at := s.Chain.Pins[3]
	s.Camera.Oil = []synth.Oil{{At: r2.Add(at, r2.Vec{Y: -1.1 * s.Chain.HeadR}), Radius: 0.8 * s.Chain.HeadR, Transmission: 0.25, Haze: 0.02, Glints: 3}}
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	h, checks, err := vision.FindHeads(g, s.Camera.Curve)
	if err != nil {
		t.Fatalf("%v, checks %v", err, checks)
	}
	span, worst := comparePins(t, h, s.Chain.Pins)
	t.Logf("span error %+.3f, worst %.3f, arc %.0f", span, worst, h.Heads[3].Arc)
	if math.Abs(span) > spanLimit(8) || worst > 0.3 {
		t.Errorf("span off by %+.3f px, worst head by %.2f px", span, worst)
	}
}

// Spans and pitches in millimetres, with an exact scale: the true values must
// lie in the 95 % intervals in 90 % of the photos at least, and the intervals
// must not be wider than ten times the typical error.
func TestSpanIntervals(t *testing.T) {
	if testing.Short() {
		t.Skip("generates 24 photos")
	}
	const photos, mmPerPx = 24, 0.05
	var spans, pitches, spansIn, pitchesIn, width, square float64
	for seed := range uint64(photos) {
		r := rand.New(rand.NewPCG(seed, 41))
		n := 3 + r.IntN(10)
		s := synth.Pulled(r, n, min(1380/float64(n), 220), 0.1*r.NormFloat64(), 0.03*r.Float64(), 0.08*r.Float64(), false)
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		h, checks, err := vision.FindHeads(g, s.Camera.Curve)
		if err != nil {
			t.Errorf("seed %d: %v, checks %v", seed, err, checks)
			continue
		}
		if len(h.Heads) != n+1 {
			t.Errorf("seed %d: %d heads, want %d", seed, len(h.Heads), n+1)
			continue
		}
		res, err := measure.Span(h, exactScale(s, mmPerPx), measure.SpanOptions{HeightKnown: true, HeadMM: 1e-6})
		if err != nil {
			t.Fatal(err)
		}
		total := 0.0
		for i, p := range s.Chain.Pitches() {
			p *= mmPerPx
			total += p
			q := res.Pitches[i].Length
			pitches++
			if q.Lower <= p && p <= q.Upper {
				pitchesIn++
			}
		}
		spans++
		if res.Span.Lower <= total && total <= res.Span.Upper {
			spansIn++
		}
		width += (res.Span.Upper - res.Span.Lower) / photos
		square += math.Pow(res.Span.Value-total, 2) / photos
	}
	typical := math.Sqrt(square)
	t.Logf("spans %.0f of %.0f inside, pitches %.0f of %.0f; mean width %.4f mm, typical error %.4f mm", spansIn, spans, pitchesIn, pitches, width, typical)
	if spansIn < 0.9*spans || pitchesIn < 0.9*pitches {
		t.Errorf("truth inside %.0f of %.0f spans and %.0f of %.0f pitches, want 9 of 10", spansIn, spans, pitchesIn, pitches)
	}
}

// exactScale is a scale without uncertainty for the scene.
func exactScale(s synth.Scene, mmPerPx float64) calib.Scale {
	return calib.Scale{
		MMPerPx: uncert.Combine(mmPerPx, "mm/px", nil),
		Origin:  r2.Vec{X: float64(s.W-1) / 2, Y: float64(s.H-1) / 2}, W: s.W, H: s.H, Source: "points",
	}
}

func BenchmarkHeads(b *testing.B) {
	g, err := hanging(1, 9, 150, 0, 0.01, 0, false).Photo()
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(g.W * g.H))
	for b.Loop() {
		if _, _, err := vision.FindHeads(g, raster.SRGB); err != nil {
			b.Fatal(err)
		}
	}
}
