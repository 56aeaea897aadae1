package wear

import (
	"errors"
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Tensioner is what bows the slack strand to keep it tight.
type Tensioner struct {
	// Blade is a curved guide along the whole strand; otherwise a shoe or
	// wheel presses at one point.
	Blade bool
	// Chord is the straight distance in mm between the points where the
	// strand leaves its two wheels.
	Chord float64
	// At is where a shoe presses, mm from one end of the chord; 0 means the
	// middle. Of no meaning for a blade.
	At float64
	// Bow is how far the strand stands off the chord with the new chain, mm,
	// at the shoe or in the middle of the blade.
	Bow float64
	// Lever is the plunger's travel for each mm of bow: for a blade on a pivot
	// the distance from pivot to plunger over that from pivot to the middle of
	// the strand. 0 means 1, a plunger that works on the strand directly.
	Lever float64
}

// Travel returns how far in mm the plunger moves to take up the slack, in mm.
//
// A shoe at a and b = chord - a from the ends holds a strand of the length
//
//	s(h) = sqrt(a^2 + h^2) + sqrt(b^2 + h^2)
//
// at the bow h. A blade is taken to hold it on an arc of a circle over the
// chord c,
//
//	s(t) = c t / sin t,  h = c/2 tan(t/2),
//
// t being half the arc's angle; a real blade swings and bends in some other
// curve, which matters less the flatter it is. The travel is Lever times
// h(s(Bow) + slack) - Bow. Slack that would leave the strand shorter than the
// chord is refused; so is a bow beyond a half circle.
func (t Tensioner) Travel(slack Growth) (Growth, error) {
	if err := t.check(); err != nil {
		return Growth{}, err
	}
	least, err := t.travel(slack.Least)
	if err != nil {
		return Growth{}, err
	}
	if slack.Known() {
		return Figure(least), nil
	}
	most, err := t.travel(slack.Most)
	if err != nil {
		return Growth{}, err
	}
	return Growth{Least: least, Most: most, Open: slack.Open}, nil
}

func (t Tensioner) check() error {
	if err := positive("chord of the slack strand", t.Chord); err != nil {
		return err
	}
	for name, v := range map[string]float64{"place of the shoe": t.At, "bow": t.Bow, "lever": t.Lever} {
		if err := sane(name, v); err != nil {
			return err
		}
		if v < 0 {
			return fmt.Errorf("%s is %g, want zero or more", name, v)
		}
	}
	switch {
	case t.At >= t.Chord:
		return errors.New("shoe does not press between the ends of the strand")
	case t.Bow > t.Chord/2:
		return errors.New("bow is more than half the chord")
	}
	return nil
}

func (t Tensioner) travel(slack uncert.Quantity) (uncert.Quantity, error) {
	if err := usable("slack", slack, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	fresh := t.strand(t.Bow)
	if length := fresh + slack.Value; length < t.Chord || length > t.strand(t.Chord/2) {
		return uncert.Quantity{}, fmt.Errorf("slack of %.3g mm is beyond what the strand can hold", slack.Value)
	}
	lever := t.Lever
	if lever == 0 {
		lever = 1
	}
	value := lever * (t.bow(fresh+slack.Value) - t.Bow)
	if slack.U == 0 {
		return uncert.Combine(value, "mm", nil), nil
	}
	// The bow rises steeply on a flat strand; its change over one standard
	// uncertainty on either side serves as the sensitivity (GUM 5.1.3 note 2).
	rise := lever * (t.bow(fresh+slack.Value+slack.U) - t.bow(fresh+slack.Value-slack.U))
	return uncert.Combine(value, "mm", scaledParts(slack, rise/(2*slack.U))), nil
}

// strand returns the length of the strand at a bow.
func (t Tensioner) strand(h float64) float64 {
	if t.Blade {
		half := 2 * math.Atan(2*h/t.Chord)
		if half == 0 {
			return t.Chord
		}
		return t.Chord * half / math.Sin(half)
	}
	a := t.At
	if a == 0 {
		a = t.Chord / 2
	}
	return math.Hypot(a, h) + math.Hypot(t.Chord-a, h)
}

// bow inverts strand by bisection between a straight strand and a half
// circle, the ends for lengths outside.
func (t Tensioner) bow(length float64) float64 {
	low, high := 0.0, t.Chord/2
	for range 60 {
		if mid := (low + high) / 2; t.strand(mid) < length {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
