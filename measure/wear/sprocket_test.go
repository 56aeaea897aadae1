package wear_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/wear"
)

func TestWheelTable(t *testing.T) {
	for _, r := range wheels {
		near(t, fmt.Sprintf("z %d, 1/sin", r.z), must[float64](t)(wear.PitchDiameter(1, r.z)), r.unit, 0.00005)
		for i, p := range wheelPitches {
			near(t, fmt.Sprintf("z %d, p %g", r.z, p), must[float64](t)(wear.PitchDiameter(p, r.z)), r.d[i], 0.0005)
		}
		c := must[wear.Chordal](t)(wear.ChordalVariation(r.z))
		near(t, fmt.Sprintf("z %d, chordal of largest", r.z), c.OfLargest, r.chordalLargest, 0.0005)
		near(t, fmt.Sprintf("z %d, chordal of mean", r.z), c.OfMean, r.chordalMean, 0.0005)
	}
}

// Published wheel tables, seen and re-computed: pitch diameters for 1 inch and
// for 1/2 inch. The 1/2 inch table is off by 0.01 at 17 and 21 teeth by its own
// rounding.
func TestPitchDiameterPublished(t *testing.T) {
	for z, want := range map[int]float64{17: 138.23, 18: 146.27, 19: 154.32, 20: 162.37, 21: 170.42, 25: 202.66, 36: 291.43, 38: 307.58, 42: 339.89} {
		near(t, fmt.Sprintf("1 in, z %d", z), must[float64](t)(wear.PitchDiameter(25.4, z)), want, 0.005)
	}
	for z, want := range map[int]float64{17: 69.11, 18: 73.14, 21: 85.22, 36: 145.72, 38: 153.80} {
		near(t, fmt.Sprintf("1/2 in, z %d", z), must[float64](t)(wear.PitchDiameter(12.7, z)), want, 0.01)
	}
	// ISO 606 Annex A unit-pitch factors, from memory and re-computed.
	for z, want := range map[int]float64{17: 5.4422, 19: 6.0755, 21: 6.7095} {
		near(t, fmt.Sprintf("unit pitch, z %d", z), must[float64](t)(wear.PitchDiameter(1, z)), want, 0.00005)
	}
	// Tip and root circle, formulas seen on a gear maker's page: 06B, 18 teeth.
	near(t, "root", must[float64](t)(wear.RootDiameter(9.525, 6.35, 18)), 54.852-6.35, 0.0005)
	near(t, "tip", must[float64](t)(wear.TipDiameter(9.525, 6.35, 18)), 54.852+1.25*9.525-6.35, 0.0005)
}

func TestLinksInLoop(t *testing.T) {
	for _, r := range []struct {
		name     string
		pitch, a float64
		z1, z2   int
		want     float64
		tol      float64
	}{
		{"17/34, a = 40 p (Bhandari, Design of Machine Elements; from memory, re-computed)", 15.875, 40 * 15.875, 17, 34, 105.68, 0.005},
		{"17/51, a = 40 p (derived)", 12.7, 40 * 12.7, 17, 51, 114.73, 0.005},
		{"21/42, a = 20 p (derived)", 8, 160, 21, 42, 72.0585, 0.00005},
		{"18/36, a = 12 p (derived)", 9.525, 12 * 9.525, 18, 36, 51.6839, 0.00005},
		// A web calculator multiplies the third term by pi^2 twice over: 27.3
		// links instead of 0.28 (correction derived).
		{"17/34, p 22, a 573.8", 22, 573.8, 17, 34, 2*573.8/22 + 25.5 + 0.2807, 0.0001},
	} {
		near(t, r.name, must[float64](t)(wear.LinksInLoop(r.pitch, r.a, r.z1, r.z2)), r.want, r.tol)
	}
	// Its third term, multiplied by pi where the formula divides.
	near(t, "third term of the web calculator", math.Pow(17/2.0*math.Pi, 2)*22/573.8, 27.3, 0.05)
	near(t, "21/42 exact", must[float64](t)(wear.ExactLinksInLoop(8, 160, 21, 42)), 72.0598, 0.00005)
	near(t, "18/36 exact", must[float64](t)(wear.ExactLinksInLoop(9.525, 12*9.525, 18, 36)), 51.6872, 0.00005)

	centre := must[float64](t)(wear.CentreDistance(15.875, 106, 17, 34))
	near(t, "centre for 106 links in pitches", centre/15.875, 40.1589, 0.00005)
	near(t, "centre for 106 links", centre, 637.52, 0.005)
}

func TestSprocketRefusesNonsense(t *testing.T) {
	for name, err := range map[string]error{
		"no pitch":        second(wear.PitchDiameter(0, 20)),
		"two teeth":       second(wear.PitchDiameter(8, 2)),
		"not a number":    second(wear.PitchDiameter(math.NaN(), 20)),
		"big roller":      second(wear.RootDiameter(8, 9, 20)),
		"overlap":         second(wear.LinksInLoop(8, 40, 20, 40)),
		"overlap, exact":  second(wear.ExactLinksInLoop(8, 40, 20, 40)),
		"too few links":   second(wear.CentreDistance(8, 20, 20, 40)),
		"no links":        second(wear.CentreDistance(8, 0, 20, 40)),
		"chordal, 1":      second(wear.ChordalVariation(1)),
		"tip, no roller":  second(wear.TipDiameter(8, 0, 20)),
		"overlap, centre": second(wear.CentreDistance(8, 31, 20, 40)),
	} {
		if err == nil {
			t.Errorf("%s accepted", name)
		}
	}
}

func TestSprocketLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z1 := rapid.IntRange(9, 60).Draw(t, "z1")
		z2 := rapid.IntRange(9, 60).Draw(t, "z2")
		links := z1 + z2 + rapid.IntRange(20, 200).Draw(t, "more links")
		p := rapid.Float64Range(4, 50).Draw(t, "pitch")
		centre, err := wear.CentreDistance(p, links, z1, z2)
		if err != nil {
			t.Fatal(err)
		}
		back, err := wear.LinksInLoop(p, centre, z1, z2)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(back-float64(links)) > 1e-9*float64(links) {
			t.Fatalf("%d links need %g mm, which holds %g links", links, centre, back)
		}
		one, err1 := wear.ExactLinksInLoop(p, centre, z1, z2)
		two, err2 := wear.ExactLinksInLoop(p, centre, z2, z1)
		if err1 != nil || err2 != nil || one != two {
			t.Fatalf("swapping the sprockets: %g %v, %g %v", one, err1, two, err2)
		}
	})
}

func ExamplePitchDiameter() {
	d, err := wear.PitchDiameter(9.525, 38)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.3f mm\n", d)
	// Output: 115.344 mm
}
