package wear_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func percent(v float64, b ...uncert.Term) uncert.Quantity { return uncert.Combine(v, "%", b) }

func limit(v float64) wear.Limit {
	return wear.Limit{Name: "test", Value: v, Unit: "%", Source: "test"}
}

// JCGM 106:2012, from memory, re-computed: the breakdown voltage of a Zener
// diode, -5.47 V with u 0.05 V against an upper limit of -5.40 V, conforms with
// probability 0.92; table 1 (clause 7.3) gives the distance from an upper
// limit, in standard uncertainties, for a wanted probability.
func TestConformanceJCGM106(t *testing.T) {
	zener := uncert.Combine(-5.47, "V", uncert.Budget{{Name: "voltage", U: 0.05}})
	near(t, "Zener diode", wear.Conformance(zener, -5.40), 0.92, 0.005)
	for p, z := range map[float64]float64{0.80: 0.84, 0.90: 1.28, 0.95: 1.64, 0.99: 2.33, 0.999: 3.09} {
		q := uncert.Combine(0, "V", uncert.Budget{{Name: "voltage", U: 1}})
		// z is rounded to 0.01, which moves the probability by its density.
		tol := 0.005 * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
		near(t, fmt.Sprintf("table 1, %g", p), wear.Conformance(q, z), p, 1.1*tol)
	}
	// Few degrees of freedom: Student's t, 95 % two-sided for 4 is 2.78 (JCGM
	// 100:2008, table G.2).
	q := uncert.Combine(0, "V", uncert.Budget{{Name: "voltage", U: 1, DF: 4}})
	near(t, "4 degrees of freedom", wear.Conformance(q, 2.776445), 0.975, 1e-6)
	near(t, "exact, at the limit", wear.Conformance(exact(1), 1), 1, 0)
	near(t, "exact, past it", wear.Conformance(exact(1.01), 1), 0, 0)
}

func TestDecideByInterval(t *testing.T) {
	u := uncert.Term{Name: "scale", U: 0.1}
	for _, r := range []struct {
		value float64
		want  wear.Verdict
	}{
		{1.20, wear.Past},     // 1.004 to 1.396
		{1.19, wear.TooClose}, // 0.994 to 1.386
		{0.81, wear.TooClose}, // 0.614 to 1.006
		{0.80, wear.Within},   // 0.604 to 0.996
	} {
		d := must[wear.Decision](t)(wear.Decide(wear.Figure(percent(r.value, u)), limit(1), 0))
		if d.Verdict != r.want {
			t.Errorf("%g: %s, want %s", r.value, d.Verdict, r.want)
		}
		if (d.Settles == "") != (d.Verdict != wear.TooClose) {
			t.Errorf("%g: %s, settled by %q", r.value, d.Verdict, d.Settles)
		}
	}
}

// The probability agrees with the verdict: past when at most 2.5 % are left
// within, and the other way round.
func TestDecideLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := percent(rapid.Float64Range(-1, 4).Draw(t, "value"), uncert.Term{Name: "scale", U: rapid.Float64Range(1e-3, 1).Draw(t, "u"), DF: float64(rapid.IntRange(0, 30).Draw(t, "df"))})
		d, err := wear.Decide(wear.Figure(q), limit(1.5), 0)
		if err != nil {
			t.Fatal(err)
		}
		const slip = 1e-9
		switch d.Verdict {
		case wear.Past:
			if d.PastMost < 0.975-slip {
				t.Fatalf("past with probability %g", d.PastMost)
			}
		case wear.Within:
			if d.PastMost > 0.025+slip {
				t.Fatalf("within with probability %g of being past", d.PastMost)
			}
		default:
			if d.PastMost < 0.025-slip || d.PastMost > 0.975+slip {
				t.Fatalf("too close with probability %g", d.PastMost)
			}
		}
	})
}

