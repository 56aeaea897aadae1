package wear

import (
	"math"
	"slices"

	"pinlash/measure/uncert"
)

// Running is what the joints of a chain went through while they wore.
type Running struct {
	Force                   uncert.Quantity // pull of the tight strand, N
	PinDiameter, BushLength float64         // mm
	// Bends has the teeth of each wheel at an end of a tight strand: there a
	// joint turns under the pull by one tooth, 2 pi/z, in every circuit. A
	// tight strand between two wheels has two.
	Bends    []int
	Circuits float64 // times the chain has gone round
}

// Circuits returns how often a chain of so many links goes round in so many
// hours at a speed in m/s.
func Circuits(speed, hours, pitch float64, links int) (float64, error) {
	for _, f := range []struct {
		name string
		v    float64
	}{{"chain speed", speed}, {"hours", hours}, {"pitch", pitch}} {
		if err := positive(f.name, f.v); err != nil {
			return 0, err
		}
	}
	if err := atLeast("number of links", links, 1); err != nil {
		return 0, err
	}
	return 1000 * speed * 3600 * hours / (pitch * float64(links)), nil
}

// Pressure returns the mean pressure of pin on bush in MPa, the pull over the
// projected area d l.
func (r Running) Pressure() (uncert.Quantity, error) {
	if err := positiveFigure("pull", r.Force, "N"); err != nil {
		return uncert.Quantity{}, err
	}
	if err := positive("pin diameter", r.PinDiameter); err != nil {
		return uncert.Quantity{}, err
	}
	if err := positive("bush length", r.BushLength); err != nil {
		return uncert.Quantity{}, err
	}
	perArea := 1 / (r.PinDiameter * r.BushLength)
	if err := sane("pressure", perArea*(r.Force.Value+r.Force.U)); err != nil {
		return uncert.Quantity{}, err
	}
	return uncert.Combine(r.Force.Value*perArea, "MPa", scaledParts(r.Force, perArea)), nil
}

// SlidingPath returns how far, in mm, a pin has slid in its bush under the
// pull:
//
//	circuits (d/2) sum of 2 pi/z
//
// Joints bend on the slack side as well; without a pull that wears nothing.
func (r Running) SlidingPath() (float64, error) {
	if err := positive("pin diameter", r.PinDiameter); err != nil {
		return 0, err
	}
	if err := positive("circuits", r.Circuits); err != nil {
		return 0, err
	}
	if err := atLeast("number of wheels at tight strands", len(r.Bends), 1); err != nil {
		return 0, err
	}
	turn := 0.0
	for _, z := range r.Bends {
		if err := atLeast("number of teeth", z, 3); err != nil {
			return 0, err
		}
		turn += 2 * math.Pi / float64(z)
	}
	path := r.Circuits * r.PinDiameter / 2 * turn
	return path, sane("sliding path", path)
}

// Coefficient returns the wear coefficient of Archard's law,
//
//	k = depth / (pressure x sliding path),
//
// in nm2/N (1 nm2/N = 1e-18 m2/N), from the depth in mm that pin and bush have
// lost together, which is the joint growth. The handbook form V = K F s/H has
// k = K/H with H the hardness. The pin diameter cancels: a thicker pin slides
// further under less pressure. The uncertainty is that of depth and pull, taken
// as independent; the rest is exact.
//
// The pull is taken as even over the area. Pins wear most near their ends
// (Noguchi and others 2009, JAMDSM 3(4):355-365), and depth is not linear in
// the sliding path where the area of contact grows (Kauzlarich and Williams
// 2001, Proc IMechE J 215:387): k compares chains of like wear.
func (r Running) Coefficient(depth uncert.Quantity) (uncert.Quantity, error) {
	if err := usable("depth of wear", depth, "mm"); err != nil {
		return uncert.Quantity{}, err
	}
	p, err := r.Pressure()
	if err != nil {
		return uncert.Quantity{}, err
	}
	s, err := r.SlidingPath()
	if err != nil {
		return uncert.Quantity{}, err
	}
	const nm2 = 1e12 // in a mm2; 1 mm/(MPa mm) is 1 mm2/N
	perDepth := nm2 / (p.Value * s)
	k := depth.Value * perDepth
	relative := 1 / p.Value
	for _, v := range []float64{perDepth, k, perDepth * depth.U, k * relative * p.U} {
		if err := sane("wear coefficient", v); err != nil {
			return uncert.Quantity{}, err
		}
	}
	return uncert.Combine(k, "nm2/N", slices.Concat(scaledParts(depth, perDepth), scaledParts(p, k*relative))), nil
}
