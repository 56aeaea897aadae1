package wear

import (
	"fmt"

	"pinlash/measure/uncert"
)

// Agreement is the outcome of a cross-check of one chain's growth.
type Agreement string

// The outcomes.
const (
	Agree         Agreement = "joints and spans agree"
	SpansGrewMore Agreement = "the spans have grown more than their joints explain"
	JointsWorn    Agreement = "the joints are worn more than the spans show"
)

// CrossCheck is the growth found in joints held against the growth found in
// spans of the same chain.
type CrossCheck struct {
	Agreement Agreement
	// Difference is joints minus spans, mm a joint.
	Difference Growth
	// Missing lists what could make the difference, the likeliest first;
	// empty when both agree.
	Missing []string
}

// CheckJointsAgainstSpans compares the growth of the mean joint, in mm, found
// in joint photos with that found in spans. They agree when the 95 % interval
// of their difference holds zero for any values between their ends. Parts
// named in shared, such as one scale, have one cause in both.
func CheckJointsAgainstSpans(joints, spans Growth, shared ...string) (CrossCheck, error) {
	for name, g := range map[string]Growth{"growth from joints": joints, "growth from spans": spans} {
		for _, q := range []uncert.Quantity{g.Least, g.Most} {
			if err := usable(name, q, "mm"); err != nil {
				return CrossCheck{}, err
			}
		}
	}
	open := joints.Open
	switch {
	case joints.Known():
		open = spans.Open
	case !spans.Known():
		open = fmt.Sprintf("%s; %s", joints.Open, spans.Open)
	}
	c := CrossCheck{Agreement: Agree, Difference: Growth{
		Least: difference(joints.Least, spans.Most, shared),
		Most:  difference(joints.Most, spans.Least, shared),
		Open:  open,
	}}
	switch {
	case c.Difference.Most.Upper < 0:
		c.Agreement = SpansGrewMore
		c.Missing = []string{
			"plates stretched, or their holes widened: measure the pitch of single inner and outer links",
			"pins turning in the outer plates or bushes in the inner plates: look for fretting at the press fits",
			"worn rollers in a span read over rollers: read it with both jaws",
			"joints photographed are less worn than the chain: photograph more of them, spread over the chain",
			"new play assumed too large, or new span too short: measure a new chain",
		}
	case c.Difference.Least.Lower > 0:
		c.Agreement = JointsWorn
		c.Missing = []string{
			"pull too light, so that the joints were not drawn tight: repeat the spans at the measuring load",
			"wear all round the joint, of which only half lengthens the chain: give the share of the play",
			"joints photographed are more worn than the chain: photograph more of them, spread over the chain",
			"new play assumed too small: measure a new chain",
			"worn rollers in a span read with inside jaws: read it with both jaws",
		}
	}
	return c, nil
}
