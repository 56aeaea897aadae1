package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// people makes readings with known spreads.
func people(r *rand.Rand, people, joints, times int, personSD, jointSD, photoSD float64) []Reading {
	var out []Reading
	of := make([]float64, joints)
	for j := range of {
		of[j] = jointSD * r.NormFloat64()
	}
	for p := range people {
		person := personSD * r.NormFloat64()
		for j, joint := range of {
			for range times {
				out = append(out, Reading{fmt.Sprint("joint", j), fmt.Sprint("person", p), joint + person + photoSD*r.NormFloat64()})
			}
		}
	}
	return out
}

// Spreads known to the generator come back by both methods, on average over
// studies.
func TestGaugeFindsKnownSpreads(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 1))
	var byAnova, byRange [3]sample
	const studies = 200
	covered := 0
	for range studies {
		g, err := Repeatability(people(r, 4, 12, 3, 0.2, 1, 0.3), "mm", 0)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range [3]float64{g.ByAnova.Repeatability, g.ByAnova.Reproducibility, g.ByAnova.Joints} {
			byAnova[i].add(v * v)
		}
		for i, v := range [3]float64{g.ByRange.Repeatability, g.ByRange.Reproducibility, g.ByRange.Joints} {
			byRange[i].add(v * v)
		}
		if g.OnePhoto.Lower <= 0.3 && 0.3 <= g.OnePhoto.Upper {
			covered++
		}
	}
	for i, want := range []float64{0.09, 0.04, 1} {
		for method, s := range map[string]sample{"anova": byAnova[i], "range": byRange[i]} {
			// Variances are unbiased up to the cut at zero; three standard errors.
			if off := s.mean - want; math.Abs(off) > 3*s.sd()/math.Sqrt(studies)+0.002 {
				t.Errorf("%s, part %d: mean variance %v, want %v", method, i, s.mean, want)
			}
		}
	}
	// 95 % of 200 give or take 3.5 binomial standard deviations.
	if covered < 179 {
		t.Errorf("interval of one photo holds the truth in %d of %d", covered, studies)
	}
}

func TestOnePerson(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	g, err := Repeatability(people(r, 1, 10, 4, 0, 1, 0.1), "mm", 2)
	if err != nil {
		t.Fatal(err)
	}
	if g.ByAnova.Reproducibility != 0 || g.ByRange.Reproducibility != 0 || g.InteractionP != 1 || !noted(g.Notes, "one person") {
		t.Errorf("%+v", g)
	}
	near(t, "share of the limit", g.ByAnova.OfLimit, 100*6*g.ByAnova.Measuring/2, 1e-12, "its definition")
}

// What cannot be crossed is left out and said.
func TestUnequalReadings(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 3))
	full := people(r, 2, 6, 3, 0.1, 1, 0.1)
	more := append(full, Reading{"joint2", "person0", 100}, Reading{"only one has it", "person1", 100}, Reading{"only one has it", "person1", 100})
	a, err := Repeatability(full, "mm", 0)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Repeatability(more, "mm", 0)
	if err != nil {
		t.Fatal(err)
	}
	if a.ByAnova != b.ByAnova || !noted(b.Notes, "36 of 39 readings used") {
		t.Errorf("%+v, %+v", a, b)
	}
	for name, readings := range map[string][]Reading{
		"none":         nil,
		"one joint":    people(r, 2, 1, 3, 1, 1, 1),
		"no repeats":   people(r, 2, 5, 1, 1, 1, 1),
		"copies":       people(r, 2, 5, 3, 1, 1, 0),
		"not a number": append([]Reading{{"joint0", "person0", math.NaN()}}, full...),
	} {
		if _, err := Repeatability(readings, "mm", 0); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := Repeatability(full, "mm", -1); err == nil {
		t.Error("a negative limit was taken")
	}
}

// When people rank joints differently, the interaction counts as
// reproducibility and is not taken for repeat scatter.
func TestInteraction(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	var readings []Reading
	for p := range 3 {
		for j := range 10 {
			differently := 0.5 * r.NormFloat64()
			for range 3 {
				readings = append(readings, Reading{fmt.Sprint(j), fmt.Sprint(p), float64(j) + differently + 0.1*r.NormFloat64()})
			}
		}
	}
	g, err := Repeatability(readings, "mm", 0)
	if err != nil {
		t.Fatal(err)
	}
	if g.InteractionP > 1e-6 || g.ByAnova.Repeatability > 0.13 || g.ByAnova.Reproducibility < 0.3 {
		t.Errorf("%+v", g)
	}
}

func TestAdvice(t *testing.T) {
	for _, tt := range []struct {
		repeat, people, joints, limit float64
		want                          []string
		without                       string
	}{
		{0.05, 0, 1, 0, []string{"of the spread: good"}, "levels"},
		{0.2, 0, 1, 0, []string{"usable"}, "photos of each joint"},
		{0.5, 0.1, 1, 0, []string{"too much", "2 levels", "repeats differ more", "the mean of 3 photos"}, "people differ"},
		{0.1, 0.5, 1, 0, []string{"too much", "people differ more", "does not bring"}, "the mean of"},
		{2, 0, 1, 0, []string{"cannot be told apart"}, "levels"},
		{0.05, 0, 1, 0.5, []string{"of the spread: good", "60 % of the limit: too much", "the mean of 4 photos"}, "levels"},
	} {
		g := Gauge{Repeatability: tt.repeat, Reproducibility: tt.people, Joints: tt.joints}.finished(tt.limit)
		got := advice(g)
		for _, part := range tt.want {
			if !noted(got, part) {
				t.Errorf("%+v: no %q in %q", tt, part, got)
			}
		}
		if noted(got, tt.without) {
			t.Errorf("%+v: %q in %q", tt, tt.without, got)
		}
	}
}
