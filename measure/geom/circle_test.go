package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// rim returns n points spread evenly over an arc, with noise sd across the
// edge, which is stated as their uncertainty.
func rim(rnd *rand.Rand, c Circle, from, to float64, n int, sd float64) []EdgePoint {
	pts := make([]EdgePoint, n)
	for i := range pts {
		// The middles of n equal parts; all round, they are equally spaced.
		a := from + (to-from)*(float64(i)+0.5)/float64(n)
		sin, cos := math.Sincos(a)
		normal := r2.Vec{X: cos, Y: sin}
		pts[i] = EdgePoint{
			At:     r2.Add(c.PointAt(a), r2.Scale(sd*rnd.NormFloat64(), normal)),
			Normal: normal,
			U:      sd,
		}
	}
	return pts
}

func fixed() *rand.Rand { return rand.New(rand.NewPCG(7, 11)) }

// The covariance of an evenly covered arc of half-angle h (check-values, 6.2):
// with c1 = sin h/h and c2 = 1/2 + sin 2h/(4h), N/s^2 times the variance is
// c2/(c2 - c1^2) for the radius, 1/(c2 - c1^2) for the centre along the
// bisector and 1/(1 - c2) across it. The sums over N points differ from these
// integrals by about h^2/(6 N^2) of c1^2, enlarged by c1^2/(c2 - c1^2).
func TestCircleCovarianceOfArcs(t *testing.T) {
	const n, sd = 20000, 0.05
	for _, test := range []struct {
		deg     float64
		radius  float64 // printed variance factor of the radius
		tol     float64 // half of its last digit
		sdScale float64 // printed factor on sd(R) of the full circle, same density
	}{
		{360, 1, 1e-9, 1},
		{270, 1.296, 0.0005, 1.3},
		{180, 5.279, 0.0005, 3.2},
		{120, 30.957, 0.0005, 9.6},
		{90, 105.72, 0.005, 20},
		{60, 568.8, 0.05, 58},
	} {
		h := test.deg / 2 * math.Pi / 180
		c1, c2 := math.Sin(h)/h, 0.5+math.Sin(2*h)/(4*h)
		want := [3]float64{1 / (c2 - c1*c1), 1 / (1 - c2), c2 / (c2 - c1*c1)}
		// Points without noise, so that the factor is that of the geometry.
		pts := rim(fixed(), Circle{Center: r2.Vec{X: 500, Y: 400}, R: 300}, -h, h, n, 0)
		for i := range pts {
			pts[i].U = sd
		}
		c, err := GeometricCircle(pts)
		if err != nil {
			t.Fatal(err)
		}
		for i, what := range []string{"along the bisector", "across it", "radius"} {
			if got := c.Cov[i][i] * n / (sd * sd); math.Abs(got-want[i]) > 1e-6*want[i] {
				t.Errorf("%v deg, %s: variance factor %v, formula %v", test.deg, what, got, want[i])
			}
		}
		if got := c.Cov[2][2] * n / (sd * sd); math.Abs(got-test.radius) > test.tol {
			t.Errorf("%v deg: variance factor of the radius %v, printed %v", test.deg, got, test.radius)
		}
		density := math.Sqrt(c.Cov[2][2] * n / (sd * sd) * 360 / test.deg)
		if math.Abs(density/test.sdScale-1) > 0.03 { // printed with two digits
			t.Errorf("%v deg: sd factor %v, printed %v", test.deg, density, test.sdScale)
		}
	}
}

