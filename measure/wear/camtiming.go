package wear

import (
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// CrankPerCam is the turn of the crankshaft for one turn of a camshaft in a
// four-stroke engine.
const CrankPerCam = 2

// Lag is how far a camshaft lies behind the crankshaft, in degrees.
type Lag struct {
	Cam   Growth
	Crank Growth // the same angle, counted at the crankshaft
}

// CamLag returns how far a camshaft lags when the strand that pulls it has
// grown by so many mm:
//
//	lag = strand growth / pitch radius of the cam wheel
//
// Only the strand in tension between crankshaft and camshaft counts, never the
// growth of the whole chain: the rest is slack and goes to the tensioner. The
// worn pitch rides higher on both wheels in the same proportion, which does not
// change the phase to first order. Wear of wheels, guides and phasers is not
// in it.
func CamLag(strand Growth, pitch float64, camTeeth int) (Lag, error) {
	diameter, err := PitchDiameter(pitch, camTeeth)
	if err != nil {
		return Lag{}, err
	}
	if strand.Most.Unit != "mm" {
		return Lag{}, fmt.Errorf("strand growth is in %q, want mm", strand.Most.Unit)
	}
	cam, err := strand.times(2/diameter*180/math.Pi, "deg")
	if err != nil {
		return Lag{}, err
	}
	crank, err := cam.times(CrankPerCam, "deg")
	return Lag{Cam: cam, Crank: crank}, err
}

// JumpedTooth returns the lag of a chain that has jumped one tooth on the cam
// wheel, 360/z degrees of the cam; an exact figure to hold a lag against.
func JumpedTooth(camTeeth int) (Lag, error) {
	if err := atLeast("number of teeth", camTeeth, 3); err != nil {
		return Lag{}, err
	}
	angle := 360 / float64(camTeeth)
	return Lag{
		Cam:   Figure(uncert.Combine(angle, "deg", nil)),
		Crank: Figure(uncert.Combine(CrankPerCam*angle, "deg", nil)),
	}, nil
}

// DamperArc returns how far, in mm, a mark on the rim of a crankshaft damper
// of so many mm diameter moves in so many degrees of the crankshaft: the way
// a lag shows to somebody with a tape.
func DamperArc(diameter, crankDeg float64) (float64, error) {
	if err := positive("damper diameter", diameter); err != nil {
		return 0, err
	}
	if err := sane("crankshaft angle", crankDeg); err != nil {
		return 0, err
	}
	return diameter / 2 * crankDeg * math.Pi / 180, nil
}
