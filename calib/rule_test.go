package calib

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

func rad(deg float64) float64 { return deg * math.Pi / 180 }

// The slant of a camera tilted by t at distance D is h = sin t/D in px of the
// photo's middle; here it is read from marks without noise.
func TestGradientOfTiltedCamera(t *testing.T) {
	for _, azimuth := range []float64{0, 30, 90, 135, 200, 300} {
		for _, turn := range []float64{0, 25, 140, -70} {
			c := bench
			c.tilt, c.azimuth = rad(1.5), rad(azimuth)
			l := tenths
			l.angle, l.middle = rad(turn), c.centre()
			l.placeU, l.angleU = 1e-4, 1e-6
			got, err := FromRule(c.marksOf(l, nil), 0.1, photo)
			if err != nil {
				t.Fatal(err)
			}
			// Depth grows across the tilt axis by tan(tilt)/distance per mm,
			// the magnification falls with it: 1 + h.p with h = -that in
			// terms of X = M p/(1 + h.p).
			_, off := axes(c.azimuth)
			want := r2.Scale(-math.Tan(c.tilt)*c.mmPerPx/c.distance, off)
			h := got.Scale.slant()
			if miss := r2.Norm(r2.Sub(h, want)); miss > 0.01*r2.Norm(want) {
				t.Errorf("azimuth %g, rule at %g: slant %g, want %g", azimuth, turn, h, want)
			}
		}
	}
}

// A rule 500 px below the joint, camera tilted by 1.5 degrees.
func TestScaleAtJointUnderTilt(t *testing.T) {
	random := newRand(5)
	worst := 0.0
	for azimuth := 0.0; azimuth < 360; azimuth += 30 {
		c := bench
		c.tilt, c.azimuth = rad(1.5), rad(azimuth)
		joint := r2.Vec{X: 800, Y: 600}
		got, err := FromRule(c.marksOf(tenths, random), 0.1, photo)
		if err != nil {
			t.Fatal(err)
		}
		at, truth := got.Scale.At(joint), c.pixel(joint)
		z := (at.Value - truth) / at.U
		worst = max(worst, math.Abs(z))
		if math.Abs(z) > 3 {
			t.Errorf("azimuth %g: %v, true %.8f: %.1f standard uncertainties", azimuth, at, truth, z)
		}
		if at.U/at.Value > 4e-4 {
			t.Errorf("azimuth %g: relative uncertainty %.2g, more than the tilt correction is worth", azimuth, at.U/at.Value)
		}
		if naive := math.Abs(got.Scale.MMPerPx.Value-truth) / truth; azimuth == 0 && naive < 5e-4 {
			t.Errorf("without the gradient the error is only %.2g: the test shows nothing", naive)
		}
	}
	t.Logf("largest error %.2f standard uncertainties", worst)
}

// Marks that grain and print turn more and more along the rule look like a camera
// that leans across it. One that leans not at all along it seldom does, so that the
// scale at the joint is true within one and a half times its interval all the same.
func TestMarksTurnedByGrain(t *testing.T) {
	c := bench
	c.tilt = 0
	rule := c.marksOf(tenths, newRand(2))
	middle := float64(rule.Ticks[len(rule.Ticks)/2].K)
	for i := range rule.Ticks {
		rule.Ticks[i].AngleRad += 4e-5 * (float64(rule.Ticks[i].K) - middle)
	}
	got, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	joint := r2.Vec{X: 800, Y: 600}
	at, truth := got.Scale.At(joint), c.pixel(joint)
	off := (at.Value - truth) / at.U
	if math.Abs(off) > 3 {
		t.Errorf("%v, true %.8f: %.1f standard uncertainties", at, truth, off)
	}
	if naive := math.Abs(at.Value-truth) / truth; naive < 1e-3 {
		t.Errorf("off by %.2g only: the test shows nothing", naive)
	}
	t.Logf("off by %.2g, %.1f standard uncertainties", (at.Value-truth)/truth, off)
}