// Several arcs, same density of points (vision-design, 2.4): factors on the
// standard deviations of the full circle, printed with two digits.
func TestCircleCovarianceOfSeveralArcs(t *testing.T) {
	const sd, perDeg = 0.05, 100
	for _, test := range []struct {
		name                  string
		arcs, deg             float64 // number of arcs, length of each
		radius, along, across string
	}{
		{"two opposite of 60 deg", 2, 60, "1.7", "1.3", "4.2"},
		{"three of 40 deg", 3, 40, "1.7", "1.7", "1.7"},
		{"two opposite of 90 deg", 2, 90, "1.4", "1.1", "2.3"},
	} {
		var pts []EdgePoint
		for k := range int(test.arcs) {
			mid := 2 * math.Pi * float64(k) / test.arcs
			h := test.deg / 2 * math.Pi / 180
			pts = append(pts, rim(fixed(), Circle{R: 300}, mid-h, mid+h, int(test.deg*perDeg), 0)...)
		}
		for i := range pts {
			pts[i].U = sd
		}
		c, err := GeometricCircle(pts)
		if err != nil {
			t.Fatal(err)
		}
		full := sd / math.Sqrt(360*perDeg)
		const source = "vision-design 2.4"
		printed(t, source, test.name+", radius", math.Sqrt(c.Cov[2][2])/full, test.radius)
		printed(t, source, test.name+", along the axis", math.Sqrt(c.Cov[0][0]/2)/full, test.along)
		printed(t, source, test.name+", across the axis", math.Sqrt(c.Cov[1][1]/2)/full, test.across)
	}
}

// check-values, 6.2: s 0.05 px, N 200 gives the centre to 0.0050 px, the
// diameter to 0.0071 px, the clearance of two circles to 0.0100 px.
func TestCircleBounds(t *testing.T) {
	pts := rim(fixed(), Circle{R: 100}, 0, 2*math.Pi, 200, 0)
	for i := range pts {
		pts[i].U = 0.05
	}
	for name, fit := range circleFits {
		c, err := fit(pts)
		if err != nil {
			t.Fatal(err)
		}
		diameter := 2 * math.Sqrt(c.Cov[2][2])
		printed(t, name, "u(x)", math.Sqrt(c.Cov[0][0]), "0.0050")
		printed(t, name, "u(y)", math.Sqrt(c.Cov[1][1]), "0.0050")
		printed(t, name, "u(diameter)", diameter, "0.0071")
		printed(t, name, "u(clearance)", math.Hypot(diameter, diameter), "0.0100")
	}
}

var circleFits = map[string]func([]EdgePoint) (Circle, error){
	"geometric": GeometricCircle,
	"robust":    func(pts []EdgePoint) (Circle, error) { return FitCircle(pts, FitOptions{}) },
}

// The stated covariance is the one that repeated measurement shows. Over 400
// repeats a standard deviation is known to 3.5 %; Tukey's weights cost up to
// 5 % of the variance on top. Four standard errors are allowed.
func TestCircleCovarianceIsTrue(t *testing.T) {
	const repeats = 400
	truth := Circle{Center: r2.Vec{X: 512.3, Y: 380.7}, R: 217.4}
	for _, arc := range []float64{2 * math.Pi, math.Pi} {
		for _, stated := range []bool{true, false} {
			for name, fit := range circleFits {
				rnd := fixed()
				var x, y, r, vx, vy, vr []float64
				for range repeats {
					pts := rim(rnd, truth, 0.3, 0.3+arc, 120, 0.1)
					if !stated {
						for i := range pts {
							pts[i].U = 0
						}
					}
					c, err := fit(pts)
					if err != nil {
						t.Fatal(err)
					}
					x, y, r = append(x, c.Center.X), append(y, c.Center.Y), append(r, c.R)
					vx, vy, vr = append(vx, c.Cov[0][0]), append(vy, c.Cov[1][1]), append(vr, c.Cov[2][2])
				}
				for _, v := range []struct {
					what        string
					got, stated []float64
					truth       float64
				}{{"x", x, vx, truth.Center.X}, {"y", y, vy, truth.Center.Y}, {"R", r, vr, truth.R}} {
					mean, sd := stat.MeanStdDev(v.got, nil)
					claimed := math.Sqrt(stat.Mean(v.stated, nil))
					if ratio := sd / claimed; ratio < 1-4*0.035-0.05 || ratio > 1+4*0.035 {
						t.Errorf("%s, arc %.2f, stated %v, %s: scatters by %v, claims %v", name, arc, stated, v.what, sd, claimed)
					}
					if math.Abs(mean-v.truth) > 4*sd/math.Sqrt(repeats) {
						t.Errorf("%s, arc %.2f, stated %v, %s: mean %v, truth %v", name, arc, stated, v.what, mean, v.truth)
					}
				}
			}
		}
	}
}