func TestDecideNeedsBothEnds(t *testing.T) {
	ends := wear.Growth{Least: percent(0.6), Most: percent(1.2), Open: wear.OpenShape}
	d := must[wear.Decision](t)(wear.Decide(ends, limit(1), 3))
	if d.Verdict != wear.TooClose || d.MoreJoints != 0 || !strings.Contains(d.Settles, wear.OpenShape) {
		t.Errorf("%+v", d)
	}
	if d.PastLeast != 0 || d.PastMost != 1 {
		t.Errorf("probabilities %g and %g, want 0 and 1", d.PastLeast, d.PastMost)
	}
	for lim, want := range map[float64]wear.Verdict{0.5: wear.Past, 1.2: wear.Within} {
		d := must[wear.Decision](t)(wear.Decide(ends, limit(lim), 3))
		if d.Verdict != want {
			t.Errorf("limit %g: %s, want %s", lim, d.Verdict, want)
		}
	}
}

// Three joints 0.080, 0.095, 0.110 mm over a new play of nothing, pitch 10 mm,
// limit 0.90 %: mean 0.95 %, s 0.15 %. The number that settles it is the least
// n with t(n-1) 0.15/sqrt(n) < 0.05, by JCGM 100 table G.2's t: 38 joints (t
// 2.026: 0.0493), not 37 (t 2.028: 0.0500).
func TestMoreJoints(t *testing.T) {
	plays := []uncert.Quantity{exact(0.080), exact(0.095), exact(0.110)}
	mean := must[uncert.Quantity](t)(wear.MeanPlay(plays))
	g := must[wear.Growth](t)(wear.JointGrowth(mean, exact(0), wear.OneSided()))
	p := must[wear.Growth](t)(g.PercentOf(10))
	d := must[wear.Decision](t)(wear.Decide(p, limit(0.90), 3))
	if d.Verdict != wear.TooClose || d.MoreJoints != 35 {
		t.Errorf("%s, %d more joints, want too close and 35", d.Verdict, d.MoreJoints)
	}

	// A scale error of 0.1 % of pitch alone is more than the distance to the
	// limit: no number of joints will do, and the cause is named.
	for i := range plays {
		plays[i] = mm(plays[i].Value, 0.010, "scale")
	}
	mean = must[uncert.Quantity](t)(wear.MeanPlay(plays, "scale"))
	g = must[wear.Growth](t)(wear.JointGrowth(mean, exact(0), wear.OneSided()))
	p = must[wear.Growth](t)(g.PercentOf(10))
	d = must[wear.Decision](t)(wear.Decide(p, limit(0.90), 3))
	if d.Verdict != wear.TooClose || d.MoreJoints != 0 || !strings.Contains(d.Settles, "scale") {
		t.Errorf("%+v", d)
	}

	// One joint says nothing of how joints differ.
	p = must[wear.Growth](t)(wear.Figure(plays[1]).PercentOf(10))
	d = must[wear.Decision](t)(wear.Decide(p, limit(0.90), 1))
	if d.Verdict != wear.TooClose || d.MoreJoints != 0 || !strings.Contains(d.Settles, "one more joint") {
		t.Errorf("%+v", d)
	}
}

func TestDecideRefusesNonsense(t *testing.T) {
	for name, err := range map[string]error{
		"other unit":      second(wear.Decide(wear.Figure(exact(1)), limit(1), 1)),
		"no limit":        second(wear.Decide(wear.Figure(percent(1)), limit(0), 1)),
		"negative joints": second(wear.Decide(wear.Figure(percent(1)), limit(1), -1)),
		"not a number":    second(wear.Decide(wear.Figure(uncert.Quantity{Value: math.NaN(), Unit: "%"}), limit(1), 1)),
	} {
		if err == nil {
			t.Errorf("%s accepted", name)
		}
	}
}

