package geom

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"pinlash/testdata"
)

// readStraight returns the points and the named figures of a file.
func readStraight(t *testing.T, file string) (x, y []float64, figures map[string][]string) {
	t.Helper()
	figures = map[string][]string{}
	for _, row := range testdata.Table(t, "published/"+file)[1:] {
		if row[0] == "point" {
			x, y = append(x, testdata.Number(t, row[2])), append(y, testdata.Number(t, row[3]))
		} else {
			figures[row[1]] = row[2:4]
		}
	}
	return x, y, figures
}

// Norris is certified to 15 digits; plain double arithmetic about the means is
// good for 11 and more.
func TestStraightNISTNorris(t *testing.T) {
	x, y, want := readStraight(t, "nist_strd_norris.csv")
	s, err := FitStraight(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	var mean, total float64
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for _, v := range y {
		total += sq(v - mean)
	}
	residual := sq(s.ResidualSD) * float64(s.DF)
	for name, got := range map[string]float64{
		"intercept":     s.Intercept,
		"intercept_sd":  math.Sqrt(s.Cov[0][0]),
		"slope":         s.Slope,
		"slope_sd":      math.Sqrt(s.Cov[1][1]),
		"residual_sd":   s.ResidualSD,
		"residual_ss":   residual,
		"r_squared":     1 - residual/total,
		"regression_ss": total - residual,
		"f":             (total - residual) / sq(s.ResidualSD),
	} {
		certified := testdata.Number(t, want[name][0])
		if digits := -math.Log10(math.Abs(got-certified) / math.Abs(certified)); digits < 11 {
			t.Errorf("%s: got %.15g, certified %.15g, %.1f digits (NIST StRD Norris)", name, got, certified, digits)
		}
	}
	value, u := s.At(500)
	printed(t, "derived", "fit at 500", value, want["fit_at_500"][0])
	k := distuv.StudentsT{Sigma: 1, Nu: float64(s.DF)}.Quantile(0.975)
	printed(t, "derived", "mean, lower", value-k*u, want["mean_at_500"][0])
	printed(t, "derived", "mean, upper", value+k*u, want["mean_at_500"][1])
	one := math.Hypot(u, s.ResidualSD)
	printed(t, "derived", "prediction, lower", value-k*one, want["prediction_at_500"][0])
	printed(t, "derived", "prediction, upper", value+k*one, want["prediction_at_500"][1])
}

// GUM H.3, the calibration of a thermometer.
func TestStraightGUMH3(t *testing.T) {
	const source = "GUM H.3"
	x, y, want := readStraight(t, "jcgm100_h3.csv")
	for i := range x {
		x[i] -= 20
	}
	s, err := FitStraight(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, source, "y1", s.Intercept, want["y1"][0])
	printed(t, source, "u(y1)", math.Sqrt(s.Cov[0][0]), want["y1_u"][0])
	printed(t, source, "y2", s.Slope, want["y2"][0])
	printed(t, source, "u(y2)", math.Sqrt(s.Cov[1][1]), want["y2_u"][0])
	printed(t, source, "r(y1, y2)", s.Cov[0][1]/math.Sqrt(s.Cov[0][0]*s.Cov[1][1]), want["correlation"][0])
	printed(t, source, "s", s.ResidualSD, want["s"][0])
	printed(t, source, "sum of squares", sq(s.ResidualSD)*float64(s.DF), want["ssr"][0])
	value, u := s.At(30 - 20)
	printed(t, source, "b(30)", value, want["b30"][0])
	printed(t, source, "u(b(30))", u, want["b30_u"][0])
	printed(t, source, "nu", float64(s.DF), want["nu"][0])
}

// A point with half the uncertainty counts as four points.
func TestStraightWeights(t *testing.T) {
	x := []float64{0, 1, 2, 3}
	y := []float64{0.1, 0.9, 2.2, 2.9}
	weighted, err := FitStraight(x, y, []float64{1, 1, 0.5, 1})
	if err != nil {
		t.Fatal(err)
	}
	repeated, err := FitStraight(append(x, 2, 2, 2), append(y, 2.2, 2.2, 2.2), []float64{1, 1, 1, 1, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(weighted.Slope-repeated.Slope) > 1e-14 || math.Abs(weighted.Intercept-repeated.Intercept) > 1e-14 {
		t.Errorf("%+v and %+v", weighted, repeated)
	}
	// Residuals far below the stated uncertainties: these decide alone.
	for i := range 2 {
		for j := range 2 {
			if math.Abs(weighted.Cov[i][j]-repeated.Cov[i][j]) > 1e-14 {
				t.Errorf("covariance %v and %v", weighted.Cov, repeated.Cov)
			}
		}
	}
}

func TestStraightLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 20).Draw(t, "n")
		slope := rapid.Float64Range(-5, 5).Draw(t, "slope")
		intercept := rapid.Float64Range(-5, 5).Draw(t, "intercept")
		shift := rapid.Float64Range(-1e4, 1e4).Draw(t, "shift")
		x, y, moved := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(i)
			moved[i] = x[i] + shift
			y[i] = intercept + slope*x[i] + rapid.Float64Range(-1, 1).Draw(t, "noise")
		}
		s, err := FitStraight(x, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		m, err := FitStraight(moved, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		// The line does not care where x is counted from.
		for _, at := range []float64{-3, 0, 2.5, 30} {
			v, u := s.At(at)
			w, uw := m.At(at + shift)
			if math.Abs(v-w) > 1e-7 || math.Abs(u-uw) > 1e-4*(u+1e-3) {
				t.Fatalf("at %v: %v (%v) and %v (%v)", at, v, u, w, uw)
			}
		}
		// The residuals are orthogonal to one and to x.
		var sum, sumX float64
		for i := range x {
			r := y[i] - s.Intercept - s.Slope*x[i]
			sum += r
			sumX += r * x[i]
		}
		if math.Abs(sum) > 1e-9 || math.Abs(sumX) > 1e-8 {
			t.Fatalf("residuals not orthogonal: %v, %v", sum, sumX)
		}
	})
}