// The bias of the geometric fit under noise that acts alike in both
// directions is s^2/(2R) (check-values, 6.2; s 0.05, R 100: 1.25e-5 px). With
// s/R twenty times as large it shows. The next terms are of the order s^2/R/N
// and s^4/R^3, together below 4 % here.
func TestCircleRadiusBias(t *testing.T) {
	const repeats, n, sd, radius = 6000, 100, 0.5, 10.0
	rnd := fixed()
	var off []float64
	for range repeats {
		pts := make([]EdgePoint, n)
		for i := range pts {
			p := Circle{R: radius}.PointAt(2 * math.Pi * float64(i) / n)
			pts[i].At = r2.Add(p, r2.Vec{X: sd * rnd.NormFloat64(), Y: sd * rnd.NormFloat64()})
		}
		c, err := GeometricCircle(pts)
		if err != nil {
			t.Fatal(err)
		}
		off = append(off, c.R-radius)
	}
	mean, spread := stat.MeanStdDev(off, nil)
	want := sd * sd / (2 * radius)
	if tol := 0.04*want + 4*spread/math.Sqrt(repeats); math.Abs(mean-want) > tol {
		t.Errorf("bias %v, want %v within %v", mean, want, tol)
	}
}

// vision-design, 2.4: a quarter of the rim pulled 2 to 10 px inward moves a
// least squares circle by more than a pixel; the robust one must stay within
// 0.01 px on average, and keep a true covariance.
func TestCircleWithGlare(t *testing.T) {
	const repeats, n, sd = 40, 800, 0.1
	truth := Circle{Center: r2.Vec{X: 640, Y: 480}, R: 400}
	for _, test := range []struct {
		name string
		bad  func(rnd *rand.Rand, i int) bool
	}{
		{"one arc", func(_ *rand.Rand, i int) bool { return i < n/4 }},
		{"scattered", func(rnd *rand.Rand, _ int) bool { return rnd.Float64() < 0.25 }},
	} {
		rnd := fixed()
		var plain, off, pull []float64
		for range repeats {
			pts := rim(rnd, truth, 0, 2*math.Pi, n, sd)
			bad := make([]bool, n)
			for i := range pts {
				if bad[i] = test.bad(rnd, i); bad[i] {
					pts[i].At = r2.Sub(pts[i].At, r2.Scale(2+8*rnd.Float64(), pts[i].Normal))
				}
			}
			p, err := GeometricCircle(pts)
			if err != nil {
				t.Fatal(err)
			}
			plain = append(plain, p.R-truth.R)
			marked, c, err := FitRim(pts, FitOptions{})
			if err != nil {
				t.Fatal(err)
			}
			off = append(off, c.R-truth.R)
			pull = append(pull, (c.R-truth.R)/math.Sqrt(c.Cov[2][2]))
			rejected, good := 0, 0
			for i, p := range marked {
				switch {
				case bad[i] && !p.Rejected:
					t.Fatalf("%s: a point under glare was kept", test.name)
				case p.Rejected && p.Why != "off the circle":
					t.Fatalf("%s: rejected for %q", test.name, p.Why)
				case p.Rejected:
					rejected++
					if !bad[i] {
						good++
					}
				}
			}
			// Tukey's weight ends at 4.7 standard deviations.
			if good > 1 || c.Inliers != n-rejected {
				t.Errorf("%s: %d good points rejected; %d inliers of %d", test.name, good, c.Inliers, n-rejected)
			}
		}
		bias, spread := stat.MeanStdDev(off, nil)
		t.Logf("%s: robust %+.4f px, sd %.4f; least squares %+.2f px", test.name, bias, spread, stat.Mean(plain, nil))
		if math.Abs(bias) > 0.01 {
			t.Errorf("%s: bias %v px", test.name, bias)
		}
		if math.Abs(stat.Mean(plain, nil)) < 1 {
			t.Errorf("%s: the points would not mislead least squares: %v px", test.name, stat.Mean(plain, nil))
		}
		// The spread of 40 normalised errors is known to 11 %.
		if sd := stat.StdDev(pull, nil); sd < 1-4*0.11 || sd > 1+4*0.11 {
			t.Errorf("%s: errors are %v of what the covariance says", test.name, sd)
		}
	}
}

