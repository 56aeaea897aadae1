package vision_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The long sweep measures so many joints of every kind and writes what it
// finds to testdata/sweep:
//
//	go test -run Sweep -timeout 60m ./vision -sweep 100
//
// The short one, a part of every test run, takes a few kinds only.
var sweepTrials = flag.Int("sweep", 0, "joints of each kind in the long sweep, 0 for the short one")

const shortTrials = 24

// What is asked of the measurement of scenes without defects.
const (
	radiusOfBound    = 1.5  // standard deviation of a radius, of the Cramér-Rao bound
	clearanceOfBound = 2.0  // that of the clearance, from 4 px of clearance on
	maxBias          = 0.02 // px
	leastCovered     = 0.93 // share of 95 % intervals that hold the truth
	mostCovered      = 0.97
)

// A test of a claim by chance fails a true claim this often.
const doubt = 0.0005

func TestSweep(t *testing.T) {
	var rows []row
	var covered, counted [4]int
	for i, c := range cells() {
		n := *sweepTrials
		if n == 0 {
			if !c.short {
				continue
			}
			n = shortTrials
		}
		s := summarise(tried(t, c, uint64(i), n))
		rows = append(rows, row{c, s})
		switch {
		case c.bounded:
			holdToBound(t, c, s)
			for k, in := range s.light {
				covered[k] += in
				counted[k] += s.measured()
			}
		case c.family == "budget":
			// The budget may allow for more than happens, but not for less.
			for k, name := range figures {
				if low(s.inside[k], s.measured(), leastCovered) {
					t.Errorf("mixture: %d of %d intervals of %s hold the truth, 95 %% are claimed", s.inside[k], s.measured(), name)
				}
			}
		}
	}
	for k, name := range []string{"bore radius", "pin radius", "clearance", "offset"} {
		if low(covered[k], counted[k], leastCovered) || high(covered[k], counted[k], mostCovered) {
			t.Errorf("%s: %d of %d intervals from the light alone hold the truth, %.0f to %.0f %% are asked",
				name, covered[k], counted[k], 100*leastCovered, 100*mostCovered)
		}
		t.Logf("%s: %d of %d intervals from the light alone hold the truth", name, covered[k], counted[k])
	}
	if *sweepTrials > 0 {
		writeSweep(t, rows)
	}
}

// holdToBound checks a cell of which the Cramér-Rao bound knows everything.
func holdToBound(t *testing.T, c cell, s summary) {
	t.Helper()
	narrow := c.family == "clearance_px" && (c.value == "2" || c.value == "3")
	if s.refused > 0 && !narrow {
		t.Errorf("%s %s: %d of %d joints refused", c.family, c.value, s.refused, s.trials)
	}
	if s.measured() < 2 {
		return
	}
	// The squares of n-1 independent deviations from their mean, over their
	// variance, follow chi-square with n-1 degrees of freedom.
	free := float64(s.measured() - 1)
	allowed := math.Sqrt(distuv.ChiSquared{K: free}.Quantile(1-doubt) / free)
	for k, limit := range []float64{radiusOfBound, radiusOfBound, clearanceOfBound} {
		if narrow && k == 2 {
			continue
		}
		if s.ratio[k] > limit*allowed {
			t.Errorf("%s %s: standard deviation of the %s is %.2f times its bound, %.1f is asked (%.2f by chance)",
				c.family, c.value, errorNames[k], s.ratio[k], limit, limit*allowed)
		}
	}
	z := distuv.UnitNormal.Quantile(1 - doubt/2)
	for k, b := range s.bias {
		if math.Abs(b) > maxBias+z*s.sd[k]/math.Sqrt(float64(s.measured())) {
			t.Errorf("%s %s: %s is off by %+.4f px on average, %.2f px is asked", c.family, c.value, errorNames[k], b, maxBias)
		}
	}
}

// low says that k of n is too few for a share of at least p.
func low(k, n int, p float64) bool {
	return distuv.Binomial{N: float64(n), P: p}.CDF(float64(k)) < doubt
}

// high says that k of n is too many for a share of at most p.
func high(k, n int, p float64) bool {
	return 1-distuv.Binomial{N: float64(n), P: p}.CDF(float64(k)-1) < doubt
}

// tried runs n trials of a cell, on two processors.
func tried(t *testing.T, c cell, stream uint64, n int) []trial {
	t.Helper()
	out, errs := make([]trial, n), make([]error, n)
	const lanes = 2
	var wg sync.WaitGroup
	for lane := range lanes {
		wg.Go(func() {
			for i := lane; i < n; i += lanes {
				r := rand.New(rand.NewPCG(stream, uint64(i)))
				s := c.draw(r)
				seen := s
				if c.family == "budget" {
					seen = heightError(r, s)
				}
				out[i], errs[i] = measured(seen, s.Truth(), c.see, c.bounded)
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
