package calib

import (
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Plane is where a feature lies, seen from the lens.
type Plane struct {
	// Offset is the height of the feature over the plane of the scale,
	// positive towards the lens; WorkingDistance that of the lens over the
	// plane of the scale.
	Offset, WorkingDistance Length
	// OffsetU and WorkingDistanceU are their standard uncertainties. Zero
	// stands for a height read with a caliper (limits of 20 µm, DIN 862, so
	// 12 µm) and a distance good to 5 % (limits, so 2.9 %: the lens's own
	// reference point lies somewhere inside it).
	OffsetU, WorkingDistanceU Length
}

// Factor returns the pixel length in the plane of the feature over that in the
// plane of the scale, (W - h)/W, with
//
//	u² = (u(h)/W)² + (h u(W)/W²)²
func (p Plane) Factor() (uncert.Quantity, error) {
	h, w := float64(p.Offset), float64(p.WorkingDistance)
	hU, wU := float64(p.OffsetU), float64(p.WorkingDistanceU)
	if hU == 0 {
		hU = 0.020 / math.Sqrt(3)
	}
	if wU == 0 {
		wU = 0.05 * w / math.Sqrt(3)
	}
	switch {
	case !(w >= 0.1 && w <= float64(longest)):
		return uncert.Quantity{}, fmt.Errorf("working distance %v is not between 0.1 mm and a kilometre", p.WorkingDistance)
	case !(math.Abs(h) <= w/2):
		return uncert.Quantity{}, fmt.Errorf("plane offset %v is more than half the working distance %v", p.Offset, p.WorkingDistance)
	case !(hU > 0 && hU <= w/2 && wU > 0 && wU <= w/2):
		return uncert.Quantity{}, fmt.Errorf("uncertainties %v of the plane offset and %v of the working distance", p.OffsetU, p.WorkingDistanceU)
	}
	return uncert.Combine((w-h)/w, "1", uncert.Budget{
		{Name: "plane offset", U: hU / w},
		{Name: "working distance", U: math.Abs(h) * wU / (w * w)},
	}), nil
}

// InPlane returns the scale for features in plane p.
func (s Scale) InPlane(p Plane) (Scale, error) {
	f, err := p.Factor()
	if err != nil {
		return Scale{}, err
	}
	s.MMPerPx = uncert.Product(s.MMPerPx, f, s.MMPerPx.Unit)
	return s, nil
}
