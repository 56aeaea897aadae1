package vision_test

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/synth"
)

func TestExploreBush(t *testing.T) {
	for seed := range uint64(120) {
		r := rand.New(rand.NewPCG(seed, 61))
		n := 3 + r.IntN(14)
		s := synth.Pulled(r, n, min(1380/float64(n), 220), 0.1*r.NormFloat64(), 0.03*r.Float64(), 0.08*r.Float64(), seed%4 < 2)
		from := 0
		s = synth.Opened(r, s, from, seed%2 == 0)
		g, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		if seed == 8 || seed == 3 || seed == 13 {
			im := image.NewGray(image.Rect(0, 0, g.W, g.H))
			for y := range g.H {
				for x := range g.W {
					im.SetGray(x, y, color.Gray{uint8(255 * min(1, s.Camera.Curve.Encode(float64(g.At(x, y)))))})
				}
			}
			f, _ := os.Create(os.Getenv("OUT") + string(rune(0x61+seed)) + ".png")
			png.Encode(f, im)
			f.Close()
		}
		h, checks, err := vision.FindHeads(g, s.Camera.Curve)
		if err != nil {
			t.Logf("%d: n %d hole %.1f ring %.1f: %v %v", seed, n, s.Chain.Bush.HoleR, s.Chain.Bush.RingR, err, checks)
			continue
		}
		if len(h.Heads) != n+1 {
			t.Logf("%d: %d heads, want %d", seed, len(h.Heads), n+1)
			continue
		}
		span, worst := comparePins(t, h, s.Chain.Pins)
		bad := ""
		if math.Abs(span) > spanLimit(n) || h.Kind != geom.BushEnd {
			bad = "BAD"
		}
		t.Logf("%d: n %d kind %s span %+.3f of %.3f worst %.3f R %.1f hole %.1f ring %.1f %v %s", seed, n, h.Kind, span, spanLimit(n), worst, h.Heads[1].R, s.Chain.Bush.HoleR, s.Chain.Bush.RingR, h.Links[0], bad)
	}
}
