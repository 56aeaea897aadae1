package vision

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Heads of a photo of 12 million pixels are measured at half its size, and come
// out where they are.
func TestHeadsOfLargePhoto(t *testing.T) {
	s := spanScene(2.9)
	g, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	h, _, err := FindHeads(g, raster.SRGB)
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Heads) != len(s.Chain.Pins) {
		t.Fatalf("%d heads, want %d", len(h.Heads), len(s.Chain.Pins))
	}
	if r := h.Heads[0].R; math.Abs(r-s.Chain.HeadR) > 0.05*s.Chain.HeadR {
		t.Errorf("radius %.1f px, want %.1f", r, s.Chain.HeadR)
	}
	if r2.Norm(r2.Sub(h.Heads[0].Center, s.Chain.Pins[0])) > s.Chain.HeadR {
		slices.Reverse(h.Heads)
	}
	for i, q := range h.Heads {
		// 0.15 px of a photo of 1.4 million pixels.
		if off := r2.Norm(r2.Sub(q.Center, s.Chain.Pins[i])); off > 3*math.Sqrt(q.Cov[0][0]+q.Cov[1][1]) || off > 2.9*0.15 {
			t.Errorf("head %d is %.2f px off, claimed %.2f", i, off, math.Sqrt(q.Cov[0][0]))
		}
	}
}