// Over many cameras, rules and readings the truth must lie in the 95 %
// interval 93 to 97 times of a hundred (2000 draws have a standard deviation
// of 0.5 points about 95).
func TestCoverage(t *testing.T) {
	const draws = 2000
	for _, c := range []struct {
		name        string
		marks       int
		tilt        float64 // standard deviation about each axis
		bend        float64 // of the lens, standard deviation
		correlation float64 // of the errors of neighbouring marks
		o           Options
	}{
		// A bench where tilts of half a degree are usual, and a good lens:
		// 0.015 % in the corner.
		{"long rule", 61, rad(0.5), 1.5e-10, 0, photo},
		{"marks that err together", 61, rad(0.5), 1.5e-10, 0.5, photo},
		// Ten marks tell next to nothing of tilt and lens, so these are drawn
		// as Options assumes them.
		{"short rule", 11, squareWithin / math.Sqrt(3), photo.assumedDistortion(), 0, Options{W: 1600, H: 1200, WorkingDistance: 110}},
	} {
		t.Run(c.name, func(t *testing.T) {
			random := newRand(11)
			inside := map[string]int{}
			count := func(what string, q uncert.Quantity, truth float64) {
				if q.Lower <= truth && truth <= q.Upper {
					inside[what]++
				}
			}
			for range draws {
				seen := bench
				x, y := c.tilt*random.NormFloat64(), c.tilt*random.NormFloat64()
				seen.tilt, seen.azimuth = math.Hypot(x, y), math.Atan2(y, x)
				seen.bend = c.bend * random.NormFloat64()
				l := tenths
				l.marks, l.correlation = c.marks, c.correlation
				l.angle = rad(4) * random.NormFloat64()
				l.middle = r2.Vec{X: 800 + 50*random.NormFloat64(), Y: 1080}
				l.division *= 1 + relativeTolerance*random.NormFloat64()
				got, err := FromRule(seen.marksOf(l, random), 0.1, c.o)
				if err != nil {
					t.Fatal(err)
				}
				s := got.Scale
				joint, a, b := r2.Vec{X: 800, Y: 600}, r2.Vec{X: 400, Y: 500}, r2.Vec{X: 1200, Y: 700}
				count("a diameter at the joint", s.At(joint), seen.pixel(joint))
				count("a diameter at the rule", s.At(s.Origin), seen.pixel(s.Origin))
				count("a distance over the photo", s.Distance(a, b, 0), seen.distanceOf(a, b))
			}
			for what, n := range inside {
				share := float64(n) / draws
				t.Logf("%s: %.2f %% of the 95 %% intervals hold the truth", what, 100*share)
				if share < 0.93 || share > 0.97 {
					t.Errorf("%s: coverage %.4f, want 0.93 to 0.97", what, share)
				}
			}
		})
	}
}

func TestRuleChecks(t *testing.T) {
	tilted := func(deg float64) camera {
		c := bench
		c.tilt, c.azimuth, c.distance = rad(deg), rad(90), 60
		return c
	}
	cut := func(l ruleInPlane, n int) ruleInPlane { l.marks = n; return l }
	for _, c := range []struct {
		name    string
		rule    geom.Rule
		refused string // the check that fails, "" for none
		words   []string
	}{
		{"good", bench.marksOf(tenths, newRand(1)), "", nil},
		{"eight marks", bench.marksOf(cut(tenths, 8), newRand(1)), "", nil},
		{"seven marks", bench.marksOf(cut(tenths, 7), newRand(1)), "rule_marks", []string{"7 marks", "fewer than 8"}},
		{"no marks", geom.Rule{}, "rule_marks", []string{"0 marks"}},
		{"most covered", withExpected(bench.marksOf(tenths, newRand(1)), 140), "rule_marks_share", []string{"0.44", "0.50"}},
		{"ragged", bench.marksOf(ruleInPlane{middle: tenths.middle, division: 0.1, marks: 61, placeU: 2, angleU: 0.05}, newRand(1)), "rule_residual_px", []string{"1 px"}},
		{"tilt of 10 degrees", tilted(10).marksOf(tenths, newRand(1)), "", nil},
		{"tilt of 40 degrees", tilted(40).marksOf(tenths, newRand(1)), "tilt", []string{"slant", "0.05"}},
	} {
		got, err := FromRule(c.rule, 0.1, photo)
		if c.refused == "" {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			for _, k := range got.Checks {
				if !k.OK {
					t.Errorf("%s: check %+v failed without a refusal", c.name, k)
				}
			}
			continue
		}
		refusedAs(t, err, check.ScaleUnclear, c.words...)
		if last := got.Checks[len(got.Checks)-1]; last.Name != c.refused || last.OK {
			t.Errorf("%s: last check %+v, want a failed %s", c.name, last, c.refused)
		}
		if got.Scale.MMPerPx.Value != 0 {
			t.Errorf("%s: refused, yet a scale %+v", c.name, got.Scale)
		}
	}
}

func TestDivisionToleranceCountsAndCanRefuse(t *testing.T) {
	rule := bench.marksOf(tenths, newRand(1)) // 6 mm
	o := photo
	o.Tolerance = 0.006
	got, err := FromRule(rule, 0.1, o)
	if err != nil {
		t.Fatal(err)
	}
	if u := got.Scale.MMPerPx.U / got.Scale.MMPerPx.Value; !near(u, 1e-3, 1e-5) {
		t.Errorf("6 µm over 6 mm: relative uncertainty %g, want 1e-3", u)
	}
	if !slices.ContainsFunc(got.Notes, func(n string) bool { return strings.Contains(n, "0.10 %") }) {
		t.Errorf("no word about it in %q", got.Notes)
	}
	// A class II rule may be 0.5 mm out up to 1 m (2014/32/EU, annex X).
	o.Tolerance = 0.5
	_, err = FromRule(rule, 0.1, o)
	refusedAs(t, err, check.ScaleUnclear, "0.083", "0.01")
}

