package uncert

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func same(a, b float64) bool {
	return math.Abs(a-b) <= 1e-12*max(math.Abs(a), math.Abs(b), 1e-300)
}

func drawBudget(t *rapid.T, label string, least int) Budget {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Term {
		return Term{
			Name: rapid.SampledFrom([]string{"edges", "scale", "focus", "tilt"}).Draw(t, "name"),
			U:    rapid.Float64Range(0, 10).Draw(t, "u"),
			DF:   rapid.SampledFrom([]float64{0, 1, 2.5, 9, 100}).Draw(t, "df"),
		}
	}), least, 8).Draw(t, label)
}

func TestOrderOfPartsIsIrrelevant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t, "budget", 1)
		q := Combine(3, "mm", b)
		p := Combine(3, "mm", rapid.Permutation(b).Draw(t, "permuted"))
		if !same(q.U, p.U) || !same(q.DF, p.DF) || !same(q.Lower, p.Lower) || !same(q.Upper, p.Upper) {
			t.Fatalf("%+v and %+v", q, p)
		}
		l := b.Largest()
		if len(l) != len(b) || !slices.IsSortedFunc(l, func(x, y Term) int { return int(math.Copysign(1, y.U-x.U)) }) {
			t.Fatalf("not sorted: %+v", l)
		}
	})
}

func TestMorePartsNeverShrinkU(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t, "budget", 0)
		more := append(slices.Clone(b), drawBudget(t, "more", 1)...)
		if u, w := Combine(0, "", b).U, Combine(0, "", more).U; w < u*(1-1e-15) {
			t.Fatalf("u fell from %v to %v", u, w)
		}
	})
}

// Welch-Satterthwaite never gives fewer degrees of freedom than the worst
// part has, nor more than all together.
func TestFreedomIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t, "budget", 1)
		q := Combine(0, "", b)
		least, sum := math.Inf(1), 0.0
		for _, p := range b {
			nu := p.DF
			if nu == 0 {
				nu = math.Inf(1)
			}
			if p.U > 0 {
				least = min(least, nu)
			}
			sum += nu
		}
		nu := q.DF
		if nu == 0 {
			nu = math.Inf(1)
		}
		if q.U > 0 && (nu < least*(1-1e-9) || nu > sum*(1+1e-9) && sum < math.Inf(1)) {
			t.Fatalf("nu %v outside %v to %v: %+v", nu, least, sum, b)
		}
	})
}

func TestMergeKeepsUAndFreedom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t, "budget", 0)
		m := b.Merge()
		q, p := Combine(1, "mm", b), Combine(1, "mm", m)
		if !same(q.U, p.U) || math.Abs(q.DF-p.DF) > 1e-9*q.DF {
			t.Fatalf("u %v, %v; df %v, %v", q.U, p.U, q.DF, p.DF)
		}
		seen := map[string]bool{}
		for _, part := range m {
			if seen[part.Name] {
				t.Fatalf("%q twice in %+v", part.Name, m)
			}
			seen[part.Name] = true
		}
	})
}

func TestScaling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t, "budget", 0)
		value := rapid.Float64Range(-100, 100).Draw(t, "value")
		factor := rapid.Float64Range(-50, 50).Draw(t, "factor")
		got := Combine(value, "px", b).Scaled(factor, "mm")
		want := Combine(value*factor, "mm", b.scaled(factor))
		tol := 1e-11 * (math.Abs(value*factor) + want.U)
		for _, d := range []float64{got.Value - want.Value, got.U - want.U, got.Lower - want.Lower, got.Upper - want.Upper} {
			if math.Abs(d) > tol*100 {
				t.Fatalf("%+v and %+v", got, want)
			}
		}
		if got.Unit != "mm" || got.Lower > got.Upper || (math.Abs(factor) > 1e-100 && want.U > 0 && math.Abs(got.DF-want.DF) > 1e-9*want.DF) {
			t.Fatalf("%+v and %+v", got, want)
		}
	})
}

// For a product of numbers away from zero the relative uncertainties add in
// quadrature (GUM 5.1.6).
func TestProductIsRelative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Combine(rapid.Float64Range(1, 2000).Draw(t, "a"), "px", drawBudget(t, "px", 1))
		b := Combine(rapid.Float64Range(0.001, 0.1).Draw(t, "b"), "mm/px", drawBudget(t, "scale", 1))
		p := Product(a, b, "mm")
		want := math.Hypot(a.U/a.Value, b.U/b.Value)
		if !same(p.Value, a.Value*b.Value) || math.Abs(p.U/p.Value-want) > 1e-12*want {
			t.Fatalf("relative u %v, want %v", p.U/p.Value, want)
		}
		if len(p.Budget) != len(a.Budget)+len(b.Budget) {
			t.Fatalf("parts lost: %+v", p.Budget)
		}
		q := Product(b, a, "mm")
		if !same(q.U, p.U) || math.Abs(q.DF-p.DF) > 1e-9*p.DF {
			t.Fatalf("order matters: %+v, %+v", p, q)
		}
	})
}

// A sum taken in steps is the sum of all parts at once.
func TestSumInSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Combine(1, "mm", drawBudget(t, "a", 0))
		b := Combine(2, "mm", drawBudget(t, "b", 0))
		c := Combine(4, "mm", drawBudget(t, "c", 0))
		left, right := Difference(Sum(a, b), c), Sum(a, Difference(b, c))
		all := Combine(-1, "mm", slices.Concat(a.Budget, b.Budget, c.Budget))
		for _, q := range []Quantity{left, right} {
			if q.Value != -1 || !same(q.U, all.U) || math.Abs(q.DF-all.DF) > 1e-9*all.DF {
				t.Fatalf("%+v, want %+v", q, all)
			}
		}
	})
}