// Limits as published in manufacturers' engineering pages, seen: 3 % up to 66
// teeth, 200/z % from 67 (200/67 = 2.985), 1.5 % for fixed centres; 0.5 % for
// timing drives is common practice. The maker's own goes first.
func TestLimitFor(t *testing.T) {
	for _, r := range []struct {
		duty wear.Duty
		want float64
		tol  float64
	}{
		{wear.Duty{}, 3, 0},
		{wear.Duty{LargestWheel: 66}, 3, 0},
		{wear.Duty{LargestWheel: 67}, 2.985, 0.0005},
		{wear.Duty{LargestWheel: 100}, 2, 1e-12},
		{wear.Duty{FixedCentres: true}, 1.5, 0},
		{wear.Duty{FixedCentres: true, LargestWheel: 200}, 1, 1e-12},
		{wear.Duty{Timing: true, FixedCentres: true, LargestWheel: 42}, 0.5, 0},
		{wear.Duty{MakerPercent: 0.2, Timing: true}, 0.2, 0},
		{wear.Duty{MakerPercent: 4, FixedCentres: true}, 4, 0},
	} {
		l := must[wear.Limit](t)(wear.LimitFor(r.duty))
		near(t, fmt.Sprintf("%+v", r.duty), l.Value, r.want, r.tol)
		if l.Source == "" || l.Provenance == "" || l.Unit != "%" {
			t.Errorf("%+v: %+v", r.duty, l)
		}
	}
	for _, duty := range []wear.Duty{{MakerPercent: -1}, {MakerPercent: math.NaN()}, {LargestWheel: -3}} {
		if l, err := wear.LimitFor(duty); err == nil {
			t.Errorf("%+v accepted: %+v", duty, l)
		}
	}
	for _, l := range wear.OtherLimits() {
		if l.Source == "" || l.Value <= 0 || (l.Provenance != "S" && l.Provenance != "M") {
			t.Errorf("%+v", l)
		}
	}
}

// Limits of the trade beside those that LimitFor takes: usual working limit 1.5
// to 2 % and running-in below 0.1 % (engineering guide on wear of working parts,
// seen), marine camshaft chains 1.5 % (training literature, seen), bicycle-type
// chains 0.5 and 1 % (several pages, seen), basis of power ratings 3 % (ISO
// 10823, from memory).
func TestOtherLimits(t *testing.T) {
	want := []struct {
		name       string
		value      float64
		provenance string
	}{
		{"usual working limit, lower", 1.5, "S"},
		{"usual working limit, upper", 2, "S"},
		{"running-in, at most", 0.1, "S"},
		{"marine camshaft chain", 1.5, "S"},
		{"bicycle-type chain, renew chain", 0.5, "S"},
		{"bicycle-type chain, wheels damaged", 1, "S"},
		{"basis of power ratings at 15 000 h", 3, "M"},
	}
	got := wear.OtherLimits()
	if len(got) != len(want) {
		t.Fatalf("%d limits, want %d", len(got), len(want))
	}
	for i, w := range want {
		if l := got[i]; l.Name != w.name || l.Value != w.value || l.Unit != "%" || l.Provenance != w.provenance {
			t.Errorf("%+v, want %+v", l, w)
		}
	}
}

// Bench-test limits over 49 links, GOST 13568-97 tables B.1 and B.2, seen and
// re-computed as percentages.
func TestBenchLimits(t *testing.T) {
	for _, r := range []struct{ pitch, growth, percent float64 }{
		{8, 1.2, 0.306},
		{9.525, 1.4, 0.300},
		{12.7, 2.5, 0.402},
		{12.7, 1.9, 0.305},
		{15.875, 3.1, 0.399},
		{19.05, 1.9, 0.204},
		{25.4, 1.9, 0.153},
	} {
		fresh := must[uncert.Quantity](t)(wear.NewSpan(r.pitch, 49))
		g := must[wear.SpanGrowth](t)(wear.GrowthOfSpan(exact(fresh.Value+r.growth), fresh, 49, wear.UnknownLink, wear.BushToBush))
		p := must[wear.Growth](t)(wear.Figure(g.PerPitch).PercentOf(r.pitch))
		near(t, fmt.Sprintf("p %g, %g mm", r.pitch, r.growth), p.Most.Value, r.percent, 0.0005)
	}
}

func ExampleDecide() {
	growth := wear.Figure(uncert.Combine(1.10, "%", uncert.Budget{{Name: "scale", U: 0.12}}))
	limit, err := wear.LimitFor(wear.Duty{MakerPercent: 1})
	if err != nil {
		panic(err)
	}
	d, err := wear.Decide(growth, limit, 0)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%s; past with probability %.0f %%\n", d.Verdict, 100*d.PastMost)
	// Output: too close to call; past with probability 80 %
}