func TestMarksThatStray(t *testing.T) {
	rule := bench.marksOf(tenths, newRand(9))
	for i, miss := range map[int]float64{0: 3, 10: -2, 11: 1, 40: 0.5, 60: -4} {
		rule.Ticks[i].At.X += miss
	}
	got, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	s := got.Scale
	if s.Marks != 56 {
		t.Errorf("%d marks kept of 56 good ones", s.Marks)
	}
	if z := (s.MMPerPx.Value - 0.006) / s.MMPerPx.Budget[0].U; math.Abs(z) > 3 {
		t.Errorf("%.8f mm/px, %.1f reading uncertainties off", s.MMPerPx.Value, z)
	}
}

// Marks that scatter three times as much as they claim are not believed.
func TestUncertaintyFollowsTheScatter(t *testing.T) {
	l := tenths
	l.placeU = 0.06
	rule := bench.marksOf(l, newRand(9))
	honest, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	for i := range rule.Ticks {
		rule.Ticks[i].U = 0.02
	}
	boast, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	a, b := honest.Scale.MMPerPx.Budget[0].U, boast.Scale.MMPerPx.Budget[0].U
	if ratio := b / a; ratio < 0.7 || ratio > 1.05 {
		t.Errorf("u %g as claimed by honest marks, %g by boasting ones", a, b)
	}
}

// Without the marks' own direction nothing is known across the rule but that it
// leans at most leanRatio times as much as along it, and a lens bent by 1 %
// shows.
func TestWhatIsNotSeen(t *testing.T) {
	rule := bench.marksOf(tenths, newRand(1))
	for i := range rule.Ticks {
		rule.Ticks[i].UAngle = 0
	}
	got, err := FromRule(rule, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	s := got.Scale
	want := leanRatio * math.Hypot(r2.Norm(s.Gradient)/2, s.GradientU.X/2)
	if want > photo.assumedSlant(s.MMPerPx.Value) || math.Abs(s.GradientU.Y-want) > 1e-12*want || s.GradientRead.Y != 0 {
		t.Errorf("gradient across %g, want %g, read to a share of %g", s.GradientU.Y, want, s.GradientRead.Y)
	}
	c := bench
	c.bend = 1e-8
	l := tenths
	l.middle = c.centre()
	got, err = FromRule(c.marksOf(l, newRand(1)), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Notes) != 1 || !strings.Contains(got.Notes[0], "lens") {
		t.Errorf("notes %q, want one about the lens", got.Notes)
	}
	s = got.Scale
	if z := (s.MMPerPx.Value - 0.006) / s.MMPerPx.Budget[0].U; math.Abs(z) > 3 {
		t.Errorf("%.8f mm/px in the middle of the lens, %.1f reading uncertainties off", s.MMPerPx.Value, z)
	}
	if z := (s.Lens.K1 - 1e-8) / s.DistortionU; math.Abs(z) > 3 {
		t.Errorf("bend %g, true 1e-8: %.1f standard uncertainties off", s.Lens.K1, z)
	}
}

func TestOddOrder(t *testing.T) {
	for _, c := range []struct {
		every    int
		division Length
		says     string // "" for nothing
	}{
		{10, 1, ""},
		{5, 1, ""},
		{0, 1, ""},
		{10, 0.01, ""},
		{2, 0.5, ""},
		{10, 0.5, ""},
		{8, Inch / 64, ""},
		{10, Inch / 10, ""},
		{3, 0.3, ""}, // no habit known
		{2, 1, "2nd mark of the rule is long, as on a half-millimetre rule; for a division of 1mm it should be every 5 or 10"},
		{16, 1, "inch rule"},
		{5, 0.5, "decimal rule"},
		{10, Inch / 32, "decimal rule"},
	} {
		got := oddOrder(c.every, c.division)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("every %d at %v: %q, want %q", c.every, c.division, got, c.says)
		}
	}
}

