package uncert

import (
	"math"
	"strings"
	"testing"

	"pinlash/testdata"
)

// The table is printed to two decimals, in its last row to three; half of the
// last digit is the tolerance.
func TestCoverageFactorPublished(t *testing.T) {
	rows := testdata.Table(t, "published/jcgm100_table_g2.csv")
	count := 0
	for _, row := range rows[1:] {
		nu := testdata.Number(t, row[0])
		for i, cell := range row[1:] {
			p := testdata.Number(t, strings.TrimPrefix(rows[0][i+1], "p")) / 100
			want := testdata.Number(t, cell)
			tol := 0.5 * math.Pow10(-len(cell[strings.IndexByte(cell, '.')+1:]))
			got := CoverageFactor(p, nu)
			if math.Abs(got-want) > tol*(1+1e-9) {
				t.Errorf("nu %v, %s: got %.5f, want %v within %v (GUM table G.2)", nu, rows[0][i+1], got, want, tol)
			}
			count++
		}
	}
	if count != 11*6 {
		t.Errorf("checked %d factors, want 66", count)
	}
}

// For many degrees of freedom the factor runs into the normal one.
func TestCoverageFactorLimit(t *testing.T) {
	normal := CoverageFactor(0.95, 0)
	if math.Abs(normal-1.959963984540054) > 1e-12 {
		t.Errorf("normal factor %.15f", normal)
	}
	last := math.Inf(1)
	for _, df := range []float64{0.5, 1, 1.5, 10, 16.75, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9} {
		k := CoverageFactor(0.95, df)
		if k > last || k < normal {
			t.Errorf("df %g: factor %.12f, before it %.12f, normal %.12f", df, k, last, normal)
		}
		// First term of the expansion of t in 1/nu (Abramowitz & Stegun
		// 26.7.5). The next one is about 3/nu^2, the step to the normal
		// factor 2.5e-7.
		want := normal + (math.Pow(normal, 3)+normal)/(4*df)
		if df >= 1e3 && math.Abs(k-want) > 3/(df*df)+2.5e-7 {
			t.Errorf("df %g: factor %.12f, expansion %.12f", df, k, want)
		}
		last = k
	}
}

// h1 returns the parts of GUM H.1 in nanometres whose name has the prefix.
func h1(t *testing.T, prefixes ...string) Budget {
	t.Helper()
	var b Budget
	for _, row := range testdata.Table(t, "published/jcgm100_h1.csv")[1:] {
		for _, prefix := range prefixes {
			if strings.HasPrefix(row[0], prefix) {
				u := testdata.Number(t, row[1]) * math.Abs(testdata.Number(t, row[2]))
				b = append(b, Term{Name: row[0], U: u, DF: testdata.Number(t, row[3])})
			}
		}
	}
	return b
}

// GUM H.1, the calibration of an end gauge, in full. Tolerances are half of
// the last printed digit unless said otherwise.
func TestGUMH1(t *testing.T) {
	near := func(what string, got, want, tol float64) {
		t.Helper()
		if math.Abs(got-want) > tol {
			t.Errorf("%s: got %.6g, want %v within %v (GUM H.1)", what, got, want, tol)
		}
	}

	difference := Combine(215, "nm", h1(t, "difference_"))
	near("u(d)", difference.U, 9.68, 0.005)
	near("nu(d)", difference.DF, 25.6, 0.2) // printed from rounded parts; unrounded 25.45
	near("nu(d) unrounded", difference.DF, 25.45, 0.005)

	expansion, temperature := h1(t, "expansion")[0], h1(t, "temperature")[0]
	near("u of the expansion difference", expansion.U, 2.887, 0.0005)
	near("u of the temperature difference", temperature.U, 16.599, 0.0005)

	// The standard is 50.000 623 mm, so the gauge is 50.000 838 mm; carry
	// the two through Sum to see that it gives the same.
	standard := Combine(50.000623e6, "nm", append(h1(t, "standard"), expansion, temperature))
	gauge := Sum(standard, difference)
	near("length", gauge.Value, 50.000838e6, 1e-6)
	near("u_c", gauge.U, 31.66, 0.005)
	near("u_c squared", gauge.U*gauge.U, 1002.6, 0.05)
	near("nu_eff", gauge.DF, 16.75, 0.05)
	near("t99(16)", CoverageFactor(0.99, math.Trunc(gauge.DF)), 2.92, 0.005)
	near("U99, nu truncated, unrounded", CoverageFactor(0.99, math.Trunc(gauge.DF))*gauge.U, 92.5, 0.05)
	near("U99, nu truncated, from rounded figures", 2.92*32, 93, 0.5)
	// With degrees of freedom as they are the interval is a little narrower
	// than with the truncated ones, and wider than with 17.
	lower, upper := gauge.Interval(0.99)
	half := (upper - lower) / 2
	if k16, k17 := CoverageFactor(0.99, 16), CoverageFactor(0.99, 17); half >= k16*gauge.U || half <= k17*gauge.U {
		t.Errorf("half width %v not between those of nu 16 and 17", half)
	}

	second := h1(t, "second_order_")
	near("second order, expansion", second[0].U, 11.9, 0.05)
	near("second order, temperature", second[1].U, 1.7, 0.05)
	withSecond := Combine(gauge.Value, "nm", append(gauge.Budget, second...))
	near("u_c with second order", withSecond.U, 33.9, 0.05)
}
