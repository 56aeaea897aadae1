package vision_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/synth"
)

// opened draws a chain of n pitches whose joints from one on are open bushes,
// in inner plates or in rollers by turns.
func opened(seed uint64, n, from int) synth.Scene {
	r := rand.New(rand.NewPCG(seed, 61))
	s := synth.Pulled(r, n, min(1380/float64(n), 220), 0.1*r.NormFloat64(), 0.03*r.Float64(), 0.08*r.Float64(), false)
	return synth.Opened(r, s, from, seed%2 == 0)
}

// findHeads finds the heads of a scene that is to be measured.
func findHeads(t *testing.T, s synth.Scene) geom.Heads {
	t.Helper()
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	h, checks, err := vision.FindHeads(g, s.Camera.Curve)
	if err != nil {
		t.Fatalf("%v, checks %v", err, checks)
	}
	return h
}

// Chains that show open bushes only: the spans must be as good as those of
// pins, and the links are not told, since hollow pins look the same.
func TestBushEnds(t *testing.T) {
	var most float64
	for seed := range uint64(24) {
		n := 3 + int(seed*5%14)
		s := opened(seed, n, 0)
		t.Run(fmt.Sprintf("%d pitches, rollers %v", n, s.Chain.Bush.RollerR > 0), func(t *testing.T) {
			h := findHeads(t, s)
			if h.Kind != geom.BushEnd || h.Unclear || h.LeftOff != 0 {
				t.Errorf("kind %q, unclear %v, left off %d; want clear bushes", h.Kind, h.Unclear, h.LeftOff)
			}
			span, worst := comparePins(t, h, s.Chain.Pins)
			most = max(most, math.Abs(span)/spanLimit(n))
			if math.Abs(span) > spanLimit(n) || worst > 0.25 {
				t.Errorf("span is off by %+.3f px, want within %.3f; worst bush by %.3f px", span, spanLimit(n), worst)
			}
			for i, k := range h.Links {
				if k != geom.UnknownLink {
					t.Errorf("link %d is %q, want unknown", i, k)
				}
			}
		})
	}
	t.Logf("largest span error is %.2f of its limit", most)
}

// A row of pins that goes over into open bushes: one kind alone is measured,
// the one of which there is more, and the other is known to be there.
func TestPinsAndBushesAreNotMixed(t *testing.T) {
	for seed := range uint64(18) {
		n := 9 + int(seed*5%8)
		from := []int{n, n - 1, 3}[seed%3]
		s := opened(seed, n, from)
		kind, want := geom.PinHead, s.Chain.Pins[:from]
		if 2*from < n+1 {
			kind, want = geom.BushEnd, s.Chain.Pins[from:]
		}
		t.Run(fmt.Sprintf("%d pins of %d, rollers %v", from, n+1, s.Chain.Bush.RollerR > 0), func(t *testing.T) {
			h := findHeads(t, s)
			if h.Kind != kind {
				t.Fatalf("%d ends of kind %q, want %d of %q", len(h.Heads), h.Kind, len(want), kind)
			}
			span, _ := comparePins(t, h, want)
			if limit := spanLimit(len(want) - 1); math.Abs(span) > limit {
				t.Errorf("span is off by %+.3f px, want within %.3f", span, limit)
			}
			t.Logf("left off %d, hole %.1f px, head %.1f px", h.LeftOff, s.Chain.Bush.HoleR, s.Chain.HeadR)
			// Ends of another size are not seen as joints at all.
			if alike := math.Abs(s.Chain.Bush.HoleR-s.Chain.HeadR) < 0.1*s.Chain.HeadR; alike && h.LeftOff != 1 {
				t.Errorf("%d ends left off, want 1", h.LeftOff)
			}
		})
	}
}

// An open bush between pins is no pin that could not be seen.
func TestBushBetweenPins(t *testing.T) {
	s := opened(2, 9, 10)
	s.Chain.Bush.HoleR = s.Chain.HeadR - s.Chain.LineWidth
	s.Chain.Bush.RollerR = 0
	s.Chain.Bush.RingR = 1.4 * s.Chain.Bush.HoleR
	s.Chain.Open = []int{4}
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	h, _, err := vision.FindHeads(g, s.Camera.Curve)
	var refusal *check.Refusal
	if !errors.As(err, &refusal) {
		t.Fatalf("%d heads of kind %q, want a refusal", len(h.Heads), h.Kind)
	}
	t.Log(refusal.Message)
}

// Blackened heads are no holes, and where they nearly are, the kinds of the
// links are not told: the reference might be the other one.
func TestBlackHeads(t *testing.T) {
	for seed := range uint64(12) {
		s := hanging(200+seed, 5+int(seed), min(1380/(5+float64(seed)), 220), 0.05, 0.01, 0, false)
		s.Chain.Dome.Level *= 0.35
		s.Chain.Dome.Highlight *= 0.2
		h := findHeads(t, s)
		if h.Kind != geom.PinHead {
			t.Errorf("seed %d: kind %q, want pin", seed, h.Kind)
		}
		if h.Unclear && h.Links[0] != geom.UnknownLink {
			t.Errorf("seed %d: unclear ends with links %q", seed, h.Links[0])
		}
	}
	// Black and hardly lit: near the middle between heads and holes.
	s := hanging(220, 8, 170, 0.05, 0.01, 0, false)
	s.Chain.Dome.Level, s.Chain.Dome.Highlight = 0.25*s.Chain.Outer.Level, 0
	h := findHeads(t, s)
	if !h.Unclear || h.Links[0] != geom.UnknownLink {
		t.Errorf("kind %q, unclear %v, links %q; want it unclear and unknown", h.Kind, h.Unclear, h.Links[0])
	}
}
