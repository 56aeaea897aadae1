package calib

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// corner2 is the square of the distance of the photo's corner from its middle.
var corner2 = square(photo.diagonal() / 2)

// bentBench is a bench whose lens moves the photo's corner by up to 3 %, with a
// rule of drawn length that passes the middle of the photo at 200 to 500 px.
func bentBench(random *rand.Rand, share float64) (camera, ruleInPlane) {
	c, l := bench, tenths
	x, y := rad(0.5)*random.NormFloat64(), rad(0.5)*random.NormFloat64()
	c.tilt, c.azimuth = math.Hypot(x, y), math.Atan2(y, x)
	c.bend = share / corner2
	turn := 2 * math.Pi * random.Float64()
	away := 200 + 300*random.Float64()
	l.middle = r2.Add(c.centre(), r2.Scale(away, direction(turn+math.Pi/2)))
	l.middle = r2.Add(l.middle, r2.Scale(100*(2*random.Float64()-1), direction(turn)))
	l.angle = turn
	l.marks = goodMarks + random.IntN(60-goodMarks)
	l.division = 0.1 * (1 + relativeTolerance*random.NormFloat64())
	return c, l
}

// The bend that a long rule shows is the lens's within what it claims: over 300
// draws the root mean square of errors over uncertainties is one within 0.12
// (three times one over the root of twice as many).
func TestLensOfRule(t *testing.T) {
	const draws = 300
	random := newRand(21)
	sum := 0.0
	for i := range draws {
		share := []float64{-0.03, -0.015, -0.005, 0.005, 0.015, 0.03}[i%6]
		c, l := bentBench(random, share)
		l.marks, l.division = 61, 0.1
		got, err := FromRule(c.marksOf(l, random), 0.1, photo)
		if err != nil {
			t.Fatal(err)
		}
		s := got.Scale
		if !s.Bends() {
			t.Fatalf("a lens of %g in the corner was not seen", share)
		}
		sum += square((s.Lens.K1 - c.bend) / s.DistortionU)
	}
	rms := math.Sqrt(sum / draws)
	t.Logf("root mean square error %.2f standard uncertainties", rms)
	if math.Abs(rms-1) > 3/math.Sqrt(2*draws) {
		t.Errorf("the bend errs by %.2f of its uncertainty", rms)
	}
}

// Whatever the lens and the rule, the truth lies in the 95 % interval: at least
// 93 times of a hundred at each lens (500 draws have a standard deviation of one
// point about 95; the intervals allow for more than is drawn here, such as a lens
// off the middle, so there is no upper bound). With fewer marks than make no note
// a distance over the whole photo is held less often where the lens is bad.
func TestCoverageThroughLens(t *testing.T) {
	const draws = 500
	for _, share := range []float64{-0.03, -0.015, -0.005, 0, 0.005, 0.015, 0.03} {
		random := newRand(uint64(1000*share + 100))
		measured, inside := 0, map[string]int{}
		count := func(what string, q uncert.Quantity, truth float64) {
			if q.Lower <= truth && truth <= q.Upper {
				inside[what]++
			}
		}
		for range draws {
			c, l := bentBench(random, share)
			got, err := FromRule(c.marksOf(l, random), 0.1, photo)
			if err != nil {
				refusedAs(t, err, check.ScaleUnclear, "lens") // a short rule may read 5 % for 3 %
				continue
			}
			measured++
			s := got.Scale
			joint := r2.Add(c.centre(), r2.Vec{X: 100 * random.NormFloat64(), Y: 60 * random.NormFloat64()})
			a, b := r2.Vec{X: 100, Y: 500}, r2.Vec{X: 1500, Y: 700}
			count("a diameter at the joint", s.At(joint), c.pixel(joint))
			count("a distance over the photo", s.Distance(a, b, 0), c.distanceOf(a, b))
			flat := s.Flattened()
			count("the same flattened", flat.Distance(s.Flat(a), s.Flat(b), 0), c.distanceOf(a, b))
		}
		for what, n := range inside {
			t.Logf("lens of %+.1f %%, %s: %.1f %% of the 95 %% intervals hold the truth", 100*share, what, 100*float64(n)/float64(measured))
			if float64(n) < 0.93*float64(measured) {
				t.Errorf("lens of %+.1f %%, %s: coverage %.3f, want at least 0.93", 100*share, what, float64(n)/float64(measured))
			}
		}
		if measured < 0.95*draws {
			t.Errorf("lens of %+.1f %%: only %d of %d measured", 100*share, measured, draws)
		}
	}
}

// Where a long rule shows that there is no lens, the lens takes no part in the
// interval.
func TestNoLensCostsNothing(t *testing.T) {
	got, err := FromRule(bench.marksOf(tenths, newRand(4)), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	if got.Scale.Bends() {
		t.Errorf("a lens of k1 %g where there is none", got.Scale.Lens.K1)
	}
	q := got.Scale.At(r2.Vec{X: 800, Y: 600})
	for _, p := range q.Budget {
		if p.Name == "lens distortion" && p.U > 0.2*q.U {
			t.Errorf("the lens has %g of %g", p.U, q.U)
		}
	}
}

// A scale with a rule's lens is the same in the photo and in the flat picture,
// and when it was saved.
func TestRuleLensFlattenedAndSaved(t *testing.T) {
	random := newRand(9)
	for range 20 {
		c, l := bentBench(random, 0.02)
		got, err := FromRule(c.marksOf(l, random), 0.1, photo)
		if err != nil {
			t.Fatal(err)
		}
		s := got.Scale
		if !s.Bends() {
			continue // too short a rule
		}
		var file bytes.Buffer
		if err := Encode(&file, s); err != nil {
			t.Fatal(err)
		}
		saved, err := Decode(&file)
		if err != nil {
			t.Fatal(err)
		}
		a, b := r2.Vec{X: 300, Y: 200}, r2.Vec{X: 1300, Y: 900}
		want := s.Distance(a, b, 0)
		// The gradient's axes turn by some arc minutes between the two.
		flat := s.Flattened().Distance(s.Flat(a), s.Flat(b), 0)
		if !near(flat.Value, want.Value, 1e-6*want.Value) || !near(flat.U, want.U, 0.02*want.U) {
			t.Errorf("%v in the photo, %v in the flat picture", want, flat)
		}
		if again := saved.Distance(a, b, 0); again.Value != want.Value || again.U != want.U {
			t.Errorf("%v, saved %v", want, again)
		}
	}
}

// One coefficient does not tell of a lens that bends more.
func TestTooBentForARule(t *testing.T) {
	c := bench
	c.bend = 0.08 / corner2
	got, err := FromRule(c.marksOf(tenths, newRand(1)), 0.1, photo)
	refusedAs(t, err, check.ScaleUnclear, "lens", "0.05")
	if got.Scale.MMPerPx.Value != 0 {
		t.Errorf("refused, yet a scale %+v", got.Scale)
	}
}
