package vision_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"

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
	scatterOfClaim = 2.0   // scatter of the registration over the claimed one
	// A registration so many times off what it claims is not of the link it
	// should be of, or of something beside it. These are counted apart.
	astrayOfClaim = 5.0
	pairsAstray   = 0.01 // share of pairs
)

// pairTrial is one pair measured.
type pairTrial struct {
	play     float64 // pixels
	refused  bool
	distinct bool
	off      float64 // of the motion at the true joint, pixels
	// stray2 is the squared error of the registration over its covariance, of
	// mean 2 when that says all.
	stray2 float64
	// light says whether the truth lies in the 95 % interval that the light
	// alone gives, along the line on which the play is measured; whole the
	// same for the play's whole budget.
	light, whole bool
}

// TestSweepPairs measures drawn pairs, one thing about them varied at a time
// and then all of them by chance. Every fourth has no play.
func TestSweepPairs(t *testing.T) {
	// A pair takes longer to draw than a joint, and has more kinds.
	n := max(1, *sweepTrials/4)
	var rows []pairRow
	var all []pairTrial
	for i, c := range pairCells() {
		trials := triedPairs(t, c, uint64(1000+i), n)
		rows = append(rows, pairRow{c, summarisePairs(trials)})
		all = append(all, trials...)
	}
	for _, r := range rows {
		s := r.pairSummary
		if s.measured-s.astray < 2 {
			continue
		}
		// The squares follow chi-square, two for each pair.
		free := float64(2 * (s.measured - s.astray))
		allowed := scatterOfClaim * math.Sqrt(distuv.ChiSquared{K: free}.Quantile(1-doubt)/free)
		if s.scatter > allowed {
			t.Errorf("%s %s: the registration scatters by %.2f of the claimed, %.1f is asked (%.2f by chance)", r.family, r.value, s.scatter, scatterOfClaim, allowed)
		}
	}
	s := summarisePairs(all)
	t.Logf("%d pairs, %d refused; of %d measured the truth lies in %d intervals from the light alone, %d of the whole budget; %d of %d zero plays called distinct, at most %.2f %% at 95 %%; scatter %.2f of the claimed but for %d astray; %d off by more than %.2f px",
		s.trials, s.refused, s.measured, s.light, s.whole, s.alarms, s.zero, 100*s.alarmBound(), s.scatter, s.astray, s.large, pairsOff)
	if high(s.refused, s.trials, pairsRefused) {
		t.Errorf("%d of %d pairs refused", s.refused, s.trials)
	}
	if low(s.light, s.measured, leastCovered) || high(s.light, s.measured, mostCovered) {
		t.Errorf("%d of %d intervals from the light alone hold the truth, %.0f to %.0f %% are asked", s.light, s.measured, 100*leastCovered, 100*mostCovered)
	}
	// The budget may allow for more than happens, but not for less.
	if low(s.whole, s.measured, leastCovered) {
		t.Errorf("%d of %d intervals of the whole budget hold the truth, 95 %% are claimed", s.whole, s.measured)
	}
	if high(s.alarms, s.zero, falseAlarms) {
		t.Errorf("%d of %d zero plays called distinct from zero", s.alarms, s.zero)
	}
	if high(s.astray, s.measured, pairsAstray) {
		t.Errorf("%d of %d registrations are off by more than %.0f times the claimed", s.astray, s.measured, astrayOfClaim)
	}
	if high(s.large, s.measured, 0.05) {
		t.Errorf("%d of %d motions off by more than %.2f px", s.large, s.measured, pairsOff)
	}
	if *sweepTrials > 0 {
		writePairs(t, rows, pairRow{pairCell{family: "all"}, s})
	}
}

// triedPairs runs the trials of a cell, n or as many times that as it says, on
// two processors.
func triedPairs(t *testing.T, c pairCell, stream uint64, n int) []pairTrial {
	t.Helper()
	out := make([]pairTrial, n*max(c.times, 1))
	var wg sync.WaitGroup
	for lane := range 2 {
		wg.Go(func() {
			for i := lane; i < len(out); i += 2 {
				r := rand.New(rand.NewPCG(stream, uint64(i)))
				play := math.Exp(between(r, math.Log(leastPlay), math.Log(mostPlay)))
				if (int(stream)+i)%4 == 0 {
					play = 0
				}
				out[i] = tryPair(t, c.draw(r, play))
			}
		})
	}
	wg.Wait()
	return out
}

func tryPair(t *testing.T, p synth.Pair) pairTrial {
	out := pairTrial{play: r2.Norm(p.Pull)}
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
	whole, err := measure.Play(m, scale, measure.PlayOptions{})
	if err != nil {
		t.Error(err)
		return out
	}
	// Nothing is allowed for the height of the links, which lie in one plane:
	// so zero is told from not zero at its sharpest.
	r, err := measure.Play(m, scale, measure.PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}})
	if err != nil {
		t.Error(err)
		return out
	}
	rel := m.Relative()
	out.off = r2.Norm(r2.Sub(rel.Shift, p.Pull))
	out.distinct = r.Distinct
	out.whole = whole.Play.Lower <= out.play && out.play <= whole.Play.Upper
	// The registration is held against how the link went at the point taken
	// for the joint: where that is wrong, is another part of the budget.
	sin, cos := math.Sincos(p.SwingRad)
	d := r2.Sub(m.Joint, p.Joint)
	e := r2.Sub(rel.Shift, r2.Add(p.Pull, r2.Vec{X: cos*d.X - sin*d.Y - d.X, Y: sin*d.X + cos*d.Y - d.Y}))
	c := rel.Cov
	out.stray2 = (c[1][1]*e.X*e.X - 2*c[0][1]*e.X*e.Y + c[0][0]*e.Y*e.Y) / (c[0][0]*c[1][1] - c[0][1]*c[0][1])
	line := r.Way
	if !r.Distinct {
		line = r2.Sub(m.Moving.Motion.Center, m.Joint)
	}
	for _, term := range r.Play.Budget {
		if term.Name == "light and texture of the links" {
			out.light = math.Abs(r2.Dot(e, r2.Unit(line))) <= uncert.CoverageFactor(0.95, term.DF)*term.U
		}
	}
	return out
}
