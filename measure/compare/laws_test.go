package compare

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

func same(a, b, scale float64) bool { return math.Abs(a-b) <= 1e-9*max(math.Abs(scale), 1e-9) }

func drawJoints(t *rapid.T) []Joint {
	var joints []Joint
	for r := range rapid.SampledFrom([]int{2, 2, 2, 3}).Draw(t, "revisions") {
		for c := range rapid.IntRange(1, 5).Draw(t, "chains") {
			for range rapid.IntRange(1, 6).Draw(t, "joints") {
				joints = append(joints, Joint{
					Revision: string(rune('A' + r)), Chain: fmt.Sprint(c), Joint: fmt.Sprint(len(joints)),
					Value: rapid.Float64Range(-1, 1).Draw(t, "value"),
				})
			}
		}
	}
	return joints
}

func lawStudy(t *rapid.T, joints []Joint) Comparison {
	s := NewStudy("mm", "km")
	for _, j := range joints {
		if err := s.Add(j); err != nil {
			t.Fatal(err)
		}
	}
	f, err := s.At("")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(f, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// sameDifferences wants q = p × factor.
func sameDifferences(t *rapid.T, p, q Comparison, factor float64) {
	if len(p.Differences) != len(q.Differences) {
		t.Fatalf("%d and %d differences", len(p.Differences), len(q.Differences))
	}
	for i, a := range p.Differences {
		b := q.Differences[i]
		scale := math.Abs(a.Value.Value) + a.Value.U
		if !same(a.Value.Value*factor, b.Value.Value, scale*factor) || !same(a.Value.U*factor, b.Value.U, scale*factor) ||
			!same(a.P, b.P, 1) || !same(a.Effect.Value, b.Effect.Value, 1+math.Abs(a.Effect.Value)) {
			t.Fatalf("%+v, %+v", a, b)
		}
		if (a.ByModel == nil) != (b.ByModel == nil) {
			t.Fatalf("%+v, %+v", a.ByModel, b.ByModel)
		}
		// The likelihood is flat at its top: the variances' digits are half.
		if a.ByModel != nil && math.Abs(a.ByModel.P-b.ByModel.P) > 1e-6 {
			t.Fatalf("%+v, %+v", a.ByModel, b.ByModel)
		}
	}
}

// The order of feeding is irrelevant; a shift leaves differences as they are
// and a factor multiplies them; photographing the same joints once more, with
// the same outcome, adds no knowledge of the revisions; and swapping two
// revisions swaps the sign.
func TestLawsOfDifferences(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		joints := drawJoints(t)
		c := lawStudy(t, joints)
		sameDifferences(t, c, lawStudy(t, rapid.Permutation(joints).Draw(t, "permuted")), 1)
		sameDifferences(t, c, lawStudy(t, append(joints[:len(joints):len(joints)], joints...)), 1)

		shift, factor := rapid.Float64Range(-100, 100).Draw(t, "shift"), rapid.Float64Range(0.1, 10).Draw(t, "factor")
		moved, swapped := make([]Joint, len(joints)), make([]Joint, len(joints))
		for i, j := range joints {
			j.Value = shift + factor*j.Value
			moved[i] = j
			j = joints[i]
			j.Revision = map[string]string{"A": "B", "B": "A", "C": "C"}[j.Revision]
			swapped[i] = j
		}
		sameDifferences(t, c, lawStudy(t, moved), factor)

		p, q := between(c, "A", "B"), between(lawStudy(t, swapped), "A", "B")
		if (p == nil) != (q == nil) {
			t.Fatalf("%+v, swapped %+v", p, q)
		}
		if p != nil && (!same(p.Value.Value, -q.Value.Value, 1) || !same(p.Value.Lower, -q.Value.Upper, 1+p.Value.U) ||
			!same(p.Effect.Lower, -q.Effect.Upper, 10) || !same(p.P, q.P, 1) || p.Verdict != q.Verdict) {
			t.Fatalf("%+v, swapped %+v", p, q)
		}
	})
}

func between(c Comparison, a, b string) *Difference {
	for _, d := range c.Differences {
		if d.A == a && d.B == b {
			return &d
		}
	}
	return nil
}

// Balanced, the model is the analysis of variance: within chains the mean
// square, between them (between - within)/n where that is not negative
// (Searle, Casella and McCulloch, Variance Components, 4.4).
func TestBalancedModelIsAnova(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "joints")
		var groups [][]sample
		for range rapid.IntRange(1, 3).Draw(t, "revisions") {
			var g []sample
			for range rapid.IntRange(2, 5).Draw(t, "chains") {
				var s sample
				for range n {
					s.add(rapid.Float64Range(-1, 1).Draw(t, "value"))
				}
				g = append(g, s)
			}
			groups = append(groups, g)
		}
		a, ok := chainsApart(groups)
		f, fitted := fitREML(groups)
		if !ok || !fitted {
			return // nothing scatters within chains
		}
		between, within := a.Between/a.BetweenFreedom, a.Within/a.WithinFreedom
		want := max(between/within-1, 0) / float64(n)
		if math.Abs(f.ratio-want) > 1e-6*(want+0.001) {
			t.Fatalf("ratio %v, want %v", f.ratio, want)
		}
	})
}

