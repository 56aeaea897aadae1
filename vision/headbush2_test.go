package vision_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/synth"
)

func TestExploreMix(t *testing.T) {
	ref, wrong, bad, kinds := 0, 0, 0, 0
	for seed := range uint64(120) {
		r := rand.New(rand.NewPCG(seed, 62))
		n := 5 + r.IntN(12)
		s := synth.Pulled(r, n, min(1380/float64(n), 220), 0.1*r.NormFloat64(), 0.03*r.Float64(), 0.08*r.Float64(), seed%4 < 2)
		from := n + 1
		want := geom.PinHead
		switch {
		case seed >= 90:
			s.Chain.Dome.Level *= 0.35
			s.Chain.Dome.Highlight *= 0.2
		case seed >= 60:
			from = (n + 1) / 2
		case seed >= 30:
			from = n + 1 - 1 - int(seed%2)
		}
		if from < n+1 {
			s = synth.Opened(r, s, from, seed%3 == 0)
		}
		lo, hi := 0, from
		if n+1-from > from {
			lo, hi, want = from, n+1, geom.BushEnd
		}
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		h, checks, err := vision.FindHeads(g, s.Camera.Curve)
		if err != nil {
			ref++
			t.Logf("%d: n %d from %d: %v %v", seed, n, from, err, checks[len(checks)-1])
			continue
		}
		if h.Kind != want {
			kinds++
			t.Logf("%d: n %d from %d: kind %s heads %d want %s %d", seed, n, from, h.Kind, len(h.Heads), want, hi-lo)
		}
		if len(h.Heads) != hi-lo {
			wrong++
			t.Logf("%d: n %d from %d: %d heads, want %d; R %.1f head %.1f hole %.1f", seed, n, from, len(h.Heads), hi-lo, h.Heads[0].R, s.Chain.HeadR, s.Chain.Bush.HoleR)
			continue
		}
		span, worst := comparePins(t, h, s.Chain.Pins[lo:hi])
		if math.Abs(span) > spanLimit(hi-lo-1) {
			bad++
			t.Logf("%d: n %d kind %s span %+.3f of %.3f worst %.3f R %.1f", seed, n, h.Kind, span, spanLimit(hi-lo-1), worst, h.Heads[1].R)
		}
	}
	t.Logf("refused %d wrong count %d bad %d kinds %d", ref, wrong, bad, kinds)
}
