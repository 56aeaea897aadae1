package synth

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

func TestPulledPitches(t *testing.T) {
	for _, firstInner := range []bool{false, true} {
		s := Pulled(rand.New(rand.NewPCG(1, 2)), 8, 150, 0.3, 0.02, 0.05, firstInner)
		p := s.Chain.Pitches()
		if len(p) != 8 {
			t.Fatalf("%d pitches", len(p))
		}
		for i, v := range p {
			want := 150.0
			if (i%2 == 0) == firstInner {
				want = 153
			}
			// Five standard deviations of the 0.05 % by chance.
			if math.Abs(v-want) > 5*0.0005*want {
				t.Errorf("pitch %d is %.2f, want %.2f", i, v, want)
			}
		}
		mid := r2.Scale(0.5, r2.Add(s.Chain.Pins[0], s.Chain.Pins[8]))
		if d := r2.Sub(mid, s.center()); math.Abs(d.X) > 3 || math.Abs(d.Y) > 3 {
			t.Errorf("middle of the chain is %v off the picture's", d)
		}
	}
}

// The dark foot of a head lies evenly about its pin: the mean place of the
// light that is missing there is the pin's.
func TestHeadAboutItsPin(t *testing.T) {
	at := r2.Vec{X: 120.3, Y: 90.8}
	s := Scene{W: 400, H: 180, Background: Face{Level: 0.01}, Chain: Chain{
		Pins: []r2.Vec{at, {X: 280, Y: 90}}, HeadR: 30, PlateR: 60, Waist: 45,
		Outer: Face{Level: 0.3}, LineWidth: 2, LineLevel: 0.3,
		Dome: Dome{Level: 0.3},
	}, Camera: Camera{Blur: 0.7}}
	g := s.Light()
	var sum float64
	var m r2.Vec
	for y := range g.H {
		for x := range g.W {
			p := r2.Vec{X: float64(x), Y: float64(y)}
			if math.Abs(r2.Norm(r2.Sub(p, at))-29) > 8 {
				continue
			}
			dark := 0.3 - float64(g.At(x, y))
			sum += dark
			m = r2.Add(m, r2.Scale(dark, p))
		}
	}
	if d := r2.Norm(r2.Sub(r2.Scale(1/sum, m), at)); d > 0.01 {
		t.Errorf("the foot's middle is %.4f px off the pin", d)
	}
	// Its area, dark by 0.7 of 0.3: pi (30² - 28²).
	if want := 0.7 * 0.3 * math.Pi * (30*30 - 28*28); math.Abs(sum-want) > 0.01*want {
		t.Errorf("the foot takes %.2f of light, want %.2f", sum, want)
	}
}
