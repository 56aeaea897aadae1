package vision

import (
	"fmt"

	"pinlash/measure/check"
)

// The limits of exposure catch only photos beyond hope. Whether the edges
// themselves are clipped or too faint is judged where they are fitted.
const (
	// saturatedLimit leaves room for a chain before a white background;
	// photos of metal have 0 to 2 %, a burnt out one 90 % and more.
	saturatedLimit = 0.6
	// brightLimit is, in sRGB, level 39 of 255. Below, the steps at the edges
	// of steel are no more than about 15 levels, which is too few to fit.
	brightLimit = 0.02
)

// Exposure says whether a photo has light enough and not too much: the share
// of saturated pixels and the light that 99 % of the pixels do not exceed.
// The error is a *check.Refusal, overexposed or too_dark; the checks are
// returned in any case.
func Exposure(p Photo) ([]check.Check, error) {
	saturated := check.AtMost("saturated share", p.Saturated, saturatedLimit)
	bright := check.AtLeast("bright light", p.Bright, brightLimit)
	checks := []check.Check{saturated, bright}
	switch {
	case !saturated.OK:
		return checks, check.Refuse(check.Overexposed, fmt.Sprintf("%.0f %% of the picture is at the white limit, at most %.0f %% may be", 100*saturated.Value, 100*saturated.Limit))
	case !bright.OK:
		return checks, check.Refuse(check.TooDark, fmt.Sprintf("99 %% of the picture is darker than %.2f %% of full light, it needs %.0f %%", 100*bright.Value, 100*bright.Limit))
	}
	return checks, nil
}
