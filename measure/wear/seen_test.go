package wear

import (
	"math"
	"testing"

	"pinlash/measure/uncert"
)

func TestGrowthOfJoint(t *testing.T) {
	mm := func(v float64, b ...uncert.Term) uncert.Quantity { return uncert.Combine(v, "mm", b) }
	for _, c := range []struct {
		name                           string
		play, clearance, newPlay, want float64
	}{
		// Check values for c0 0.05 and a play of 0.146 mm: one-sided wear adds
		// 0.096, wear all round 0.048 (derived in the table of the per-joint
		// model, no publication claimed).
		{"one-sided", 0.146, 0.05, 0.05, 0.096},
		{"all round", 0.146, 0.146, 0.05, 0.048},
		{"both", 0.146, 0.098, 0.05, 0.072},
		{"new", 0.05, 0.05, 0.05, 0},
		// A round new joint of 0.05 mm, pulled tight, has its pin 0.025 mm off
		// the bore's centre, which is its growth over a joint without play.
		{"offset of a new joint", 0.05, 0.05, 0, 0.025},
		{"tighter than new", 0.03, 0.03, 0.05, -0.01},
	} {
		g, err := GrowthOfJoint(mm(c.play), mm(c.clearance), mm(c.newPlay))
		if err != nil || !g.Known() || math.Abs(g.Most.Value-c.want) > 1e-12 {
			t.Errorf("%s: %v, %v; want %g", c.name, g.Most, err, c.want)
		}
	}
	if _, err := GrowthOfJoint(mm(0.1), uncert.Combine(0.1, "px", nil), mm(0.05)); err == nil {
		t.Error("a clearance in pixels was taken")
	}
}

// TestGrowthOfJointCountsOnce gives play and clearance a part in common: of an
// error of 6 in both, half is left in play - clearance/2.
func TestGrowthOfJointCountsOnce(t *testing.T) {
	rims := uncert.Term{Name: "tone curve and focus", U: 0.006}
	play := uncert.Combine(0.146, "mm", uncert.Budget{rims, {Name: "wear depth", U: 0.004}})
	clearance := uncert.Combine(0.05, "mm", uncert.Budget{rims})
	newPlay := uncert.Combine(0.05, "mm", uncert.Budget{{Name: "new play", U: 0.024}})
	g, err := GrowthOfJoint(play, clearance, newPlay)
	if want := math.Sqrt(0.003*0.003 + 0.004*0.004 + 0.012*0.012); err != nil || math.Abs(g.Most.U-want) > 1e-12 {
		t.Errorf("u %g, %v; want %g", g.Most.U, err, want)
	}
}
