package subpixel_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"

	"pinlash/vision/subpixel"
	"pinlash/vision/synth"
)

// Where the noise of a face reaches beyond what the sensor can tell, the rim lies
// where it would with a sensor that can, and is known nearly as well. Left out, the
// burnt pixels moved this rim by 0.03 px at a level of 0.93, and by 0.10 px at 1.
func TestFitCrescentBurntOut(t *testing.T) {
	const draws = 12
	for _, level := range []float64{0.93, 1, 1.15} {
		off := func(clip float32) (v []float64) {
			for seed := range uint64(draws) {
				s := quiet(120, 24, 6, 1.1)
				s.Joint.Bush, s.Joint.Pin, s.Joint.Dark = synth.Face{Level: level / 1.25}, synth.Face{Level: 0.5}, 0.15
				s.Camera.Noise, s.Seed = synth.Noise{Read: 0.05}, seed
				// The sensor of the generator clips at 1: all light is a quarter
				// less, and the limit with it.
				g := s.Sensor()
				if g.Clip = clip; clip > 0 {
					for i, p := range g.Pix {
						g.Pix[i] = min(p, clip)
					}
				}
				f, err := subpixel.FitCrescent(g, startOf(s))
				if err != nil {
					t.Fatal(level, seed, err)
				}
				v = append(v, f.Bore.R-s.Joint.BoreR)
			}
			return v
		}
		whole, wholeSD := stat.MeanStdDev(off(0), nil)
		mean, sd := stat.MeanStdDev(off(1/1.25), nil)
		t.Logf("level %.2f: off by %+.4f, scatter %.4f; by %+.4f and %.4f where nothing is burnt", level, mean, sd, whole, wholeSD)
		if limit := 0.012 + 3*sd/math.Sqrt(draws); math.Abs(mean) > limit {
			t.Errorf("level %.2f: the bore's radius is off by %+.4f px on average, want within %.4f", level, mean, limit)
		}
		if sd > 1.6*wholeSD {
			t.Errorf("level %.2f: the bore's radius scatters by %.4f px, %.1f times as much as where nothing is burnt, want 1.6 at most", level, sd, sd/wholeSD)
		}
	}
}
