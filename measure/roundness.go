package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/uncert"
)

const (
	// roundWindow is half the arc over which a rim's shape is smoothed: that of
	// the Gaussian filter of 15 waves around that ISO 12181-2 describes, at half
	// its height.
	roundWindow = 5.3 * math.Pi / 180
	// roundSeen is the share of that arc which must have been seen.
	roundSeen = 0.5
	// localShare is the share of the directions up to which what strays may be
	// oil or dirt and not the rim's shape (judgement).
	localShare = 0.2
)

// roundness returns the differences of the largest and the smallest radius of
// both rims.
//
// A flank that was not seen, or is not known well, may stray more than what was,
// or less, where it is not known which of both is worn;
// what both rims show alike is rather the picture's than that of two parts; and
// what strays in a few directions only, and is no worn flank, may be oil.
func (j joint) roundness(wornBore, wornPin wornFlank) (bore, pin uncert.Quantity) {
	shapes := [2]shape{j.bore.shape(), j.pin.shape()}
	shared := uncert.Budget{
		{Name: "rims flattened alike", U: 2 * j.e.BoreFit.R * j.tilt.left()},
		{Name: "both rims stray alike", U: alike(j.bore, j.pin, shapes[0], shapes[1]) / 2},
	}
	lean := r2.Sub(j.e.PinFit.Center, j.e.BoreFit.Center)
	contactU := j.contactU()
	var out [2]uncert.Quantity
	for i, r := range []rim{j.bore, j.pin} {
		worn := []wornFlank{wornBore, wornPin}[i]
		value, parts := shapes[i].difference(func(k int) float64 {
			sin, cos := math.Sincos(r.Angle[k])
			if j.e.BoreFit.R-j.e.PinFit.R-lean.X*cos-lean.Y*sin < narrowestFoot(j.e) {
				return contactU[i]
			}
			return j.edgeU()
		})
		if parts == nil {
			out[i] = uncert.Combine(0, "px", uncert.Budget{{Name: "rim not seen far enough round", U: 2 * r.circle.RMS}})
			continue
		}
		deepest, shallowest := worn.depth.Value+2*worn.depth.U, max(0, worn.depth.Value-2*worn.depth.U)
		// A flank may be all that the rim strays by, as well as that is known.
		if deepest+2*uncert.Combine(value, "px", parts).U >= value {
			parts = append(parts, uncert.Term{Name: "worn flank", U: max(deepest-value, value-shallowest) / 2})
		}
		parts = append(parts, shared...)
		if shapes[i].local() {
			parts = append(parts, uncert.Term{Name: "oil, dirt or a dent", U: max(0, value-deepest) / 2})
		}
		out[i] = uncert.Combine(value, "px", parts)
	}
	return out[0], out[1]
}

// shape is a rim smoothed over roundWindow, shorter waves being grain: by all
// directions, and by every other one.
type shape struct {
	all, even, odd []float64 // px off the circle
	u              []float64 // of all, for light and texture
	seen           []bool
}

func (r rim) shape() shape {
	n := len(r.Angle)
	s := shape{make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]bool, n)}
	half := max(2, int(roundWindow*float64(n)/(2*math.Pi)))
	for i := range n {
		var v [2][]float64
		weight := 0.0
		for d := -half; d <= half; d++ {
			if q := (i + d + n) % n; r.U[q] > 0 {
				v[q%2] = append(v[q%2], r.Dev[q])
				weight += 1 / (r.U[q] * r.U[q])
			}
		}
		if len(v[0]) == 0 || len(v[1]) == 0 || float64(len(v[0])+len(v[1])) < roundSeen*float64(2*half+1) {
			continue
		}
		s.seen[i] = true
		s.all[i], s.u[i] = medianU(append(append([]float64{}, v[0]...), v[1]...), weight)
		s.even[i], s.odd[i] = median(v[0]), median(v[1])
	}
	return s
}

// difference returns that of the largest and the smallest radius, with the parts
// of its uncertainty; nil where nothing was seen. placeU is that of the rim's
// place in a direction for anything but light and texture.
//
// The largest of many radii is too large by chance. So one half of the
// directions tells where the largest and the smallest are, and the other half how
// large; neighbours err together, so half of what that takes off stays in doubt.
func (s shape) difference(placeU func(i int) float64) (float64, uncert.Budget) {
	top, bottom, ok := s.extremes(s.all)
	if !ok {
		return 0, nil
	}
	whole, value := s.all[top]-s.all[bottom], 0.0
	for _, half := range [2][2][]float64{{s.even, s.odd}, {s.odd, s.even}} {
		hi, lo, _ := s.extremes(half[0])
		value += (half[1][hi] - half[1][lo]) / 2
	}
	value = max(value, 0)
	return value, uncert.Budget{
		{Name: "light and texture along the rim", U: math.Hypot(s.u[top], s.u[bottom])},
		{Name: "what a round rim shows by chance", U: math.Abs(whole-value) / 2},
		{Name: "tone curve, focus and narrow gap", U: math.Hypot(placeU(top), placeU(bottom))},
	}
}

// extremes returns where v is largest and smallest among what was seen.
func (s shape) extremes(v []float64) (top, bottom int, ok bool) {
	for i := range v {
		if !s.seen[i] {
			continue
		}
		if !ok || v[i] > v[top] {
			top = i
		}
		if !ok || v[i] < v[bottom] {
			bottom = i
		}
		ok = true
	}
	return top, bottom, ok
}

// local says whether what strays the most from the middle of all radii does so in
// a few directions only.
func (s shape) local() bool {
	var radii []float64
	for i, seen := range s.seen {
		if seen {
			radii = append(radii, s.all[i])
		}
	}
	if len(radii) == 0 {
		return false
	}
	middle := median(radii)
	top, bottom := radii[len(radii)-1]-middle, radii[0]-middle // median has sorted them
	far := 0
	for _, r := range radii {
		if top > -bottom && r-middle > top/2 || top <= -bottom && r-middle < bottom/2 {
			far++
		}
	}
	return float64(far) < localShare*float64(len(radii))
}

// alike returns the difference of the largest and the smallest of what both rims
// show alike, in the same directions and to the same side, pixels.
func alike(bore, pin rim, ofBore, ofPin shape) float64 {
	hi, lo := 0.0, 0.0
	for i, t := range bore.Angle {
		k := nearest(pin.Angle, t)
		if k < 0 || !ofBore.seen[i] || !ofPin.seen[k] || ofBore.all[i]*ofPin.all[k] < 0 {
			continue
		}
		common := math.Copysign(min(math.Abs(ofBore.all[i]), math.Abs(ofPin.all[k])), ofBore.all[i])
		hi, lo = max(hi, common), min(lo, common)
	}
	return hi - lo
}