func TestRuleRefusesNonsense(t *testing.T) {
	good := bench.marksOf(tenths, newRand(1))
	for _, c := range []struct {
		division Length
		o        Options
	}{
		{0, photo},
		{-1, photo},
		{Length(math.NaN()), photo},
		{Length(math.Inf(1)), photo},
		{0.1, Options{}},
		{0.1, Options{W: 1600, H: 1200, Tolerance: -1}},
		{0.1, Options{W: 1600, H: 1200, WorkingDistance: Length(math.NaN())}},
	} {
		if got, err := FromRule(good, c.division, c.o); err == nil {
			t.Errorf("division %v, %+v: scale %v", c.division, c.o, got.Scale.MMPerPx)
		}
	}
	for name, spoil := range map[string]func(*geom.Tick){
		"nan":          func(m *geom.Tick) { m.At.X = math.NaN() },
		"infinite":     func(m *geom.Tick) { m.At.Y = math.Inf(-1) },
		"far":          func(m *geom.Tick) { m.At.Y = 1e300 },
		"exact":        func(m *geom.Tick) { m.U = 0 },
		"number":       func(m *geom.Tick) { m.K = math.MaxInt },
		"same number":  func(m *geom.Tick) { m.K = 1 },
		"same place":   func(m *geom.Tick) { m.At = r2.Vec{X: 5, Y: 5} },
		"vague":        func(m *geom.Tick) { m.U = math.NaN() },
		"other places": func(m *geom.Tick) { m.At.X = math.Mod(m.At.X*7919, 1600) },
	} {
		rule := bench.marksOf(tenths, newRand(1))
		for i := range rule.Ticks {
			spoil(&rule.Ticks[i])
		}
		_, err := FromRule(rule, 0.1, photo)
		t.Log(name, err)
		refusedAs(t, err, check.ScaleUnclear)
	}
}

// Whatever the marks are, the answer is a sound scale or a refusal.
func TestAnyMarks(t *testing.T) {
	scales := 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 30).Draw(t, "n")
		figure := rapid.OneOf(rapid.Float64Range(0, 40), rapid.Float64Range(0, 1), rapid.Just(0.0), rapid.Just(1e-300), rapid.Just(math.MaxFloat64), rapid.Just(math.NaN()), rapid.Just(math.Inf(-1)))
		rule := geom.Rule{Expected: rapid.IntRange(-5, 40).Draw(t, "expected"), LongEvery: rapid.IntRange(-1, 20).Draw(t, "long")}
		length := func(usual float64, name string) Length {
			return Length(rapid.OneOf(rapid.Just(usual), rapid.Just(usual), rapid.Just(usual), figure).Draw(t, name))
		}
		wild := rapid.IntRange(0, 3).Draw(t, "wild marks")
		for i := range n {
			m := geom.Tick{K: i, At: r2.Vec{X: 20 * float64(i), Y: 7}, U: 0.02, AngleRad: 1.5, UAngle: 1e-3}
			if i%4 < wild {
				m = geom.Tick{
					K:  rapid.IntRange(-40, 40).Draw(t, "k"),
					At: r2.Vec{X: figure.Draw(t, "x"), Y: figure.Draw(t, "y")}, U: figure.Draw(t, "u"),
					AngleRad: figure.Draw(t, "angle"), UAngle: figure.Draw(t, "angle u"),
				}
			}
			rule.Ticks = append(rule.Ticks, m)
		}
		o := Options{W: 1600, H: 1200, WorkingDistance: length(0, "distance"), Tolerance: length(0, "tolerance")}
		got, err := FromRule(rule, length(0.5, "division"), o)
		if err != nil {
			return
		}
		scales++
		if err := got.Scale.sound(); err != nil {
			t.Fatalf("%+v: %v", got.Scale, err)
		}
	})
	t.Logf("%d scales", scales)
}

func withExpected(r geom.Rule, n int) geom.Rule { r.Expected = n; return r }

func ExampleFromRule() {
	// Sixteen marks 16.5 px apart, every fourth long, said to be millimetres.
	rule := geom.Rule{LongEvery: 4}
	for k := range 16 {
		rule.Ticks = append(rule.Ticks, geom.Tick{
			K: k, At: r2.Vec{X: 200 + 16.5*float64(k), Y: 900}, U: 0.02, AngleRad: math.Pi / 2, UAngle: 1e-3,
		})
	}
	reading, err := FromRule(rule, 1, Options{W: 1600, H: 1200})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(reading.Scale.MMPerPx)
	for _, c := range reading.Checks {
		fmt.Printf("%s %.4f (limit %g)\n", c.Name, c.Value, c.Limit)
	}
	for _, n := range reading.Notes {
		fmt.Println(n)
	}
	// Output:
	// 0.0606061 mm/px (u 0.0000073, 95 % from 0.0605917 to 0.0606204)
	// rule_marks 16.0000 (limit 8)
	// rule_marks_share 1.0000 (limit 0.5)
	// rule_residual_px 0.0000 (limit 1)
	// tilt 0.0000 (limit 0.05)
	// scale_uncertainty 0.0001 (limit 0.01)
	// every 4th mark of the rule is long, as on an inch rule; for a division of 1mm it should be every 5 or 10: check the stated division
	// only 16 marks of the rule were read; 20 or more make a better scale
}
