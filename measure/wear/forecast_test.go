package wear_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func inspections(x, y []float64) []wear.Inspection {
	ins := make([]wear.Inspection, len(x))
	for i := range x {
		ins[i] = wear.Inspection{Distance: x[i], Growth: exact(y[i])}
	}
	return ins
}

// Certified values of NIST StRD Norris, seen and re-computed; the figures at
// x = 500 are derived from them.
func TestTrendNorris(t *testing.T) {
	tr := must[wear.Trend](t)(wear.FitTrend(inspections(norrisX, norrisY), 0, "km"))
	const digits = 1e-12 // relative: certified to 15, and the fit loses about 2
	near(t, "intercept", tr.RunningIn.Value, -0.262323073774029, 1e-11)
	near(t, "s of intercept", tr.RunningIn.U, 0.232818234301152, digits)
	near(t, "slope", tr.Slope.Value, 1.00211681802045, digits)
	near(t, "s of slope", tr.Slope.U, 0.000429796848199937, digits)
	near(t, "residual s", tr.Scatter, 0.884796396144373, digits)
	near(t, "residual sum of squares", tr.Scatter*tr.Scatter*tr.DF, 26.6173985294224, 1e-10)
	near(t, "F", math.Pow(tr.Slope.Value/tr.Slope.U, 2), 5436385.54079785, 1e-4)
	line, inspection, err := tr.At(500)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "fit at 500", line.Value, 500.796086, 5e-7)
	near(t, "mean, lower", line.Lower, 500.488196, 5e-7)
	near(t, "mean, upper", line.Upper, 501.103975, 5e-7)
	near(t, "prediction, lower", inspection.Lower, 498.971794, 5e-7)
	near(t, "prediction, upper", inspection.Upper, 502.620378, 5e-7)
	// Going back: the limit that the fit shows at 500 is met at 500.
	f := must[wear.Forecast](t)(tr.Meets(line.Value))
	near(t, "met at", f.At.Value, 500, 1e-9)
}

// Ezekiel's stopping distances (data seen, results from memory and
// re-computed).
func TestTrendCars(t *testing.T) {
	tr := must[wear.Trend](t)(wear.FitTrend(inspections(carSpeed, carDist), 0, "mph"))
	near(t, "slope", tr.Slope.Value, 3.932409, 5e-7)
	near(t, "s of slope", tr.Slope.U, 0.415513, 5e-7)
	near(t, "intercept", tr.RunningIn.Value, -17.579095, 5e-7)
	near(t, "s of intercept", tr.RunningIn.U, 6.758440, 5e-7)
	near(t, "s", tr.Scatter, 15.37959, 5e-6)
	near(t, "degrees of freedom", tr.DF, 48, 0)
	line, inspection, err := tr.At(10)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "fit", line.Value, 21.74499, 5e-6)
	near(t, "mean, lower", line.Lower, 15.46192, 5e-6)
	near(t, "mean, upper", line.Upper, 28.02807, 5e-6)
	near(t, "prediction, lower", inspection.Lower, -9.809601, 5e-7)
	near(t, "prediction, upper", inspection.Upper, 53.29959, 5e-6)
}

// At the ends of a forecast the limit lies just on the prediction interval.
func TestMeetsInvertsThePrediction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "inspections")
		ins := make([]wear.Inspection, n)
		for i := range ins {
			x := 1000 * float64(i+1)
			noise := rapid.Float64Range(-0.01, 0.01).Draw(t, "noise")
			ins[i] = wear.Inspection{Distance: x, Growth: exact(0.02 + 2e-5*x + noise)}
		}
		tr, err := wear.FitTrend(ins, 0, "km")
		if err != nil {
			t.Fatal(err)
		}
		limit := rapid.Float64Range(0.05, 1).Draw(t, "limit")
		f, err := tr.Meets(limit)
		if errors.Is(err, wear.ErrNoTrend) {
			t.Skip("noise hides the slope")
		}
		if err != nil {
			t.Fatal(err)
		}
		_, low, err1 := tr.At(f.At.Lower)
		_, high, err2 := tr.At(f.At.Upper)
		if err1 != nil || err2 != nil {
			t.Skip("bounds beyond use")
		}
		// Both bounds come from a quadratic whose roots lose digits when its
		// leading term is nearly nothing; the width of the interval is the
		// scale to judge by.
		tol := 1e-6 * (high.Upper - high.Lower + math.Abs(limit))
		if math.Abs(low.Upper-limit) > tol || math.Abs(high.Lower-limit) > tol {
			t.Fatalf("limit %g: prediction ends at %g and %g", limit, low.Upper, high.Lower)
		}
		if !(f.At.Lower <= f.At.Value && f.At.Value <= f.At.Upper) {
			t.Fatalf("%g outside %g to %g", f.At.Value, f.At.Lower, f.At.Upper)
		}
		if left := f.At.Value - tr.Last; f.Left.Value != left {
			t.Fatalf("left %g, want %g", f.Left.Value, left)
		}
	})
}

