package measure

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// linear is a picture that is stretched and sheared as a whole.
type linear [2][2]float64

func (m linear) of(v r2.Vec) r2.Vec {
	return r2.Vec{X: m[0][0]*v.X + m[0][1]*v.Y, Y: m[1][0]*v.X + m[1][1]*v.Y}
}

// slanted is a plane that a far camera sees at a slant about the axis.
func slanted(deg, axis float64) linear {
	k := math.Cos(deg*math.Pi/180) - 1
	sin, cos := math.Sincos(axis)
	return linear{{1 + k*sin*sin, -k * sin * cos}, {-k * sin * cos, 1 + k*cos*cos}}
}

// rolled is a picture that moves by drift pixels while its 900 rows are read.
func rolled(drift r2.Vec) linear {
	return linear{{1, drift.X / 900}, {0, 1 + drift.Y/900}}
}

// shown returns the joint and the scale as the picture has them, the circles
// laid through those points that keep to them, as vision does.
func (m linear) shown(t *testing.T, e geom.JointEdges, angle float64) (geom.JointEdges, calib.Scale) {
	t.Helper()
	middle := r2.Vec{X: 700, Y: 500}
	rim := func(pts []geom.EdgePoint, p geom.RimProfile) ([]geom.EdgePoint, geom.Circle, geom.RimProfile) {
		out := append([]geom.EdgePoint(nil), pts...)
		for i := range out {
			out[i].At = r2.Add(middle, m.of(r2.Sub(out[i].At, middle)))
		}
		var c geom.Circle
		for range 10 {
			var err error
			if c, err = geom.GeometricCircle(out); err != nil {
				t.Fatal(err)
			}
			var kept []float64
			for _, q := range out {
				if !q.Rejected {
					kept = append(kept, math.Abs(r2.Norm(r2.Sub(q.At, c.Center))-c.R))
				}
			}
			limit := 3.5 * 1.48 * median(kept)
			for i, q := range out {
				out[i].Rejected = math.Abs(r2.Norm(r2.Sub(q.At, c.Center))-c.R) > limit
			}
		}
		return out, c, profileAbout(c, out, p.U)
	}
	e.Bore, e.BoreFit, e.BoreProfile = rim(e.Bore, e.BoreProfile)
	e.Pin, e.PinFit, e.PinProfile = rim(e.Pin, e.PinProfile)
	for i := range 3 {
		for k := range 3 {
			e.Cov[i][k], e.Cov[i+3][k+3] = e.BoreFit.Cov[i][k], e.PinFit.Cov[i][k]
		}
	}
	sin, cos := math.Sincos(angle)
	way := m.of(r2.Vec{X: cos, Y: sin})
	s := exact()
	s.MMPerPx = uncert.Combine(0.01/r2.Norm(way), "mm/px", nil)
	s.AngleRad = math.Atan2(way.Y, way.X)
	return e, s
}

// drawnPicture draws a slant up to 5 degrees or rows read while the picture moves
// by up to 3.5 px.
func drawnPicture(random *rand.Rand) linear {
	turn := 2 * math.Pi * random.Float64()
	if random.IntN(2) == 0 {
		return slanted(5*random.Float64(), turn)
	}
	sin, cos := math.Sincos(turn)
	return rolled(r2.Scale(3.5*random.Float64(), r2.Vec{X: cos, Y: sin}))
}

