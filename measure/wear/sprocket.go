package wear

import (
	"errors"
	"math"
)

// PitchDiameter returns the pitch circle diameter in mm of a sprocket,
// p / sin(pi/z).
func PitchDiameter(pitch float64, teeth int) (float64, error) {
	if err := positive("pitch", pitch); err != nil {
		return 0, err
	}
	if err := atLeast("number of teeth", teeth, 3); err != nil {
		return 0, err
	}
	return pitch / math.Sin(math.Pi/float64(teeth)), nil
}

// RootDiameter and TipDiameter return the diameters in mm of a sprocket for
// the given roller: d - d1 and at most d + 1.25 p - d1 (a gear maker's
// engineering page on roller chain wheels, after ISO 606).
func RootDiameter(pitch, roller float64, teeth int) (float64, error) {
	d, err := PitchDiameter(pitch, teeth)
	if err != nil {
		return 0, err
	}
	if err := positive("roller diameter", roller); err != nil {
		return 0, err
	}
	if roller >= pitch {
		return 0, errors.New("roller is not smaller than the pitch")
	}
	return d - roller, nil
}

// TipDiameter is described with RootDiameter.
func TipDiameter(pitch, roller float64, teeth int) (float64, error) {
	root, err := RootDiameter(pitch, roller, teeth)
	return root + 1.25*pitch, err
}

// Chordal is the variation of chain speed in one tooth's turn of a sprocket at
// constant speed, both in percent.
type Chordal struct {
	OfLargest float64 // (vmax - vmin)/vmax = 1 - cos(pi/z)
	OfMean    float64 // (vmax - vmin)/mean = (pi/z)(1/sin(pi/z) - 1/tan(pi/z)), Shigley Eq. 17-33
}

// ChordalVariation returns the variation of chain speed of a sprocket.
func ChordalVariation(teeth int) (Chordal, error) {
	if err := atLeast("number of teeth", teeth, 3); err != nil {
		return Chordal{}, err
	}
	half := math.Pi / float64(teeth)
	return Chordal{
		OfLargest: 100 * (1 - math.Cos(half)),
		OfMean:    100 * half * (1/math.Sin(half) - 1/math.Tan(half)),
	}, nil
}

// LinksInLoop returns the length of an open drive of two sprockets in links by
// the handbook formula (ISO 10823), not rounded to whole links:
//
//	X = 2 a/p + (z1+z2)/2 + ((z2-z1)/(2 pi))^2 p/a
//
// a is the centre distance in mm.
func LinksInLoop(pitch, centre float64, z1, z2 int) (float64, error) {
	if err := twoSprockets(pitch, centre, z1, z2); err != nil {
		return 0, err
	}
	step := float64(z2-z1) / (2 * math.Pi)
	return 2*centre/pitch + float64(z1+z2)/2 + step*step*pitch/centre, nil
}

// ExactLinksInLoop is LinksInLoop from the geometry itself: two tangents and
// the arcs on the wheels, counted in teeth.
func ExactLinksInLoop(pitch, centre float64, z1, z2 int) (float64, error) {
	if err := twoSprockets(pitch, centre, z1, z2); err != nil {
		return 0, err
	}
	z1, z2 = min(z1, z2), max(z1, z2)
	r1 := pitch / math.Sin(math.Pi/float64(z1)) / 2
	r2 := pitch / math.Sin(math.Pi/float64(z2)) / 2
	lean := math.Asin((r2 - r1) / centre)
	tangents := 2 * math.Sqrt(centre*centre-(r2-r1)*(r2-r1)) / pitch
	arcs := float64(z1)*(0.5-lean/math.Pi) + float64(z2)*(0.5+lean/math.Pi)
	return tangents + arcs, nil
}

// CentreDistance returns the centre distance in mm that a loop of whole links
// needs, by the handbook formula solved for a.
func CentreDistance(pitch float64, links, z1, z2 int) (float64, error) {
	if err := positive("pitch", pitch); err != nil {
		return 0, err
	}
	for _, z := range []int{z1, z2} {
		if err := atLeast("number of teeth", z, 3); err != nil {
			return 0, err
		}
	}
	straight := float64(links) - float64(z1+z2)/2
	step := float64(z2-z1) / (2 * math.Pi)
	root := straight*straight - 8*step*step
	if straight <= 0 || root < 0 {
		return 0, errors.New("too few links for these sprockets")
	}
	centre := pitch / 4 * (straight + math.Sqrt(root))
	return centre, twoSprockets(pitch, centre, z1, z2)
}

func twoSprockets(pitch, centre float64, z1, z2 int) error {
	d1, err := PitchDiameter(pitch, z1)
	if err != nil {
		return err
	}
	d2, err := PitchDiameter(pitch, z2)
	if err != nil {
		return err
	}
	if err := positive("centre distance", centre); err != nil {
		return err
	}
	if centre <= (d1+d2)/2 {
		return errors.New("centre distance is too short: the sprockets overlap")
	}
	return nil
}
