package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// Options says what is known besides the photo. Only W and H must be given.
type Options struct {
	W, H int // size of the photo, pixels
	// Tolerance is the standard uncertainty of the length that was stated: of
	// the rule between its outermost visible marks, of the gauge's diameter,
	// of the distance of two points. Zero stands for the default of each.
	Tolerance Length
	// WorkingDistance is that from the lens to the plane of the scale. Zero
	// means not known: then the assumptions about a tilt are the wider.
	WorkingDistance Length
}

// What is assumed of a photo that does not tell: judgement, of the order met at
// a bench. The first two are limits of rectangular distributions.
const (
	// squareWithin is how square to its object a camera is set by eye.
	squareWithin = 2 * math.Pi / 180
	// cornerDistortion is the relative lens error of a fair macro lens in the
	// corner of the photo. Lenses range from 0.1 to 3 %. A rule over a third of
	// the photo shows its lens's error itself, and then this counts for nothing; a
	// gauge or two points show nothing of it, and of a worse lens their intervals
	// are too narrow away from them.
	cornerDistortion = 0.002
	// relativeTolerance is the relative standard uncertainty of a stated
	// length: a rule whose marks are good to 1e-4 of its length. A printed
	// rule or a short stage micrometer without certificate is worse.
	relativeTolerance = 1e-4
)

// gaugeTolerance is the standard uncertainty of a gauge's diameter: a pin
// gauge of class Z, 2.54 µm total tolerance (ASME B89.1.5-1998, up to 20.96
// mm), anywhere within it with equal chance.
var gaugeTolerance = Length(0.00254 / math.Sqrt(12))

// maxSlant is the largest change of magnification from corner to corner that
// a saved or read scale may claim.
const maxSlant = 0.2

func (o Options) validate(stated Length, what string) error {
	switch {
	case o.W <= 0 || o.H <= 0:
		return fmt.Errorf("photo of %d x %d pixels", o.W, o.H)
	case !(stated >= shortest && stated <= longest):
		return fmt.Errorf("%s of %v must be above zero and below a kilometre", what, stated)
	case !(o.Tolerance >= 0 && o.Tolerance <= longest):
		return fmt.Errorf("tolerance %v must not be below zero", o.Tolerance)
	case o.WorkingDistance != 0 && !(o.WorkingDistance >= shortest && o.WorkingDistance <= longest):
		return fmt.Errorf("working distance %v must be above zero and below a kilometre", o.WorkingDistance)
	}
	return nil
}

func (o Options) toleranceOr(standard Length) float64 {
	if o.Tolerance > 0 {
		return float64(o.Tolerance)
	}
	return float64(standard)
}

func (o Options) diagonal() float64 { return math.Hypot(float64(o.W), float64(o.H)) }

// middle is that of the photo.
func (o Options) middle() r2.Vec {
	return r2.Vec{X: float64(o.W-1) / 2, Y: float64(o.H-1) / 2}
}

// workingDistance returns the distance of the lens in pixels of the plane of
// the scale. When none was stated it lies between that of a wide view, three
// diagonals (19 degrees), and 100 mm; a near lens makes most of a tilt in the
// change of scale, a far one hides the most foreshortening behind it.
func (o Options) workingDistance(mmPerPx float64) (near, far float64) {
	if o.WorkingDistance > 0 {
		d := float64(o.WorkingDistance) / mmPerPx
		return d, d
	}
	near = 3 * o.diagonal()
	return near, max(near, 100/mmPerPx)
}

// assumedSlant is the standard uncertainty of h, 1/px, that nothing in the
// photo says anything about.
func (o Options) assumedSlant(mmPerPx float64) float64 {
	near, _ := o.workingDistance(mmPerPx)
	return math.Tan(squareWithin/math.Sqrt(3)) / near
}

// assumedDistortion is the same for the lens, 1/px².
func (o Options) assumedDistortion() float64 {
	half := o.diagonal() / 2
	return cornerDistortion / math.Sqrt(3) / (half * half)
}

// foreshortening returns 1 - cos of the tilt of a plane whose slant is h,
// 1/px, its parts and their uncertainties taken together.
func (o Options) foreshortening(mmPerPx float64, h ...float64) float64 {
	_, far := o.workingDistance(mmPerPx)
	return CosineError(math.Atan(floats.Norm(h, 2) * far))
}

// CosineError returns 1 - cos of a tilt: by how much, relatively, a length
// across the tilt axis looks too short.
func CosineError(tiltRad float64) float64 {
	sin := math.Sin(tiltRad / 2)
	return 2 * sin * sin
}

// relative makes a budget in mm/px of relative parts.
func relative(mmPerPx float64, parts ...uncert.Term) uncert.Quantity {
	b := make(uncert.Budget, len(parts))
	for i, t := range parts {
		t.U *= mmPerPx
		b[i] = t
	}
	return uncert.Combine(mmPerPx, "mm/px", b)
}

// maxScaleU is the relative standard uncertainty above which a scale is no
// use: a chain's whole life is a growth of one to three percent.
const maxScaleU = 0.01

func scaleCheck(q uncert.Quantity) check.Check {
	return check.AtMost("scale_uncertainty", q.U/q.Value, maxScaleU)
}
