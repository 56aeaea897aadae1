package vision_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/vision/synth"
)

// Plays of the sweep, pixels.
const leastPlay, mostPlay = 0.02, 30.0

// pairCell is one kind of pair in the sweep: a family and the value of what is
// varied in it.
type pairCell struct {
	family, value string
	// draw returns a pair with a play, pixels, unless the cell has its own.
	draw func(r *rand.Rand, play float64) synth.Pair
	// times is by how much the cell has more trials than others; 0 is 1.
	times int
}

// smallPair is a pair drawn by chance in a photo of 608 x 448 px.
func smallPair(r *rand.Rand, play float64) synth.Pair {
	const k = 0.75
	p := synth.DrawPair(r, play)
	p.W, p.H, p.Joint = 608, 448, r2.Scale(k, p.Joint)
	p.PinR, p.PlateR, p.Pitch, p.Rule = k*p.PinR, k*p.PlateR, k*p.Pitch, k*p.Rule
	for i := range p.Camera.Glare {
		p.Camera.Glare[i].At = r2.Scale(k, p.Camera.Glare[i].At)
		p.Camera.Glare[i].Radius *= k
	}
	return p
}

// usualPair is a pair in middling light, nothing hard about it.
func usualPair(r *rand.Rand, play float64) synth.Pair {
	p := smallPair(r, play)
	p.Texture, p.TurnRad, p.SwingRad = 0.1, between(r, -0.003, 0.003), 0
	p.Shift = r2.Scale(between(r, 0, 8), direction(2*math.Pi*r.Float64()))
	p.Camera.Blur, p.Camera.Glare = 1, nil
	p.Camera.Noise = synth.Noise{Read: 0.003, FullWell: 4000}
	return p
}

// pairCells lists the sweep of pairs.
func pairCells() []pairCell {
	var list []pairCell
	vary := func(family string, values []float64, set func(r *rand.Rand, p *synth.Pair, v float64)) {
		for _, v := range values {
			list = append(list, pairCell{family: family, value: strconv.FormatFloat(v, 'g', 4, 64), draw: func(r *rand.Rand, play float64) synth.Pair {
				p := usualPair(r, play)
				set(r, &p, v)
				return p
			}})
		}
	}
	vary("play_px", []float64{leastPlay, 0.1, 0.3, 1, 3, 10, mostPlay}, func(r *rand.Rand, p *synth.Pair, v float64) {
		p.Pull = r2.Scale(v, direction(p.AngleRad+between(r, -0.1, 0.1)))
	})
	vary("camera_shift_px", []float64{0, 5, 15, 40}, func(r *rand.Rand, p *synth.Pair, v float64) {
		p.Shift = r2.Scale(v, direction(2*math.Pi*r.Float64()))
	})
	vary("camera_turn_deg", []float64{0, 0.2, 0.5}, func(_ *rand.Rand, p *synth.Pair, v float64) {
		p.TurnRad = v * math.Pi / 180
	})
	vary("swing_deg", []float64{0.1, 0.3, 1}, func(_ *rand.Rand, p *synth.Pair, v float64) {
		p.SwingRad = v * math.Pi / 180
	})
	vary("blur_px", []float64{0.5, 1, 1.5, 2}, func(_ *rand.Rand, p *synth.Pair, v float64) {
		p.Camera.Blur = v
	})
	vary("noise", []float64{0.001, 0.003, 0.006, 0.012}, func(_ *rand.Rand, p *synth.Pair, v float64) {
		p.Camera.Noise.Read = v
	})
	vary("glare_spots", []float64{1, 2, 4}, func(r *rand.Rand, p *synth.Pair, v float64) {
		for range int(v) {
			p.Camera.Glare = append(p.Camera.Glare, synth.Glare{
				At:     r2.Vec{X: between(r, 0, float64(p.W)), Y: between(r, 0, 0.8*float64(p.H))},
				Radius: between(r, 8, 38), Level: between(r, 0.3, 1.5),
			})
		}
	})
	vary("texture", []float64{0.03, 0.04, 0.06, 0.1, 0.2}, func(_ *rand.Rand, p *synth.Pair, v float64) {
		p.Texture = v
	})
	return append(list,
		pairCell{family: "all by chance", value: "drawn", draw: smallPair, times: 2},
		pairCell{family: "no play, all by chance", value: "0", draw: func(r *rand.Rand, _ float64) synth.Pair { return smallPair(r, 0) }, times: 32},
	)
}

