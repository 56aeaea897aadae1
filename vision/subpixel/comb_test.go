package subpixel

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// markProfile is the light across a mark at center, samples one pixel apart
// from -half to half, with even noise.
func markProfile(shape MarkShape, center, height, slope, noise float64, half int, rng *rand.Rand) []Sample {
	var y []Sample
	for i := -half; i <= half; i++ {
		t, _, _, _ := shape.At(float64(i) - center)
		y = append(y, Sample{At: float64(i), Light: 0.6 + slope*float64(i) + height*t + noise*rng.NormFloat64(), Pixels: 1})
	}
	return y
}

func TestMarkShapeDerivatives(t *testing.T) {
	const h = 1e-3 // of the order that suits the edge table's cells
	for _, m := range []MarkShape{{Width: 4, Blur: 1.2}, {Width: 1.5, Blur: 0.7}, {Width: 14, Blur: 3}} {
		for d := -12.0; d <= 12; d += 0.37 {
			_, byD, byW, byB := m.At(d)
			slope := func(a, b float64) float64 { return (b - a) / (2 * h) }
			value := func(m MarkShape, d float64) float64 { v, _, _, _ := m.At(d); return v }
			for _, c := range []struct {
				name      string
				got, want float64
			}{
				{"distance", byD, slope(value(m, d-h), value(m, d+h))},
				{"width", byW, slope(value(MarkShape{Width: m.Width - h, Blur: m.Blur}, d), value(MarkShape{Width: m.Width + h, Blur: m.Blur}, d))},
				{"blur", byB, slope(value(MarkShape{Width: m.Width, Blur: m.Blur - h}, d), value(MarkShape{Width: m.Width, Blur: m.Blur + h}, d))},
			} {
				// The table is straight between cells 0.003 blurs wide.
				if math.Abs(c.got-c.want) > 2e-3 {
					t.Errorf("%+v at %g: derivative by %s %g, want %g", m, d, c.name, c.got, c.want)
				}
			}
		}
	}
}

// TestFitMarkBound holds the scatter of the centre against the Cramer-Rao
// bound of the model with its free slope, and the stated uncertainty against
// the scatter.
func TestFitMarkBound(t *testing.T) {
	const (
		trials = 1500
		noise  = 0.02
		height = -0.4 // contrast over noise 20
		half   = 11
	)
	for _, shape := range []MarkShape{{Width: 4, Blur: 1.2}, {Width: 2, Blur: 0.9}, {Width: 10, Blur: 2}} {
		rng := rand.New(rand.NewPCG(4, uint64(100*shape.Width)))
		// Of the four parameters only the slope moves with the centre: both
		// are odd.
		var cc, cs, ss float64
		for i := -half; i <= half; i++ {
			d := float64(i)
			c := height * (math.Exp(-sq((d+shape.Width/2)/shape.Blur)/2) - math.Exp(-sq((d-shape.Width/2)/shape.Blur)/2)) / shape.Blur / math.Sqrt(2*math.Pi)
			cc += c * c
			cs += c * d
			ss += d * d
		}
		bound := noise / math.Sqrt(cc-cs*cs/ss)
		var sum, square, u float64
		for range trials {
			center := rng.Float64() - 0.5
			m, err := FitMark(markProfile(shape, center, height, 0.001, noise, half, rng), 0, shape)
			if err != nil {
				t.Fatal(err)
			}
			sum += m.Center - center
			square += sq(m.Center - center)
			u += m.U * m.U
		}
		mean, sd := sum/trials, math.Sqrt(square/trials)
		// The sd of trials trials is known to 1/sqrt(2 trials) = 1.8 %; the
		// centre's place between the samples moves the bound by about 3 %.
		if sd > 1.08*bound || sd < 0.92*bound {
			t.Errorf("%+v: centres scatter by %.5f px, bound %.5f", shape, sd, bound)
		}
		if math.Abs(mean) > 4*sd/math.Sqrt(trials) {
			t.Errorf("%+v: centres are off by %.5f px on average", shape, mean)
		}
		if got := math.Sqrt(u / trials); got > 1.08*sd || got < 0.92*sd {
			t.Errorf("%+v: stated uncertainty %.5f, scatter %.5f", shape, got, sd)
		}
	}
}

func sq(x float64) float64 { return x * x }

func TestFitMarkErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	shape := MarkShape{Width: 4, Blur: 1}
	full := markProfile(shape, 0, -0.4, 0, 0, 10, rng)
	flat := make([]Sample, 21)
	for i := range flat {
		flat[i] = Sample{At: float64(i - 10), Light: 0.5, Pixels: 1}
	}
	for name, y := range map[string][]Sample{"short": full[:5], "none": nil, "flat": flat} {
		if m, err := FitMark(y, 0, shape); !errors.Is(err, ErrNoMark) {
			t.Errorf("%s: got %+v, %v, want %v", name, m, err, ErrNoMark)
		}
	}
}