func TestStraightRefuses(t *testing.T) {
	nan := math.NaN()
	for name, test := range map[string]struct {
		x, y, u []float64
		want    error
	}{
		"none":            {nil, nil, nil, ErrTooFew},
		"two, no u":       {[]float64{0, 1}, []float64{0, 1}, nil, ErrTooFew},
		"one place":       {[]float64{7, 7, 7}, []float64{0, 1, 2}, nil, ErrNoSpread},
		"one place, far":  {[]float64{0.1 + 1e9, 0.1 + 1e9, 0.1 + 1e9}, []float64{0, 1, 2}, nil, ErrNoSpread},
		"NaN in x":        {[]float64{0, nan, 2}, []float64{0, 1, 2}, nil, ErrNotFinite},
		"NaN in y":        {[]float64{0, 1, 2}, []float64{0, nan, 2}, nil, ErrNotFinite},
		"infinite":        {[]float64{0, 1, math.Inf(1)}, []float64{0, 1, 2}, nil, ErrNotFinite},
		"overflow":        {[]float64{0, 1, 2}, []float64{0, 1e200, 2}, nil, ErrNotFinite},
		"zero u":          {[]float64{0, 1, 2}, []float64{0, 1, 2}, []float64{1, 0, 1}, ErrUncertainty},
		"NaN u":           {[]float64{0, 1, 2}, []float64{0, 1, 2}, []float64{1, nan, 1}, ErrUncertainty},
		"negative u":      {[]float64{0, 1, 2}, []float64{0, 1, 2}, []float64{1, -1, 1}, ErrUncertainty},
		"two with u good": {[]float64{0, 1}, []float64{0, 1}, []float64{1, 1}, nil},
	} {
		if _, err := FitStraight(test.x, test.y, test.u); !errors.Is(err, test.want) {
			t.Errorf("%s: got %v, want %v", name, err, test.want)
		}
	}
}