// No ratio near or far has a larger likelihood.
func TestModelIsAtTheTop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var groups [][]sample
		for range 2 {
			var g []sample
			for range rapid.IntRange(2, 6).Draw(t, "chains") {
				var s sample
				for range rapid.IntRange(1, 9).Draw(t, "joints") {
					s.add(rapid.Float64Range(-1, 1).Draw(t, "value"))
				}
				g = append(g, s)
			}
			groups = append(groups, g)
		}
		f, ok := fitREML(groups)
		if !ok {
			return
		}
		p := profile{groups: groups, freedom: -2}
		for _, g := range groups {
			for _, c := range g {
				p.within += c.ss
				p.freedom += c.n
			}
		}
		for _, factor := range []float64{0, 0.01, 0.5, 0.99, 1.01, 2, 100} {
			if c, _ := p.at(f.ratio * factor); c < f.criterion-1e-9*math.Abs(f.criterion)-1e-12 {
				t.Fatalf("ratio %v times %v has %v, below %v", f.ratio, factor, c, f.criterion)
			}
		}
	})
}

// Seen the other way round the line that allows errors in both is the same.
func TestLineTurnedRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var pairs, turned []Pair
		for i := range rapid.IntRange(5, 12).Draw(t, "pairs") {
			p := Pair{
				A:  float64(i) + rapid.Float64Range(-0.2, 0.2).Draw(t, "a"),
				B:  3 + 2*float64(i) + rapid.Float64Range(-0.2, 0.2).Draw(t, "b"),
				UA: rapid.Float64Range(0.05, 0.2).Draw(t, "ua"), UB: rapid.Float64Range(0.05, 0.2).Draw(t, "ub"),
			}
			pairs = append(pairs, p)
			turned = append(turned, Pair{A: p.B, B: p.A, UA: p.UB, UB: p.UA})
		}
		l, _, err := fitLine(pairs, "mm")
		m, _, err2 := fitLine(turned, "mm")
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if !same(l.Slope.Value*m.Slope.Value, 1, 1) || !same(m.Intercept.Value, -l.Intercept.Value/l.Slope.Value, 1) ||
			!same(l.Scatter, m.Scatter, 1+l.Scatter) {
			t.Fatalf("%+v, turned %+v", l, m)
		}
	})
}

// allFinite fails on any number in v that is not one.
func allFinite(t *rapid.T, v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Fatalf("%s is %v", path, f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			allFinite(t, v.Elem(), path)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			allFinite(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice:
		for i := range v.Len() {
			allFinite(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	}
}

// wild draws what people type: round numbers, repeats, tiny, huge.
func wild(t *rapid.T, label string) float64 {
	return rapid.OneOf(
		rapid.SampledFrom([]float64{0, 0, 0.1, 0.1, 0.3, -0.1, 1e-300, 1e-12, 1e12, -1e12, 123456.789}),
		rapid.Float64Range(-1e12, 1e12), rapid.Float64Range(-1, 1),
	).Draw(t, label)
}

func TestNothingButNumbersLeaves(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := NewStudy("mm", "km")
		var readings []Reading
		var pairs []Pair
		for range rapid.IntRange(1, 40).Draw(t, "joints") {
			j := Joint{
				Revision: rapid.SampledFrom([]string{"A", "A", "A", "B", "B", "B", ""}).Draw(t, "revision"),
				Chain:    rapid.SampledFrom([]string{"1", "2", "3"}).Draw(t, "chain"),
				Joint:    rapid.SampledFrom([]string{"", "", "x", "y"}).Draw(t, "joint"),
				Value:    wild(t, "value"), U: math.Abs(wild(t, "u")),
				Distance: rapid.SampledFrom([]float64{0, leastDistance, 1, 20000, 1e12}).Draw(t, "distance"),
			}
			if err := s.Add(j); err != nil {
				t.Fatal(err)
			}
			readings = append(readings, Reading{Joint: j.Joint, Person: j.Chain, Value: j.Value})
			pairs = append(pairs, Pair{A: j.Value, B: wild(t, "b"), UA: j.U, UB: math.Abs(wild(t, "ub"))})
		}
		margin := math.Abs(wild(t, "margin"))
		for name, of := range map[string]func() (Figures, error){
			"at":         func() (Figures, error) { return s.At("") },
			"rates":      func() (Figures, error) { return s.Rates(true) },
			"rates play": func() (Figures, error) { return s.Rates(false) },
		} {
			f, err := of()
			if err != nil {
				continue
			}
			c, err := Compare(f, margin)
			if err != nil {
				t.Fatal(err)
			}
			allFinite(t, reflect.ValueOf(c), name)
			for _, chain := range c.Chains {
				if lower, upper, ok := chain.MostJoints(); ok {
					allFinite(t, reflect.ValueOf([]float64{lower, upper}), "most joints")
				}
			}
		}
		if r, err := Repeatability(readings, "mm", margin); err == nil {
			allFinite(t, reflect.ValueOf(r), "repeat")
		}
		if a, err := Agree(pairs, "mm", margin); err == nil {
			allFinite(t, reflect.ValueOf(a), "agreement")
		}
		spread := Spread{math.Abs(wild(t, "chain sd")), math.Abs(wild(t, "joint sd")), math.Abs(wild(t, "measuring sd"))}
		if d, err := Plan(spread, math.Abs(wild(t, "difference")), 0.8); err == nil {
			allFinite(t, reflect.ValueOf(d), "plan")
		}
		if v, err := spread.Smallest(3, 5, 0.8); err == nil {
			allFinite(t, reflect.ValueOf(v), "smallest")
		}
	})
}