// The breakdown point: with 45 % of the rim worn the rest still decides.
func TestCircleNearlyHalfWorn(t *testing.T) {
	truth := Circle{Center: r2.Vec{X: 300, Y: 300}, R: 250}
	pts := rim(fixed(), truth, 0, 2*math.Pi, 400, 0.1)
	for i := range 180 {
		depth := 20 * math.Sin(math.Pi*float64(i)/180)
		pts[i].At = r2.Sub(pts[i].At, r2.Scale(depth, pts[i].Normal))
	}
	c, err := FitCircle(pts, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range []float64{c.Center.X - 300, c.Center.Y - 300, c.R - 250} {
		if u := math.Sqrt(c.Cov[i][i]); math.Abs(d) > 4*u {
			t.Errorf("parameter %d is off by %v, u %v", i, d, u)
		}
	}
}

func TestCircleRefuses(t *testing.T) {
	line := func(n int, at, by r2.Vec) []EdgePoint {
		pts := make([]EdgePoint, n)
		for i := range pts {
			pts[i] = EdgePoint{At: r2.Add(at, r2.Scale(float64(i), by)), U: 0.1}
		}
		return pts
	}
	noisyLine := line(200, r2.Vec{}, r2.Vec{X: 1})
	rnd := fixed()
	for i := range noisyLine {
		noisyLine[i].At.Y = 0.1 * rnd.NormFloat64()
	}
	rejected := rim(fixed(), Circle{R: 10}, 0, 6, 20, 0.1)
	for i := range rejected {
		rejected[i].Rejected = true
	}
	spoilt := func(f func(*EdgePoint)) []EdgePoint {
		pts := rim(fixed(), Circle{R: 10}, 0, 6, 20, 0.1)
		f(&pts[4])
		return pts
	}
	for name, test := range map[string]struct {
		pts  []EdgePoint
		want error
	}{
		"none":                    {nil, ErrTooFew},
		"two":                     {rim(fixed(), Circle{R: 10}, 0, 6, 2, 0.1), ErrTooFew},
		"three without u":         {edgePoints([]r2.Vec{{X: 1}, {X: -1}, {Y: 1}}), ErrTooFew},
		"one place":               {line(20, r2.Vec{X: 3, Y: 4}, r2.Vec{}), ErrNoSpread},
		"one place, far":          {line(20, r2.Vec{X: 1e6 / 3.0, Y: 1e6 / 7.0}, r2.Vec{}), ErrNoSpread},
		"two places":              {append(line(9, r2.Vec{X: 3}, r2.Vec{}), line(9, r2.Vec{Y: 4}, r2.Vec{})...), ErrCollinear},
		"level line":              {line(20, r2.Vec{X: 3, Y: 4}, r2.Vec{X: 1}), ErrCollinear},
		"slanted line":            {line(20, r2.Vec{X: 0.1, Y: 0.7}, r2.Vec{X: 0.3, Y: 0.1}), ErrCollinear},
		"slanted line, far":       {line(20, r2.Vec{X: 1e6, Y: 2e6}, r2.Vec{X: 0.3, Y: 0.1}), ErrCollinear},
		"line with noise":         {noisyLine, ErrCollinear},
		"all rejected":            {rejected, ErrAllRejected},
		"NaN":                     {spoilt(func(p *EdgePoint) { p.At.X = math.NaN() }), ErrNotFinite},
		"infinite":                {spoilt(func(p *EdgePoint) { p.At.Y = math.Inf(-1) }), ErrNotFinite},
		"one without uncertainty": {spoilt(func(p *EdgePoint) { p.U = 0 }), ErrUncertainty},
		"negative uncertainty":    {spoilt(func(p *EdgePoint) { p.U = -1 }), ErrUncertainty},
		"NaN uncertainty":         {spoilt(func(p *EdgePoint) { p.U = math.NaN() }), ErrUncertainty},
		"arc of half a degree":    {rim(fixed(), Circle{R: 400}, 0, 0.009, 50, 0.1), ErrCollinear},
	} {
		for kind, fit := range circleFits {
			if c, err := fit(test.pts); !errors.Is(err, test.want) || c != (Circle{}) {
				t.Errorf("%s, %s: got %+v, %v, want %v", name, kind, c, err, test.want)
			}
		}
	}
	for name, fit := range map[string]func([]r2.Vec) (Circle, error){"Kasa": Kasa, "Taubin": Taubin} {
		for what, test := range map[string]struct {
			pts  []r2.Vec
			want error
		}{
			"two":       {[]r2.Vec{{X: 1}, {Y: 1}}, ErrTooFew},
			"one place": {[]r2.Vec{{X: 1}, {X: 1}, {X: 1}}, ErrNoSpread},
			"line":      {[]r2.Vec{{X: 1, Y: 1}, {X: 2, Y: 2}, {X: 5, Y: 5}}, ErrCollinear},
			"NaN":       {[]r2.Vec{{X: math.NaN()}, {X: 2, Y: 2}, {X: 5, Y: 5}}, ErrNotFinite},
		} {
			if c, err := fit(test.pts); !errors.Is(err, test.want) || c != (Circle{}) {
				t.Errorf("%s, %s: got %+v, %v, want %v", name, what, c, err, test.want)
			}
		}
	}
}

// Points of a circle without noise give it back, wherever it lies, however
// large it is and whatever is repeated. What the coordinates cannot hold is
// allowed for: their spacing at the far corner, times the arc's weakness.
func TestCircleExact(t *testing.T) {
	for _, truth := range []Circle{
		{R: 1},
		{Center: r2.Vec{X: 640, Y: 480}, R: 400},
		{Center: r2.Vec{X: 1e6, Y: -1e6}, R: 1},
		{Center: r2.Vec{X: 1e6, Y: 1e6}, R: 1e-3},
		{Center: r2.Vec{X: 3e-6, Y: -1e-6}, R: 1e-6},
		{Center: r2.Vec{X: 1e-60}, R: 1e-60},
		{R: 1e6},
	} {
		for _, test := range []struct{ arc, weak float64 }{{2 * math.Pi, 1}, {math.Pi, 6}, {math.Pi / 3, 60}} {
			for _, n := range []int{4, 5, 6, 50} {
				pts := rim(fixed(), truth, 0.2, 0.2+test.arc, n, 0)
				once := pts
				pts = append(pts, pts[:n/2]...) // some twice
				pts = append(pts, once[0], once[0])
				far := max(math.Abs(truth.Center.X), math.Abs(truth.Center.Y)) + truth.R
				tol := 16 * test.weak * far * epsilon
				vecs := make([]r2.Vec, len(pts))
				for i := range pts {
					vecs[i] = pts[i].At
				}
				fits := map[string]func() (Circle, error){
					"Kasa":      func() (Circle, error) { return Kasa(vecs) },
					"Taubin":    func() (Circle, error) { return Taubin(vecs) },
					"geometric": func() (Circle, error) { return GeometricCircle(pts) },
					"robust":    func() (Circle, error) { return FitCircle(pts, FitOptions{}) },
				}
				for name, fit := range fits {
					c, err := fit()
					if err != nil {
						t.Errorf("%s of %v, arc %.1f, %d points: %v", name, truth, test.arc, n, err)
						continue
					}
					d := max(math.Abs(c.R-truth.R), r2.Norm(r2.Sub(c.Center, truth.Center)))
					if !(d <= tol) {
						t.Errorf("%s of %v, arc %.1f, %d points: off by %g, allowed %g", name, truth, test.arc, n, d, tol)
					}
				}
			}
		}
	}
}

// Three points and their uncertainties fix a circle and its covariance.
func TestCircleThreePoints(t *testing.T) {
	pts := rim(fixed(), Circle{Center: r2.Vec{X: 5, Y: 6}, R: 10}, 0, 2*math.Pi, 3, 0)
	for i := range pts {
		pts[i].U = 0.3
	}
	for name, fit := range circleFits {
		c, err := fit(pts)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.R-10) > 1e-12 || math.Abs(c.Cov[2][2]-0.09/3) > 1e-12 || math.Abs(c.Cov[0][0]-2*0.09/3) > 1e-12 {
			t.Errorf("%s: %+v", name, c)
		}
	}
}

