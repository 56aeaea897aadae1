package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

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
