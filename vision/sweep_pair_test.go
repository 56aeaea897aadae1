package vision_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/vision"
	"pinlash/vision/synth"
)

// What is asked of pairs.
const (
	falseAlarms    = 0.005 // share of zero plays called distinct from zero
	pairsRefused   = 0.10  // share of pairs that may be refused
	pairsOff       = 0.25  // px, at most, in 95 % of the pairs
	scatterOfClaim = 2.0   // scatter of the motion over the claimed one
)

// pairTrial is one pair measured.
type pairTrial struct {
	play          float64
	refused       bool
	distinct      bool
	held          bool
	off, claimedU float64 // of the motion at the joint, pixels
}

// TestSweepPairs measures drawn pairs: every fourth without play, the others
// from 0.02 to 30 px.
func TestSweepPairs(t *testing.T) {
	n := 24
	if *sweepTrials > 0 {
		n = 12 * *sweepTrials
	}
	trials := make([]pairTrial, n)
	var wg sync.WaitGroup
	for lane := range 2 {
		wg.Go(func() {
			for i := lane; i < n; i += 2 {
				r := rand.New(rand.NewPCG(41, uint64(i)))
				play := 0.0
				if i%4 != 0 {
					play = math.Exp(math.Log(0.02) + r.Float64()*math.Log(30/0.02))
				}
				trials[i] = tryPair(t, synth.DrawPair(r, play), play)
			}
		})
	}
	wg.Wait()
	var measured, refused, zero, alarms, held, large int
	var sum float64
	for _, p := range trials {
		switch {
		case p.refused:
			refused++
			continue
		case p.play == 0:
			zero++
			if p.distinct {
				alarms++
			}
		}
		measured++
		if p.held {
			held++
		}
		if p.off > pairsOff {
			large++
		}
		sum += p.off * p.off / (2 * p.claimedU * p.claimedU)
	}
	scatter := math.Sqrt(sum / float64(max(measured, 1)))
	t.Logf("%d pairs, %d refused; %d of %d intervals hold the truth; %d of %d zero plays called distinct; scatter %.2f of the claimed; %d off by more than %.2f px",
		n, refused, held, measured, alarms, zero, scatter, large, pairsOff)
	if high(refused, n, pairsRefused) {
		t.Errorf("%d of %d pairs refused", refused, n)
	}
	if low(held, measured, leastCovered) {
		t.Errorf("%d of %d intervals hold the truth, 95 %% are claimed", held, measured)
	}
	if high(alarms, zero, falseAlarms) {
		t.Errorf("%d of %d zero plays called distinct from zero", alarms, zero)
	}
	if scatter > scatterOfClaim {
		t.Errorf("the motion scatters by %.2f of the claimed", scatter)
	}
	if high(large, measured, 0.05) {
		t.Errorf("%d of %d motions off by more than %.2f px", large, measured, pairsOff)
	}
}

func tryPair(t *testing.T, p synth.Pair, play float64) pairTrial {
	out := pairTrial{play: play}
	a, b, err := p.Photos()
	if err != nil {
		t.Error(err)
		return out
	}
	// As the command does, which finds the rule first.
	rule := geom.Rule{Period: p.Rule, Ticks: []geom.Tick{{At: r2.Vec{Y: float64(p.H) - 1.45*p.Rule}, Length: 0.8 * p.Rule}}}
	m, _, err := vision.FindMotion(a, b, vision.MotionHint{Rule: rule})
	if err != nil {
		out.refused = true
		return out
	}
	scale := calib.Scale{MMPerPx: uncert.Combine(1, "mm/px", nil), W: p.W, H: p.H}
	r, err := measure.Play(m, scale, measure.PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}})
	if err != nil {
		t.Error(err)
		return out
	}
	rel := m.Relative()
	out.off = r2.Norm(r2.Sub(rel.Shift, p.Pull))
	// The claimed standard uncertainty along any direction, at least.
	out.claimedU = r.Play.U
	out.distinct = r.Distinct
	out.held = r.Play.Lower <= play && play <= r.Play.Upper
	return out
}