// The prediction interval covers as often as it says: the limit is what one
// more inspection at a known distance shows. 4000 trials, four standard
// deviations.
func TestMeetsCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const trials, a, b, s, at = 4000, 0.03, 1.2e-5, 0.01, 60000.0
	covered := 0
	for range trials {
		var ins []wear.Inspection
		for x := 5000.0; x <= 45000; x += 8000 {
			ins = append(ins, wear.Inspection{Distance: x, Growth: exact(a + b*x + s*rng.NormFloat64())})
		}
		tr, err := wear.FitTrend(ins, 0, "km")
		if err != nil {
			t.Fatal(err)
		}
		f, err := tr.Meets(a + b*at + s*rng.NormFloat64())
		if err != nil {
			t.Fatal(err)
		}
		if f.At.Lower <= at && at <= f.At.Upper {
			covered++
		}
	}
	near(t, "coverage %", 100*float64(covered)/trials, 95, 4*0.345)
}

func TestTrendKeepsRunningInApart(t *testing.T) {
	// 0.04 mm in the first 500 km, then 1e-6 mm a km.
	ins := []wear.Inspection{
		{Distance: 0, Growth: exact(0)},
		{Distance: 300, Growth: exact(0.03)},
		{Distance: 10000, Growth: exact(0.05)},
		{Distance: 20000, Growth: exact(0.06)},
		{Distance: 30000, Growth: exact(0.07)},
	}
	tr := must[wear.Trend](t)(wear.FitTrend(ins, 500, "km"))
	near(t, "used", float64(tr.Used), 3, 0)
	near(t, "running-in", tr.RunningIn.Value, 0.04, 1e-12)
	near(t, "slope", tr.Slope.Value, 1e-6, 1e-15)
	if tr.Slope.Unit != "mm/km" {
		t.Errorf("slope in %q", tr.Slope.Unit)
	}
	f := must[wear.Forecast](t)(tr.Meets(0.1))
	near(t, "met at", f.At.Value, 60000, 1e-6)
	near(t, "left", f.Left.Value, 30000, 1e-6)
}

// Three inspections on a line by luck are no better than they were measured.
func TestTrendTrustsNoLuckyLine(t *testing.T) {
	var ins []wear.Inspection
	for _, x := range []float64{10000, 20000, 30000} {
		ins = append(ins, wear.Inspection{Distance: x, Growth: mm(x*1e-5, 0.004, "edges")})
	}
	tr := must[wear.Trend](t)(wear.FitTrend(ins, 0, "km"))
	near(t, "scatter", tr.Scatter, 0.004, 1e-12)
}

func TestForecastRefuses(t *testing.T) {
	line := inspections([]float64{1, 2, 3}, []float64{1, 2, 3})
	for name, err := range map[string]error{
		"none":             second(wear.FitTrend(nil, 0, "km")),
		"two":              second(wear.FitTrend(line[:2], 0, "km")),
		"three, one early": second(wear.FitTrend(line, 1, "km")),
		"two distances":    second(wear.FitTrend(inspections([]float64{1, 2, 2}, []float64{1, 2, 3}), 0, "km")),
		"mixed units":      second(wear.FitTrend([]wear.Inspection{line[0], line[1], {Distance: 3, Growth: percent(1)}}, 0, "km")),
		"not a number":     second(wear.FitTrend(inspections([]float64{1, 2, math.NaN()}, []float64{1, 2, 3}), 0, "km")),
		"negative":         second(wear.FitTrend(inspections([]float64{-1, 1, 2, 3}, []float64{1, 1, 2, 3}), 0, "km")),
	} {
		if err == nil {
			t.Errorf("%s accepted", name)
		}
	}
	for name, y := range map[string][]float64{"flat": {1, 1, 1}, "falling": {3, 2, 1}, "scattered": {1, 3, 2}} {
		tr, err := wear.FitTrend(inspections([]float64{1, 2, 3}, y), 0, "km")
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if f, err := tr.Meets(5); !errors.Is(err, wear.ErrNoTrend) {
			t.Errorf("%s: forecast %v, %v", name, f, err)
		}
	}
}

func ExampleTrend_Meets() {
	var ins []wear.Inspection
	for _, r := range [][2]float64{{30000, 0.31}, {60000, 0.50}, {90000, 0.74}, {120000, 0.93}} {
		ins = append(ins, wear.Inspection{Distance: r[0], Growth: uncert.Combine(r[1], "%", uncert.Budget{{Name: "scale", U: 0.01}})})
	}
	trend, err := wear.FitTrend(ins, 1000, "km")
	if err != nil {
		panic(err)
	}
	f, err := trend.Meets(1.5)
	if err != nil {
		panic(err)
	}
	fmt.Printf("1.5 %% at %.0f km, from %.0f to %.0f km\n", f.At.Value, f.At.Lower, f.At.Upper)
	// Output: 1.5 % at 200714 km, from 181806 to 225013 km
}
