package compare

import (
	"math"
	"math/rand/v2"
	"testing"
)

// With one joint a chain and nothing else that scatters the plan is that of
// two independent samples: 17, 23 and 64 a group, R's power.t.test having
// 16.71, 22.02 and 63.77 before rounding up.
func TestPlanOfTwoSamples(t *testing.T) {
	for _, tt := range []struct {
		difference, power float64
		want              int
	}{
		{1, 0.80, 17},
		{1, 0.90, 23},
		{0.5, 0.80, 64},
	} {
		d, err := Plan(Spread{Chain: 1}, tt.difference, tt.power)
		if err != nil {
			t.Fatal(err)
		}
		// Nothing is saved by more joints when only chains scatter.
		if len(d) != 1 || d[0].Chains != tt.want || d[0].Joints != 1 || d[0].Power < tt.power {
			t.Errorf("%+v: %+v", tt, d)
		}
	}
}

func TestPlanShape(t *testing.T) {
	s := Spread{Chain: 0.01, Joint: 0.02, Measuring: 0.01}
	designs, err := Plan(s, 0.02, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range designs {
		if d.Power < 0.8 || d.Chains > 2 && s.power(0.02, d.Chains-1, d.Joints) >= 0.8 {
			t.Errorf("not the fewest chains: %+v", d)
		}
		if i > 0 && (d.Chains >= designs[i-1].Chains || d.Joints <= designs[i-1].Joints) {
			t.Errorf("more joints that save nothing: %+v", designs)
		}
		smallest, err := s.Smallest(d.Chains, d.Joints, d.Power)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "smallest difference seen", smallest, 0.02, 1e-6, "the plan it came from")
	}
	if len(designs) < 3 {
		t.Errorf("%+v", designs)
	}
	last := 0.0
	for _, d := range []float64{0, 0.001, 0.01, 0.02, 0.05, 1, 1000} {
		p := s.power(d, 4, 10)
		if p < last || p > 1+1e-9 {
			t.Errorf("power %v of difference %v, before it %v", p, d, last)
		}
		last = p
	}
}

func TestUnusablePlans(t *testing.T) {
	ok := Spread{Chain: 1, Joint: 1}
	for name, err := range map[string]error{
		"nothing scatters":        second(Plan(Spread{}, 1, 0.8)),
		"negative spread":         second(Plan(Spread{Chain: -1}, 1, 0.8)),
		"spread is no number":     second(Plan(Spread{Chain: math.NaN()}, 1, 0.8)),
		"no difference":           second(Plan(ok, 0, 0.8)),
		"difference is no number": second(Plan(ok, math.NaN(), 0.8)),
		"sure power":              second(Plan(ok, 1, 1)),
		"power is no number":      second(Plan(ok, 1, math.NaN())),
		"too small":               second(Plan(ok, 1e-6, 0.8)),
		"one chain":               second(ok.Smallest(1, 5, 0.8)),
		"no joints":               second(ok.Smallest(3, 0, 0.8)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// With two chains Welch's degrees of freedom lie anywhere between one and two.
func TestPowerOfTwoChains(t *testing.T) {
	const studies = 20_000
	r := rand.New(rand.NewPCG(3, 2))
	for _, difference := range []float64{0, 4} {
		found := 0
		for range studies {
			var a, b sample
			for range 2 {
				a.add(r.NormFloat64())
				b.add(difference + r.NormFloat64())
			}
			if q := welch(a, b, ""); family(2).chance(q.Value/q.U, q.DF) < 0.05 {
				found++
			}
		}
		want, got := Spread{Chain: 1}.power(difference, 2, 1), float64(found)/studies
		if sd := math.Sqrt(want * (1 - want) / studies); math.Abs(got-want) > 3.5*sd {
			t.Errorf("difference %v: planned %.4f, found %.4f", difference, want, got)
		}
	}
}

// Plans are kept: of generated studies of the planned size, the planned share
// finds the difference. Three chains too, where Welch's test is most unlike
// Student's.
func TestPlansAreKept(t *testing.T) {
	t.Parallel()
	const studies = 2500
	s := Spread{Chain: 0.010, Joint: 0.015, Measuring: 0.005}
	r := rand.New(rand.NewPCG(3, 1))
	for _, d := range []struct {
		chains, joints int
		difference     float64
	}{{3, 10, 0.03}, {4, 5, 0.03}, {6, 20, 0.02}, {10, 1, 0.025}, {5, 10, 0}} {
		want := s.power(d.difference, d.chains, d.joints)
		found := 0
		for range studies {
			revisions := [2]sample{}
			for i := range revisions {
				for range d.chains {
					var c sample
					of := float64(i)*d.difference + s.Chain*r.NormFloat64()
					for range d.joints {
						c.add(of + s.Joint*r.NormFloat64() + s.Measuring*r.NormFloat64())
					}
					revisions[i].add(c.mean)
				}
			}
			q := welch(revisions[0], revisions[1], "mm")
			if family(2).chance(q.Value/q.U, q.DF) < 0.05 {
				found++
			}
		}
		got := float64(found) / studies
		if sd := math.Sqrt(want * (1 - want) / studies); math.Abs(got-want) > 3.5*sd {
			t.Errorf("%+v: planned %.4f, found %.4f", d, want, got)
		}
		t.Logf("%+v: planned %.4f, found in %d generated studies %.4f", d, want, studies, got)
	}
}
