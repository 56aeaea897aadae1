package vision_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/synth"
)

// overRule draws a tight chain above a rule.
func overRule(r *rand.Rand, pitches int, firstInner bool) synth.Scene {
	s := synth.Pulled(r, pitches, between(r, 1250, 1400)/float64(pitches), between(r, -0.03, 0.03), between(r, 0, 0.03), between(r, 0, 0.01), firstInner)
	return synth.OverRule(r, s)
}

// taken returns the photo of a scene, the camera moved by so many pixels.
func taken(t *testing.T, s synth.Scene, moved, angleRad float64) vision.Photo {
	t.Helper()
	var shot synth.Snapshot
	if moved > 0 {
		shot.Path = synth.Stroke(moved, angleRad)
	}
	path := filepath.Join(t.TempDir(), "chain.jpg")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := synth.Store(f, shot.Take(s.Light(), s.Camera, s.Seed), s.Camera.JPEGQuality); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	p, err := vision.Open(t.Context(), path, vision.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Inner and outer links must never be told the wrong way round. What makes it
// hard: few heads, a chain that ends with its inner plates, so that an end head
// has no outer plate about it, blur, noise and grain.
func TestLinksAreNotSwapped(t *testing.T) {
	told, all := 0, 0
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 91))
		pitches := 3 + r.IntN(10)
		if seed%2 == 0 {
			pitches = 3 + r.IntN(3)
		}
		s := overRule(r, pitches, seed%3 != 0)
		moved := 0.0
		kind := []string{"plain", "moved", "out of focus", "noisy", "grained"}[seed%5]
		switch kind {
		case "moved":
			moved = between(r, 0.5, 2)
		case "out of focus":
			s.Camera.Blur = between(r, 1, 2.5)
		case "noisy":
			s.Camera.Noise = synth.Noise{Read: between(r, 0.003, 0.01), FullWell: between(r, 500, 1500)}
		case "grained":
			s.Chain.Outer.Finish.Amplitude, s.Chain.Inner.Finish.Amplitude = between(r, 0.05, 0.1), between(r, 0.05, 0.1)
		}
		if seed%4 == 0 {
			s.Chain.Tails, s.Chain.BushHoleR = true, 0.8*s.Chain.HeadR
		}
		t.Run(fmt.Sprintf("%s, %d pitches, %d", kind, pitches, seed), func(t *testing.T) {
			p := taken(t, s, moved, math.Pi*r.Float64())
			h, checks, err := vision.FindHeads(p.Light, p.Curve)
			if err != nil {
				t.Skipf("refused: %v, checks %v", err, checks)
			}
			// The heads at the ends may be left off.
			from := slices.IndexFunc(s.Chain.Pins, func(p r2.Vec) bool { return r2.Norm(r2.Sub(p, h.Heads[0].Center)) < 1 })
			if from < 0 {
				t.Fatalf("the first head, at %.1f, is none", h.Heads[0].Center)
			}
			all++
			t.Logf("score %.1f", h.LinkScore)
			for i, k := range h.Links {
				want := geom.OuterLink
				if ((from+i)%2 == 0) == s.Chain.FirstInner {
					want = geom.InnerLink
				}
				switch k {
				case want, geom.UnknownLink:
				default:
					t.Fatalf("link %d is %q, want %q; score %.1f", i, k, want, h.LinkScore)
				}
			}
			if h.Links[0] != geom.UnknownLink {
				told++
			}
		})
	}
	t.Logf("%d of %d told", told, all)
	if told < all*3/4 || all < 25 {
		t.Errorf("the links of %d of %d chains were told, want three of four, and 25 chains measured", told, all)
	}
}

// The gaps between the marks of a rule look like a row of heads, too, and
// there are more of them than heads.
func TestRuleIsNoChain(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 92))
		s := overRule(r, 8+int(seed%4), seed%2 == 0)
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			p := taken(t, s, 2, math.Pi*r.Float64())
			h, checks, err := vision.FindHeads(p.Light, p.Curve)
			if err != nil {
				t.Fatalf("%v, checks %v", err, checks)
			}
			if _, worst := comparePins(t, h, s.Chain.Pins); worst > 1 {
				t.Errorf("a head is off by %.1f px: it is none", worst)
			}
		})
	}
}
