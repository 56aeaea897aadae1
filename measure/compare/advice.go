package compare

import (
	"fmt"
	"math"
)

// Shares of measuring in the spread, percent, and levels that readings can
// tell apart: trade practice (AIAG, Measurement Systems Analysis).
const (
	goodShare   = 10
	usableShare = 30
	goodLevels  = 5
)

// mostPhotos is the most photos of a joint that are advised to be averaged.
const mostPhotos = 20

// advice says what follows from a gauge.
func advice(g Gauge) []string {
	out := []string{graded("the spread", g.OfTotal)}
	if g.OfLimit > 0 {
		out = append(out, graded("the limit", g.OfLimit))
	}
	switch {
	case g.Levels == 1:
		out = append(out, "the joints cannot be told apart: take joints that differ more, or measure better")
	case g.Levels < goodLevels:
		out = append(out, fmt.Sprintf("%d levels of wear can be told apart; %d are wanted to rank joints", g.Levels, goodLevels))
	}
	if g.OfTotal <= usableShare && g.OfLimit <= usableShare {
		return out
	}
	if g.Reproducibility > g.Repeatability {
		out = append(out, "people differ more than their repeats: agree on light, focus and the way a joint is set up before photographing more")
	} else {
		out = append(out, "repeats differ more than people: hold camera and joint firmly, and focus and light alike each time")
	}
	if n := g.photosNeeded(); n > 0 {
		return append(out, fmt.Sprintf("the mean of %d photos of each joint brings measuring below %d %%", n, usableShare))
	}
	return append(out, fmt.Sprintf("averaging up to %d photos of each joint does not bring measuring below %d %%", mostPhotos, usableShare))
}

func graded(of string, percent float64) string {
	verdict := "too much to trust single photos"
	switch {
	case percent < goodShare:
		verdict = "good"
	case percent <= usableShare:
		verdict = "usable, if little hangs on a single photo"
	}
	return fmt.Sprintf("measuring takes %.3g %% of %s: %s", percent, of, verdict)
}

// photosNeeded returns how many photos of a joint, averaged, bring measuring
// to a usable share of spread and limit; 0 if mostPhotos do not.
func (g Gauge) photosNeeded() int {
	for n := 2; n <= mostPhotos; n++ {
		m := math.Hypot(g.Repeatability/math.Sqrt(float64(n)), g.Reproducibility)
		if 100*m <= usableShare*math.Hypot(m, g.Joints) && g.OfLimit*m/g.Measuring <= usableShare {
			return n
		}
	}
	return 0
}
