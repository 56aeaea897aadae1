package wear

import (
	"pinlash/measure/uncert"
)

// Side is the side of a limit that a reading is not to pass.
type Side int

// The sides.
const (
	UpperLimit Side = iota // at most
	LowerLimit             // at least
)

// DecideReading holds a reading against the limit a maker gives for that very
// reading and in its unit, by its 95 % interval as [Decide] does. Such are the
// caliper across the rollers of a chain laid round its wheel, which has a lower
// limit and tells the wear of the wheel, or the way a chain moves when its
// wheel is rocked, which tells the slack. They say nothing of what the chain
// has grown by.
func DecideReading(reading uncert.Quantity, limit Limit, side Side) (Decision, error) {
	if err := positive("limit", limit.Value); err != nil {
		return Decision{}, err
	}
	if err := usable("reading", reading, limit.Unit); err != nil {
		return Decision{}, err
	}
	q, at := reading, limit.Value
	if side == LowerLimit { // the mirror image has an upper limit
		q, at = reading.Scaled(-1, reading.Unit), -limit.Value
	}
	past := 1 - Conformance(q, at)
	d := Decision{Verdict: verdict(q, q, at), Limit: limit, PastLeast: past, PastMost: past}
	if d.Verdict == TooClose {
		d.Settles = "a reading with less uncertainty, most of which is: " + partsOf(reading).Largest()[0].Name
	}
	return d, nil
}
