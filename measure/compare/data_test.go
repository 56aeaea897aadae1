package compare

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pinlash/testdata"
)

// rows returns the rows of a file of test data, by the names in its heading.
func rows(t *testing.T, folder, name string) []map[string]string {
	t.Helper()
	all := testdata.Table(t, folder+"/"+name)
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, c := range cells {
			row[all[0][i]] = c
		}
		out = append(out, row)
	}
	return out
}

// half is half of the last digit of a printed number.
func half(printed string) float64 {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(printed), "e")
	e, _ := strconv.Atoi(exponent)
	decimals := 0
	if i := strings.IndexByte(mantissa, '.'); i >= 0 {
		decimals = len(mantissa) - i - 1
	}
	return 0.5000001 * math.Pow10(e-decimals)
}

// digits checks got against a printed figure, to half of its last digit.
func digits(t *testing.T, what string, got float64, printed, source string) {
	t.Helper()
	if want := testdata.Number(t, printed); !(math.Abs(got-want) <= half(printed)) {
		t.Errorf("%s: got %.12g, want %s (%s)", what, got, printed, source)
	}
}

// near checks got against want, relative to want.
func near(t *testing.T, what string, got, want, relative float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g within %g of it (%s)", what, got, want, relative, source)
	}
}

// study makes a study of joints without names, by revision and chain.
func study(t testing.TB, joints ...Joint) *Study {
	t.Helper()
	s := NewStudy("mm", "km")
	for _, j := range joints {
		if err := s.Add(j); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func compared(t testing.TB, s *Study, margin float64) Comparison {
	t.Helper()
	f, err := s.At("")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(f, margin)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