// When points scatter more than they say, the covariance grows; when less, it
// stays.
func TestCircleCovarianceFollowsScatter(t *testing.T) {
	pts := rim(fixed(), Circle{R: 100}, 0, 2*math.Pi, 2000, 0.2)
	for name, fit := range circleFits {
		u := func(stated float64) float64 {
			for i := range pts {
				pts[i].U = stated
			}
			c, err := fit(pts)
			if err != nil {
				t.Fatal(err)
			}
			return math.Sqrt(c.Cov[2][2] * 2000)
		}
		// A standard deviation of 2000 points is known to 1.6 %.
		if got := u(0.05); math.Abs(got-0.2) > 0.2*(4*0.016+0.03) {
			t.Errorf("%s: stated 0.05, scatter 0.2: u(R) sqrt N = %v", name, got)
		}
		if got := u(0.6); math.Abs(got-0.6) > 0.001 {
			t.Errorf("%s: stated 0.6, scatter 0.2: u(R) sqrt N = %v", name, got)
		}
	}
}

// A point that is surer counts for more, in the square.
func TestCircleWeights(t *testing.T) {
	pts := rim(fixed(), Circle{R: 100}, 0, 2*math.Pi, 40, 0.2)
	weighted := append([]EdgePoint(nil), pts...)
	weighted[7].U = 0.1
	repeated := append(append([]EdgePoint(nil), pts...), pts[7], pts[7], pts[7])
	a, errA := GeometricCircle(weighted)
	b, errB := GeometricCircle(repeated)
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	if math.Abs(a.R-b.R) > 1e-11 || r2.Norm(r2.Sub(a.Center, b.Center)) > 1e-11 {
		t.Errorf("%+v and %+v", a, b)
	}
}

