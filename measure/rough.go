package measure

import (
	"math"
	"slices"

	"pinlash/measure/uncert"
)

// Rims that are known less well than clean ones are seldom just that: what the photo
// shows is not what the rules for reading it were made for. Of 6,361 rendered photos of
// harsh joints, each as it came out when it was first looked at, the worst of nine
// lengths lay within its interval in 96 of 100 where rims were sharp and even, and in 87
// of 100 others; with intervals twice as wide, in 95. Of careful photos one in eight is
// not quite sharp and even; their intervals are 1.4 times as wide.
const (
	// Standard uncertainty of a radius, pixels, up to which a rim is sharp, and
	// from which on it is rough.
	sharpRimU, roughRimU = 0.015, 0.03
	// The same of the step of light over its unevenness beside the rims.
	evenLight, unevenLight = 10.5, 9.0
	// roughTimes is how many times wider the intervals of rough rims are, up to a
	// standard uncertainty of roughMost, pixels: larger ones have their own reasons.
	roughTimes, roughMost = 2.0, 2.5
	// roughSeen is from which on that is worth a word.
	roughSeen = 1.2
)

// rough is how many times wider intervals are for rims that are not sharp and even.
func (j joint) rough() float64 {
	ramp := func(x, from, to float64) float64 { return max(0, min((x-from)/(to-from), 1)) }
	rough := ramp(math.Log(j.e.LightU()), math.Log(sharpRimU), math.Log(roughRimU))
	uneven := ramp(j.e.SignalToNoise(), evenLight, unevenLight)
	return 1 + (roughTimes-1)*max(rough, uneven)
}

// widened returns a figure as rough rims leave it.
func (j joint) widened(q uncert.Quantity) uncert.Quantity {
	u := min(j.rough()*q.U, roughMost)
	if u <= q.U {
		return q
	}
	more := uncert.Term{Name: "rims not sharp and even", U: math.Sqrt(u*u - q.U*q.U)}
	return uncert.Combine(q.Value, q.Unit, append(slices.Clone(q.Budget), more))
}
