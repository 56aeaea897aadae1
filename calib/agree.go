package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
)

// maxDisagreement is the relative difference of two scales that is let pass
// whatever their uncertainties.
const maxDisagreement = 0.005

// Agree holds two scales of one photo against each other, half-way between
// them. Refused (scales_disagree) is a difference above 0.5 % that is also
// above three combined standard uncertainties.
func Agree(a, b Scale) (check.Check, error) {
	middle := r2.Scale(0.5, r2.Add(a.Origin, b.Origin))
	at, bt := a.At(middle), b.At(middle)
	mean := (at.Value + bt.Value) / 2
	c := check.AtMost("scales_agree", math.Abs(at.Value-bt.Value)/mean, max(3*math.Hypot(at.U, bt.U)/mean, maxDisagreement))
	if c.OK {
		return c, nil
	}
	return c, check.Refuse(check.ScalesDisagree, fmt.Sprintf(
		"two scales in the photo differ by %.2f %% (%.5g and %.5g mm/px), more than %.2f %%", 100*c.Value, at.Value, bt.Value, 100*c.Limit))
}

// Fits says whether the scale may serve a photo of w by h pixels: only one of
// the size it was read in. The refusal is wrong_scale.
func (s Scale) Fits(w, h int) error {
	if s.W == w && s.H == h {
		return nil
	}
	return check.Refuse(check.WrongScale, fmt.Sprintf(
		"the scale was read in a photo of %d x %d pixels, this one has %d x %d", s.W, s.H, w, h))
}