// Moving, turning, mirroring and scaling the points does the same to the
// circle, and nothing else.
func TestCircleLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		n := rapid.IntRange(12, 120).Draw(t, "n")
		arc := rapid.Float64Range(2, 2*math.Pi).Draw(t, "arc")
		pts := rim(rnd, Circle{Center: r2.Vec{X: 10, Y: 20}, R: 50}, 0, arc, n, 0.1)
		for i := range n / 6 {
			pts[i*3].At = r2.Sub(pts[i*3].At, r2.Scale(3+rnd.Float64(), pts[i*3].Normal))
		}
		shift := r2.Vec{X: rapid.Float64Range(-2000, 2000).Draw(t, "x"), Y: rapid.Float64Range(-2000, 2000).Draw(t, "y")}
		angle := rapid.Float64Range(-4, 4).Draw(t, "angle")
		scale := math.Exp(rapid.Float64Range(-5, 5).Draw(t, "scale"))
		mirror := rapid.Bool().Draw(t, "mirror")
		move := func(p r2.Vec) r2.Vec {
			if mirror {
				p.X = -p.X
			}
			return r2.Add(shift, r2.Scale(scale, turn(p, angle)))
		}
		moved := make([]EdgePoint, n)
		for i, p := range pts {
			moved[i] = EdgePoint{At: move(p.At), U: p.U * scale}
		}
		for name, fit := range circleFits {
			a, errA := fit(pts)
			b, errB := fit(moved)
			if errA != nil || errB != nil {
				t.Fatalf("%s: %v, %v", name, errA, errB)
			}
			// A short arc of few points tells its radius so badly that the last
			// step of the search shows: a hundred-thousandth of its uncertainty.
			tol := max(1e-7, 1e-5*math.Sqrt(a.Cov[2][2])) * scale
			if math.Abs(b.R-scale*a.R) > tol || r2.Norm(r2.Sub(b.Center, move(a.Center))) > tol || math.Abs(b.RMS-scale*a.RMS) > tol || a.Inliers != b.Inliers {
				t.Fatalf("%s: %+v became %+v", name, a, b)
			}
			// The variance of the radius and the sum of the centre's do not
			// know the direction.
			if v, w := a.Cov[2][2]*scale*scale, b.Cov[2][2]; math.Abs(v-w) > 1e-6*v {
				t.Fatalf("%s: variance of R %v became %v", name, v, w)
			}
			if v, w := (a.Cov[0][0]+a.Cov[1][1])*scale*scale, b.Cov[0][0]+b.Cov[1][1]; math.Abs(v-w) > 1e-6*v {
				t.Fatalf("%s: variance of the centre %v became %v", name, v, w)
			}
		}
	})
}

