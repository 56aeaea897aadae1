package vision_test

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/vision/synth"
)

// The long sweep takes some minutes and writes its figures to testdata/sweep.
var longSweep = flag.Bool("sweep", false, "run the whole sweep and write testdata/sweep")

// cell is one kind of scene in the sweep.
type cell struct {
	family, value string
	draw          func(*rand.Rand) synth.Scene
	see           look
	bounded       bool // the Cramér-Rao bound knows all that is in the scene
	short         bool // part of the sweep inside go test
}

// pose is a joint without defects and of random place, direction and light.
func pose(r *rand.Rand, boreR, clearance float64) synth.Scene {
	s := synth.Ring(boreR, clearance, between(r, 0.05, 0.5)*clearance/2, 2*math.Pi*r.Float64())
	shift := r2.Vec{X: between(r, -0.5, 0.5), Y: between(r, -0.5, 0.5)}
	s.Joint.BoreCenter = r2.Add(s.Joint.BoreCenter, shift)
	s.Joint.PinCenter = r2.Add(s.Joint.PinCenter, shift)
	s.Joint.Pin.Level = between(r, 0.4, 0.7)
	s.Joint.Bush.Level = between(r, 0.35, 0.65)
	s.Joint.Dark = between(r, 0.005, 0.03)
	s.Seed = r.Uint64()
	return s
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// usual is a pose of medium size.
func usual(r *rand.Rand) synth.Scene { return pose(r, between(r, 120, 180), between(r, 8, 20)) }

// cells lists the whole sweep.
func cells() []cell {
	var c []cell
	add := func(family string, values []float64, see look, bounded bool, short int, draw func(*rand.Rand, float64) synth.Scene) {
		for i, v := range values {
			c = append(c, cell{family, strconv.FormatFloat(v, 'g', 4, 64), func(r *rand.Rand) synth.Scene { return draw(r, v) }, see, bounded, i == short})
		}
	}
	add("blur", []float64{0.5, 0.8, 1.2, 2, 3}, sensor, true, 2, func(r *rand.Rand, v float64) synth.Scene {
		s := pose(r, between(r, 120, 180), between(r, 8, 20)+4*(v-0.5))
		s.Camera.Blur = v
		return s
	})
	add("noise", []float64{0.002, 0.005, 0.01, 0.02, 0.04}, sensor, true, 3, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Noise = synth.Noise{Read: v}
		s.Joint.Dark = 4 * v
		return s
	})
	add("full_well", []float64{300, 1000, 6000}, sensor, true, -1, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Noise.FullWell = v
		return s
	})
	add("clearance", []float64{2, 3, 4, 6, 8, 12, 20, 40}, sensor, true, 2, func(r *rand.Rand, v float64) synth.Scene {
		return pose(r, between(r, 120, 180), v)
	})
	add("radius", []float64{60, 120, 240, 400, 500}, sensor, true, 0, func(r *rand.Rand, v float64) synth.Scene {
		return pose(r, v, between(r, 8, 20))
	})
	return c
}

// tried runs n trials of a cell, on both cores.
func tried(t *testing.T, c cell, n int) []trial {
	t.Helper()
	out := make([]trial, n)
	errs := make([]error, n)
	var wg sync.WaitGroup
	const lanes = 2
	for lane := range lanes {
		wg.Go(func() {
			for i := lane; i < n; i += lanes {
				r := rand.New(rand.NewPCG(20, uint64(i)))
				s := c.draw(r)
				out[i], errs[i] = measured(s, s.Truth(), c.see, c.bounded)
			}
		})
	}
	wg.Wait()
	for i, err := range errs {
		if err != nil {
			t.Fatalf("%s %s, trial %d: %v", c.family, c.value, i, err)
		}
	}
	return out
}

// summary is one row of the sweep: index 0 to 3 are bore radius, pin radius,
// clearance, offset.
type summary struct {
	trials, refused int
	bias, biasU, sd [4]float64 // pixels
	bound, ratio    [4]float64 // root mean square bound; sd of error/bound
	claimed         [4]float64 // root mean square of the claimed u over sd
	lightInside     [4]float64 // share, of those measured
	inside          [7]float64
	worst           float64 // largest error of the clearance
	worstSeed       uint64
}

func summarise(trials []trial) summary {
	s := summary{trials: len(trials)}
	var n float64
	for _, t := range trials {
		if t.refused != "" {
			s.refused++
			continue
		}
		n++
		if math.Abs(t.err[2]) > s.worst {
			s.worst, s.worstSeed = math.Abs(t.err[2]), t.seed
		}
		for i := range t.err {
			s.bias[i] += t.err[i]
			s.lightInside[i] += one(t.light[i])
			s.bound[i] += t.bound[i] * t.bound[i]
			s.claimed[i] += t.u[i] * t.u[i]
		}
		for i, in := range t.inside {
			s.inside[i] += one(in)
		}
	}
	if n < 2 {
		return s
	}
	for i := range s.bias {
		s.bias[i] /= n
		s.lightInside[i] /= n
		s.bound[i] = math.Sqrt(s.bound[i] / n)
	}
	for i := range s.inside {
		s.inside[i] /= n
	}
	for _, t := range trials {
		if t.refused != "" {
			continue
		}
		for i, e := range t.err {
			d := e - s.bias[i]
			s.sd[i] += d * d
			if t.bound[i] > 0 {
				d /= t.bound[i]
				s.ratio[i] += d * d
			}
		}
	}
	for i := range s.sd {
		s.sd[i] = math.Sqrt(s.sd[i] / (n - 1))
		s.ratio[i] = math.Sqrt(s.ratio[i] / (n - 1))
		s.biasU[i] = s.sd[i] / math.Sqrt(n)
		s.claimed[i] = math.Sqrt(s.claimed[i]/n) / s.sd[i]
	}
	return s
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestSweepDev(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("SWEEP_N"))
	if n == 0 {
		t.Skip()
	}
	for _, c := range cells() {
		if f := os.Getenv("SWEEP_FAMILY"); f != "" && f != c.family {
			continue
		}
		t0 := time.Now()
		s := summarise(tried(t, c, n))
		fmt.Printf("%-10s %-6s ref %d/%d | bias %+.4f %+.4f %+.4f %+.4f (se %.4f) | sd/crb %.2f %.2f %.2f %.2f | u/sd %.2f %.2f %.2f %.2f | light %.0f %.0f %.0f %.0f | full %.0f | worst %.3f %d | %.1fs\n", c.family, c.value, s.refused, s.trials,
			s.bias[0], s.bias[1], s.bias[2], s.bias[3], s.biasU[2], s.ratio[0], s.ratio[1], s.ratio[2], s.ratio[3], s.claimed[0], s.claimed[1], s.claimed[2], s.claimed[3],
			100*s.lightInside[0], 100*s.lightInside[1], 100*s.lightInside[2], 100*s.lightInside[3], pct(s.inside[:]), s.worst, s.worstSeed, time.Since(t0).Seconds())
	}
}

func pct(v []float64) []float64 {
	o := make([]float64, len(v))
	for i := range v {
		o[i] = 100 * v[i]
	}
	return o
}

var _ = csv.NewWriter
var _ = filepath.Join
var _ = distuv.UnitNormal