// However the picture is flattened, the figures are the joint's and the truth
// lies in their intervals: at least 94 times of a hundred (400 draws have a
// standard deviation of 1.1 points about 95; the intervals allow for light and
// focus too, which are not drawn, so there is no upper bound). No wear is seen
// where there is none, and the depth of a worn bore is not the oval's.
func TestFlattenedPictures(t *testing.T) {
	const draws = 400
	random := seeded()
	inside := map[string]int{}
	worst := map[string]float64{}
	for i := range draws {
		m := model{boreR: 300, pinR: 290, offset: 9, direction: 2 * math.Pi * random.Float64(), noise: 0.05}
		depth := 0.0
		if i%2 == 1 {
			depth = 4
			m.boreWear, m.offset = depth, 13.5
		}
		e, s := drawnPicture(random).shown(t, m.edges(random), 2*math.Pi*random.Float64())
		r := mustJoint(t, e, s)
		for _, f := range []struct {
			name string
			q    uncert.Quantity
			want float64
		}{
			{"bore diameter", r.BoreDiameter, 6},
			{"pin diameter", r.PinDiameter, 5.8},
			{"clearance", r.Clearance, 0.2},
			{"offset", r.Offset, m.offset / 100},
			{"play", r.Play, 0.2 + depth/100},
			{"wear depth bore", r.WearDepthBore, depth / 100},
			{"wear depth pin", r.WearDepthPin, 0},
		} {
			if f.q.Lower <= f.want && f.want <= f.q.Upper {
				inside[f.name]++
			}
			worst[f.name] = max(worst[f.name], math.Abs(f.q.Value-f.want))
		}
	}
	for name, n := range inside {
		t.Logf("%s: %.1f %% of the 95 %% intervals hold the truth, at most %.4f mm off", name, 100*float64(n)/draws, worst[name])
		if n < 0.94*draws {
			t.Errorf("%s: coverage %.3f, want at least 0.94", name, float64(n)/draws)
		}
	}
	if len(inside) != 7 {
		t.Errorf("only %d of 7 figures were ever right", len(inside))
	}
}

// The flattening is told on one rim of which half is covered by what the other
// shows, and is that of the picture: an x-shear of s stretches by s/2 at 45
// degrees, a y-stretch by s/2 along y and -s/2 along x.
func TestFlatteningOfShear(t *testing.T) {
	for _, tt := range []struct {
		drift r2.Vec
		a, b  float64
	}{
		{r2.Vec{X: 3}, 0, 3.0 / 900 / 2},
		{r2.Vec{Y: 3}, -3.0 / 900 / 2, 0},
	} {
		m := model{boreR: 200, pinR: 190, offset: 9, noise: 0.05}
		e, _ := rolled(tt.drift).shown(t, m.edges(seeded()), 0)
		for i := range e.BoreProfile.U {
			if i%180 > 100 {
				e.BoreProfile.U[i] = 0
				e.Bore[i].Rejected = true
			}
		}
		_, f, err := roundJoint(e)
		if err != nil {
			t.Fatal(err)
		}
		// A quarter of a percent of the stretch is its square.
		if !f.seen || math.Hypot(f.a-tt.a, f.b-tt.b) > 3*math.Sqrt2*f.u+1e-5 {
			t.Errorf("drift %v: %+.5f cos 2t %+.5f sin 2t (u %.5f, seen %v), want %+.5f, %+.5f", tt.drift, f.a, f.b, f.u, f.seen, tt.a, tt.b)
		}
	}
}

func TestTooFlat(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}
	e, s := slanted(10, 1).shown(t, m.edges(seeded()), 0)
	_, err := Joint(e, s, Options{})
	var refused *check.Refusal
	if !errors.As(err, &refused) || refused.Code != check.ScaleUnclear {
		t.Errorf("a slant of ten degrees: %v", err)
	}
}

// Of a kept scale and a flattened joint it is not known which way is true; a
// gauge is flattened as the joint is.
func TestFlatteningByScale(t *testing.T) {
	f := flattening{oval: oval{a: 0.002, u: 1e-4}, size: 0.002, looked: true, seen: true}
	rule, file, gauge := exact(), exact(), exact()
	file.Source, gauge.Round = "file", true
	for _, tt := range []struct {
		name     string
		s        calib.Scale
		value, u float64
	}{
		{"rule", rule, 1.002, 1e-4},
		{"file", file, 1, math.Hypot(0.002/math.Sqrt(3), 1e-4)},
		{"gauge", gauge, 1, 0},
	} {
		if q := f.scale(tt.s, tt.s.Origin, 100); math.Abs(q.Value-tt.value) > 1e-12 || math.Abs(q.U-tt.u) > 1e-12 {
			t.Errorf("%s: %v, want %g (u %g)", tt.name, q, tt.value, tt.u)
		}
	}
}