// The same points give the same circle, bit for bit.
func TestCircleRepeats(t *testing.T) {
	pts := rim(fixed(), Circle{R: 100}, 0, 4, 300, 0.3)
	a, err := FitCircle(pts, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if b, err := FitCircle(pts, FitOptions{}); err != nil || a != b {
			t.Errorf("%+v, then %+v, %v", a, b, err)
		}
	}
}

func TestArcCoverage(t *testing.T) {
	c := Circle{Center: r2.Vec{X: 100, Y: 50}, R: 30}
	deg := math.Pi / 180
	for _, test := range []struct {
		name     string
		from, to float64
		n        int
		want     float64
	}{
		{"all", 0, 360, 720, 360},
		{"half", 90, 270, 360, 180},
		{"over the x axis", -30, 30, 600, 60},
		{"thin", 0, 360, 90, 180}, // a point every 4 degrees
		{"one", 10, 10, 1, 2},
	} {
		got := ArcCoverage(rim(fixed(), c, test.from*deg, test.to*deg, test.n, 0), c) / deg
		if math.Abs(got-test.want) > 1e-9 {
			t.Errorf("%s: got %v deg, want %v", test.name, got, test.want)
		}
	}
	pts := rim(fixed(), c, 0, 2*math.Pi, 720, 0)
	for i := range 360 {
		pts[i].Rejected = true
	}
	if got := ArcCoverage(pts, c) / deg; math.Abs(got-180) > 1e-9 {
		t.Errorf("half rejected: got %v deg", got)
	}
}

func TestKth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, 1, 2, 3.5, -4, 7, 7.5}), 1, 40).Draw(t, "v")
		k := rapid.IntRange(0, len(v)-1).Draw(t, "k")
		got := kth(v, k)
		below, upTo := 0, 0
		for _, x := range v {
			if x < got {
				below++
			}
			if x <= got {
				upTo++
			}
		}
		if below > k || upTo <= k {
			t.Fatalf("%v is not number %d of %v", got, k, v)
		}
	})
}

func BenchmarkFitCircle(b *testing.B) {
	pts := rim(fixed(), Circle{Center: r2.Vec{X: 640, Y: 480}, R: 400}, 0, 2*math.Pi, 2500, 0.1)
	for i := range 600 {
		pts[i].At = r2.Sub(pts[i].At, r2.Scale(5, pts[i].Normal))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitCircle(pts, FitOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