func TestFitShape(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, want := range []MarkShape{{Width: 4, Blur: 1.2}, {Width: 2.4, Blur: 0.55}, {Width: 11, Blur: 0.8}, {Width: 6, Blur: 2.2}} {
		var profiles [][]Sample
		var starts []float64
		for range 16 {
			center := rng.Float64() - 0.5
			profiles = append(profiles, markProfile(want, center, -0.4, 0, 0.004, 12, rng))
			starts = append(starts, 0)
		}
		// The width at half depth, as a search sees it, a pixel out.
		guess := GuessShape(profiles, starts, math.Hypot(want.Width, 1.5*want.Blur)+1)
		got := FitShape(profiles, starts, guess)
		if math.Abs(got.Width-want.Width) > 0.05*want.Width || math.Abs(got.Blur-want.Blur) > 0.05*want.Blur {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
}

// TestFitComb holds the period against the variance of a straight line through
// n even points,
//
//	var(period) = 12 var(x) / (n (n^2-1))
//
// which the slant, being even about the middle, leaves as it is.
func TestFitComb(t *testing.T) {
	const (
		trials = 600
		n      = 40
		sigma  = 0.05
	)
	rng := rand.New(rand.NewPCG(3, 9))
	bound := sigma * math.Sqrt(12.0/(n*(n*n-1)))
	var square, u float64
	for range trials {
		k, x, us := comb(n, 25, 0, sigma, rng)
		c, err := FitComb(k, x, us)
		if err != nil {
			t.Fatal(err)
		}
		square += sq(c.Period - 25)
		u += sq(c.UPeriod)
	}
	sd := math.Sqrt(square / trials)
	// 600 trials: 2.9 %; dropping the rare mark beyond 4 sd costs under 1 %.
	if sd > 1.1*bound || sd < 0.9*bound {
		t.Errorf("periods scatter by %.2g, bound %.2g", sd, bound)
	}
	// The uncertainty only ever widens: by the chance excess and by residuals
	// that happen to look alike.
	if got := math.Sqrt(u / trials); got < sd*0.95 || got > 1.35*sd {
		t.Errorf("stated uncertainty %.2g, scatter %.2g", got, sd)
	}
}

func comb(n int, period, slant, sigma float64, rng *rand.Rand) (k []int, x, u []float64) {
	for i := range n {
		t := float64(i) - float64(n-1)/2
		k = append(k, i+3)
		x = append(x, 500+period*t/(1+slant*t)+sigma*rng.NormFloat64())
		u = append(u, sigma)
	}
	return k, x, u
}

func TestFitCombSlant(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	// 5 % change from end to end, no noise: the law must be met exactly.
	const slant = -0.05 / 2 / 60
	k, x, _ := comb(61, 14, slant, 0, rng)
	u := make([]float64, len(x))
	for i := range u {
		u[i] = 0.01
	}
	c, err := FitComb(k, x, u)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Period-14) > 1e-6 || math.Abs(c.Slant-slant) > 1e-9 || c.RMS > 1e-6 || c.N != 61 {
		t.Errorf("got %+v", c)
	}
	if got := c.Change(3, 63); math.Abs(got-0.05) > 1e-6 {
		t.Errorf("change end to end %g, want 0.05", got)
	}
}

func TestFitCombDropsWrongMarks(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	for trial := range 50 {
		k, x, u := comb(30, 20, 2e-4, 0.02, rng)
		wrong := map[int]bool{}
		for range 9 {
			i := rng.IntN(len(x))
			wrong[i] = true
			x[i] += (0.5 + 3*rng.Float64()) * float64(1-2*rng.IntN(2))
		}
		c, err := FitComb(k, x, u)
		if err != nil {
			t.Fatal(err)
		}
		for i := range x {
			// A mark moved twice may have come back.
			if off := math.Abs(x[i] - (500 + 20*(float64(i)-14.5)/(1+2e-4*(float64(i)-14.5)))); wrong[i] && off > 0.3 && c.Used[i] {
				t.Errorf("trial %d: mark off by %.2f px was used", trial, off)
			}
		}
		if d := math.Abs(c.Period - 20/sq(1+2e-4*(c.KMid-17.5))); d > 4*c.UPeriod {
			t.Errorf("trial %d: period %.5f off by %.5f, u %.5f", trial, c.Period, d, c.UPeriod)
		}
	}
}

func TestFitCombFewMarks(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	for n := 5; n < 12; n++ {
		k, x, u := comb(n, 30, 0, 0.01, rng)
		c, err := FitComb(k, x, u)
		if err != nil || c.N != n || math.Abs(c.Period-30) > 0.02 {
			t.Errorf("%d marks: %+v, %v", n, c, err)
		}
	}
}

func TestFitCombErrors(t *testing.T) {
	u := []float64{1, 1, 1, 1, 1}
	for name, c := range map[string]struct {
		k []int
		x []float64
	}{
		"four marks":    {[]int{0, 1, 2, 3}, []float64{0, 10, 20, 30}},
		"falling":       {[]int{0, 1, 2, 3, 4}, []float64{40, 30, 20, 10, 0}},
		"all one place": {[]int{0, 1, 2, 3, 4}, []float64{5, 5, 5, 5, 5}},
	} {
		if got, err := FitComb(c.k, c.x, u[:len(c.k)]); !errors.Is(err, ErrNoComb) {
			t.Errorf("%s: got %+v, %v, want %v", name, got, err, ErrNoComb)
		}
	}
}

// A lens that bends the row leaves the marks as sharp as they were: Excess has
// the bend, Rough has not. With 61 marks a ratio scatters by 0.09, three times.
func TestFitCombBentByALens(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	var k []int
	var x, u []float64
	for i := range 61 {
		s := 12 * float64(i-30)
		k, u = append(k, i), append(u, 0.02)
		x = append(x, 800+s*(1+2e-8*s*s)+0.02*rng.NormFloat64())
	}
	c, err := FitComb(k, x, u)
	if err != nil {
		t.Fatal(err)
	}
	if c.Excess < 3 || math.Abs(c.Rough-1) > 0.27 {
		t.Errorf("excess %.2f, rough %.2f, want more than 3 and 1", c.Excess, c.Rough)
	}
}