// A slant that the rims show makes the joint's scale another than the rule's, beside
// it, by its distance over the lens's times the slant; where the rule does not show it,
// that stays in doubt. In line with the rule, or slanted along it, there is none.
func TestSlantBesideTheRule(t *testing.T) {
	const size = 0.0012 // as of a slant of 4 degrees
	s := exact()        // along x
	beside, inLine := r2.Add(s.Origin, r2.Vec{Y: -400}), r2.Add(s.Origin, r2.Vec{X: 400})
	sin := math.Sqrt(1 - math.Pow((1-size)/(1+size), 2))
	for _, tt := range []struct {
		name string
		a    float64 // short across the rule: positive
		at   r2.Vec
		want float64
	}{
		{"across", size, beside, 4.0 / 100 * sin},
		{"across, in line", size, inLine, 0},
		{"along", -size, beside, 0},
	} {
		f := flattening{oval: oval{a: tt.a, u: 1e-5}, size: size, looked: true, seen: true}
		if q := f.scale(s, tt.at, 100); math.Abs(q.U-math.Hypot(tt.want, 1e-5)) > 1e-9 {
			t.Errorf("%s: u %.3g, want %.3g", tt.name, q.U, math.Hypot(tt.want, 1e-5))
		}
	}
}

// A rule on which the scale changes by more than a slant does that the rims know of was
// read while the picture swayed: half of what is too much is in doubt. Rims that are
// flattened explain a part of it.
func TestRuleBentByNoSlant(t *testing.T) {
	s := exact()
	s.Source, s.Marks, s.DivisionMM = "rule", 20, 0.5 // 1000 px long
	const change = 2e-5                               // of the scale, a pixel: 2 % over the rule
	for _, tt := range []struct {
		name        string
		along, size float64
		distance    float64
		least, most float64
	}{
		{"even", 0, 0, 100, 0, 0},
		{"bent, rims round", change, 0, 100, 0.004, 0.009},
		{"bent the other way", -change, 0, 100, 0.004, 0.009},
		{"bent, rims flattened as by 4 degrees", change, 0.0012, 100, 0, 0},
		{"the same from farther", change, 0.0012, 300, 0.003, 0.008},
	} {
		s.Gradient = r2.Vec{X: tt.along}
		f := flattening{oval: oval{u: 1e-5}, size: tt.size, looked: true, seen: tt.size > 0}
		if u := f.swayU(s, tt.distance); u < tt.least || u > tt.most {
			t.Errorf("%s: u %.4f, want from %.4f to %.4f", tt.name, u, tt.least, tt.most)
		}
	}
	s.Source, s.Gradient = "grid", r2.Vec{X: change}
	if u := (flattening{looked: true}).swayU(s, 100); u != 0 {
		t.Errorf("a grid's slant is in doubt by %.4f", u)
	}
}

// What both rims stray alike is the picture's, root mean square A/sqrt 2 for
// A cos 3t; what one strays alone is its own.
func TestWavingPicture(t *testing.T) {
	const noise = 0.05
	edges := func(ofBore, ofPin float64) geom.JointEdges {
		e := model{boreR: 300, pinR: 290, offset: 9, noise: noise}.edges(seeded())
		for i, angle := range e.BoreProfile.Angle {
			e.BoreProfile.Dev[i] += ofBore * math.Cos(3*angle)
			e.PinProfile.Dev[i] += ofPin * math.Cos(3*angle)
		}
		return e
	}
	for _, tt := range []struct{ ofBore, ofPin, want float64 }{
		{0, 0, 0}, {0.3, 0, 0}, {0.3, -0.3, 0}, {0.1, 0.1, 0}, {0.3, 0.3, 0.3 / math.Sqrt2},
	} {
		_, f, err := roundJoint(edges(tt.ofBore, tt.ofPin))
		if err != nil {
			t.Fatal(err)
		}
		// The mean of 180 products of noise with a wave of 0.3 px errs by 0.05 *
		// 0.3 / sqrt 180, over twice the wave's own 0.2 px: 0.003, four times.
		if math.Abs(f.waves-tt.want) > 0.012 {
			t.Errorf("bore %g, pin %g: waves of %.3f px, want %.3f", tt.ofBore, tt.ofPin, f.waves, tt.want)
		}
	}
	still, waving := mustJoint(t, edges(0, 0), exact()), mustJoint(t, edges(0.3, 0.3), exact())
	if grown := waving.BoreDiameter.U * 100; grown < 2*0.2 || still.BoreDiameter.U > waving.BoreDiameter.U/2 {
		t.Errorf("bore %v still, %v waving", still.BoreDiameter, waving.BoreDiameter)
	}
	_, err := Joint(edges(0.6, 0.6), exact(), Options{})
	var refused *check.Refusal
	if !errors.As(err, &refused) || refused.Code != check.Blurred {
		t.Errorf("waves of 0.4 px: %v", err)
	}
}