// pairSummary is what the trials of one cell have in common.
type pairSummary struct {
	trials, refused, measured int
	zero, alarms              int     // without play; of these called distinct
	seen                      int     // with play and called distinct
	light, whole              int     // intervals that hold the truth
	large, astray             int     // off by more than pairsOff; by astrayOfClaim
	off, scatter              float64 // root mean square: px; over the claimed, but for those astray
}

func summarisePairs(trials []pairTrial) pairSummary {
	s := pairSummary{trials: len(trials)}
	count := func(n *int, yes bool) {
		if yes {
			*n++
		}
	}
	for _, p := range trials {
		if p.refused {
			s.refused++
			continue
		}
		s.measured++
		count(&s.zero, p.play == 0)
		count(&s.alarms, p.play == 0 && p.distinct)
		count(&s.seen, p.play > 0 && p.distinct)
		count(&s.light, p.light)
		count(&s.whole, p.whole)
		count(&s.large, p.off > pairsOff)
		s.off += p.off * p.off
		if p.stray2/2 > astrayOfClaim*astrayOfClaim {
			s.astray++
		} else {
			s.scatter += p.stray2 / 2
		}
	}
	s.off = math.Sqrt(s.off / float64(max(s.measured, 1)))
	s.scatter = math.Sqrt(s.scatter / float64(max(s.measured-s.astray, 1)))
	return s
}

// alarmBound is the upper 95 % bound of the share of false alarms, after
// Clopper and Pearson.
func (s pairSummary) alarmBound() float64 {
	if s.alarms == s.zero {
		return 1
	}
	return distuv.Beta{Alpha: float64(s.alarms + 1), Beta: float64(s.zero - s.alarms)}.Quantile(0.95)
}

type pairRow struct {
	pairCell
	pairSummary
}

// writePairs writes one row for each cell, and one for all, to
// testdata/sweep/pair.csv.
func writePairs(t *testing.T, rows []pairRow, all pairRow) {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "# go test -run SweepPairs -timeout 60m ./vision -sweep %d\n", *sweepTrials)
	fmt.Fprintf(&b, "# %s. Every fourth pair is without play, the others have %g to %g px. distinct: with play, called distinct from zero.\n", time.Now().UTC().Format(time.DateOnly), leastPlay, mostPlay)
	fmt.Fprintf(&b, "# astray: registrations off by more than %.0f times what they claim, which are of the wrong thing.\n", astrayOfClaim)
	fmt.Fprintln(&b, "# sd_over_claimed: of the other registrations at the joint, over their own covariance. light_%: share of the 95 % intervals from the")
	fmt.Fprintln(&b, "# light alone that hold the truth; whole_%: the same for the whole budget, which allows for links at different heights and")
	fmt.Fprintln(&b, "# a camera's own response, none of which is drawn, and begins at zero where no play is seen. rms_off_px: at the joint.")
	w := csv.NewWriter(&b)
	lines := [][]string{{"family", "value", "pairs", "refused", "no_play", "false_alarms", "false_alarms_upper_95_%", "distinct", "rms_off_px", "astray", "sd_over_claimed", "light_%", "whole_%"}}
	for _, r := range append(rows, all) {
		s := r.pairSummary
		bound := ""
		if s.zero > 0 {
			bound = fmt.Sprintf("%.2f", 100*s.alarmBound())
		}
		lines = append(lines, []string{
			r.family, r.value, strconv.Itoa(s.trials), strconv.Itoa(s.refused), strconv.Itoa(s.zero), strconv.Itoa(s.alarms), bound,
			strconv.Itoa(s.seen), fmt.Sprintf("%.4f", s.off), strconv.Itoa(s.astray), fmt.Sprintf("%.2f", s.scatter), percent(s.light, s.measured), percent(s.whole, s.measured),
		})
	}
	if err := w.WriteAll(lines); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join("..", "testdata", "sweep", "pair.csv"), []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
