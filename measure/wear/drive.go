package wear

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// WheelKind is what a wheel does in a drive.
type WheelKind int

// The kinds of wheels.
const (
	Driver WheelKind = iota // crankshaft, or the shaft that drives a secondary chain
	Cam                     // camshaft, or any other driven shaft that is to be timed
	Idler                   // turns freely
)

// Wheel is one sprocket of a drive.
type Wheel struct {
	Name  string
	Kind  WheelKind
	Teeth int
	// ToNext is the free strand from this wheel to the next one in the
	// running direction, in pitches; see [StrandPitches].
	ToNext float64
}

// Drive is a chain on its wheels. The wheels stand in the order in which a
// link passes them, beginning anywhere; there is one driver.
//
// The driver pulls the chain in from the wheel before it and lets it go slack
// towards the wheel after it. So every free strand is in tension but the one
// that leaves the driver, which is the tensioner's.
type Drive struct {
	Pitch  float64 // mm
	Joints int     // of the whole chain
	Wheels []Wheel
}

func (d Drive) check() error {
	if err := positive("pitch", d.Pitch); err != nil {
		return err
	}
	if err := atLeast("number of joints", d.Joints, 1); err != nil {
		return err
	}
	if err := atLeast("number of wheels", len(d.Wheels), 2); err != nil {
		return err
	}
	drivers, free := 0, 0.0
	for _, w := range d.Wheels {
		if w.Kind == Driver {
			drivers++
		}
		if err := atLeast("number of teeth of "+w.Name, w.Teeth, 3); err != nil {
			return err
		}
		if err := positive("strand after "+w.Name, w.ToNext); err != nil {
			return err
		}
		free += w.ToNext
	}
	switch {
	case drivers != 1:
		return fmt.Errorf("drive has %d drivers, want one", drivers)
	case free >= float64(d.Joints):
		return fmt.Errorf("free strands hold %.3g pitches, the whole chain only %d", free, d.Joints)
	}
	return nil
}

// TightStrand returns how many pitches of free chain in tension lie between
// the named wheel and the driver. Strands beyond other wheels on the way count
// in full: each passes on the displacement of the chain it pulls. The pitches
// lying on the wheels do not count.
func (d Drive) TightStrand(name string) (float64, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	i := slices.IndexFunc(d.Wheels, func(w Wheel) bool { return w.Name == name })
	switch {
	case i < 0:
		return 0, fmt.Errorf("drive has no wheel %q", name)
	case d.Wheels[i].Kind == Driver:
		return 0, fmt.Errorf("%s is the driver; no strand pulls it", name)
	}
	pitches := 0.0
	for d.Wheels[i].Kind != Driver {
		pitches += d.Wheels[i].ToNext
		i = (i + 1) % len(d.Wheels)
	}
	return pitches, nil
}

// SlackStrand returns how many pitches the strand leaving the driver holds,
// the one on which the tensioner works.
func (d Drive) SlackStrand() (float64, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	i := slices.IndexFunc(d.Wheels, func(w Wheel) bool { return w.Kind == Driver })
	return d.Wheels[i].ToNext, nil
}

// Bends returns the teeth of the wheels at both ends of every strand in
// tension, as [Running] wants them.
func (d Drive) Bends() ([]int, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	var teeth []int
	for i, w := range d.Wheels {
		if w.Kind != Driver {
			teeth = append(teeth, w.Teeth, d.Wheels[(i+1)%len(d.Wheels)].Teeth)
		}
	}
	return teeth, nil
}

// Strand returns the growth in mm of so many pitches of the chain from the
// growth of its mean joint. Pitches need not be whole: a strand ends where it
// meets the wheel. Which link stands there moves the growth by one joint's.
func Strand(perJoint Growth, pitches float64) (Growth, error) {
	if err := positive("strand in pitches", pitches); err != nil {
		return Growth{}, err
	}
	if perJoint.Most.Unit != "mm" {
		return Growth{}, fmt.Errorf("joint growth is in %q, want mm", perJoint.Most.Unit)
	}
	return perJoint.times(pitches, "mm")
}

// CamTiming is what the wear of the chain does to one camshaft.
type CamTiming struct {
	Name   string
	Strand float64 // pitches in tension between it and the driver
	Growth Growth  // of that strand, mm
	Lag    Lag
	// OfTooth is the lag as a share of a jumped tooth.
	OfTooth float64
}

// Timing returns the lag of every cam in the drive from the growth of the mean
// joint in mm. In a secondary drive the lag is against the shaft that drives
// it, and that shaft's own lag comes on top.
func (d Drive) Timing(perJoint Growth) ([]CamTiming, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	var all []CamTiming
	for _, w := range d.Wheels {
		if w.Kind != Cam {
			continue
		}
		pitches, err := d.TightStrand(w.Name)
		if err != nil {
			return nil, err
		}
		growth, err := Strand(perJoint, pitches)
		if err != nil {
			return nil, err
		}
		lag, err := CamLag(growth, d.Pitch, w.Teeth)
		if err != nil {
			return nil, err
		}
		tooth := 360 / float64(w.Teeth)
		all = append(all, CamTiming{Name: w.Name, Strand: pitches, Growth: growth, Lag: lag, OfTooth: lag.Cam.Mid().Value / tooth})
	}
	if all == nil {
		return nil, errors.New("drive has no cam")
	}
	return all, nil
}

// OpenWrap parts the two ends of the slack.
const OpenWrap = "how far the worn chain rides up the wheels not known"

// Slack returns the length in mm the tensioner has to take up, from the
// growth of the mean joint. Where the worn chain rides up the teeth it lies on
// larger arcs that swallow the growth of the pitches on the wheels, and only
// the free pitches make slack; where it does not, all of the chain's growth
// does. The two ends are these.
func (d Drive) Slack(perJoint Growth) (Growth, error) {
	if err := d.check(); err != nil {
		return Growth{}, err
	}
	free := 0.0
	for _, w := range d.Wheels {
		free += w.ToNext
	}
	least, err := Strand(perJoint, free)
	if err != nil {
		return Growth{}, err
	}
	most, err := perJoint.Joints(d.Joints)
	if err != nil {
		return Growth{}, err
	}
	open := OpenWrap
	if !perJoint.Known() {
		open = perJoint.Open + "; " + OpenWrap
	}
	lower, upper := least.Least, most.Most
	if upper.Value < 0 { // a chain shorter than new: the larger count is the lower end
		lower, upper = most.Least, least.Most
	}
	return between(lower, upper, open), nil
}

// StrandPitches returns the length of the free strand between two wheels in
// pitches, from their centre distance in mm:
//
//	sqrt(a^2 - (r1 - r2)^2) / p,  both on the same side of the chain
//	sqrt(a^2 - (r1 + r2)^2) / p,  on opposite sides (crossed)
func StrandPitches(pitch, centre float64, z1, z2 int, crossed bool) (float64, error) {
	if err := twoSprockets(pitch, centre, z1, z2); err != nil {
		return 0, err
	}
	r1 := pitch / math.Sin(math.Pi/float64(z1)) / 2
	r2 := pitch / math.Sin(math.Pi/float64(z2)) / 2
	across := r1 - r2
	if crossed {
		across = r1 + r2
	}
	return math.Sqrt(centre*centre-across*across) / pitch, nil
}
