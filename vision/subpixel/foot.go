package subpixel

import (
	"math"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// Foot is where the darkness of the gap ends at a rim.
//
// On a sharp rim the foot and the half-light point are one place. On a
// chamfered, rounded or burred rim the bright face ends early and a dimmer
// band follows; the rim that bears is at the foot of that band.
type Foot struct {
	Circle geom.Circle
	// Band is by how much the foot lies beyond the half-light rim on median,
	// towards the gap, pixels; Spread is the robust scatter of the feet about
	// their circle.
	Band, Spread float64
	// Dev is the foot's distance from Circle by sector, where it was seen.
	Dev  []float64
	Seen []bool
}

// profileStep is the width of a bin of a sector's mean profile, pixels.
const profileStep = 0.5

// Feet finds the foot of the bore and of the pin in the sectors where the gap
// is wide enough to show its darkness. ok says for each whether enough sectors
// showed it.
func (f CrescentFit) Feet(g raster.Gray) (feet [2]Foot, ok [2]bool) {
	wide := f
	wide.BlurBore, wide.BlurPin = 2/bandSpreads, 2/bandSpreads
	pixels := collect(g, wide)
	n := len(pixels)
	for r := range feet {
		feet[r].Dev, feet[r].Seen = make([]float64, n), make([]bool, n)
	}
	rims := [2]rim{newRim(n), newRim(n)}
	for i, sp := range pixels {
		s := f.Sectors[i]
		width := s.gap + s.Bore - s.Pin
		if !s.Fitted || width < 3*(f.BlurBore+f.BlurPin)+2 {
			continue
		}
		for r := range feet {
			at, level, blur := s.Bore, s.BushLight, f.BlurBore
			angle, v := s.Angle, s.VarBore
			if r == 1 {
				at, level, blur = s.Pin, s.PinLight, f.BlurPin
				angle, v = s.PinAngle, s.VarPin
			}
			// The rims share the photo's focus: the sharper one says how a
			// single step looks.
			blur = min(blur, f.BlurBore, f.BlurPin)
			d, seen := foot(sp.px, r, at, width, level, f.Dark, f.DarkU, blur)
			if seen {
				rims[r].set(i, angle, d, max(v, 0.01), true)
			}
		}
	}
	circles := [2]geom.Circle{f.Bore, f.Pin}
	for r := range feet {
		feet[r], ok[r] = feetCircle(&rims[r], circles[r], f.Sectors, r)
	}
	return feet, ok
}

// foot returns where the darkness ends at one rim of a sector, measured from
// the rim's circle, positive away from the centre.
func foot(px []pixel, r int, at, width, level, dark, darkU, blur float64) (float64, bool) {
	// Distance into the gap, from the half-light rim of the sector.
	bins := int((width/2 + 2) / profileStep)
	sum, count := make([]float64, bins), make([]float64, bins)
	for _, p := range px {
		d := at - float64(p.bore)
		if r == 1 {
			d = float64(p.pin) - at
		}
		k := int(math.Floor((d + 2) / profileStep))
		if k >= 0 && k < bins {
			sum[k] += float64(p.light)
			count[k]++
		}
	}
	threshold := max(0.02*(level-dark), 5*darkU)
	// From the middle of the gap back to the first light.
	for k := bins - 1; k > 0; k-- {
		if count[k] == 0 || count[k-1] == 0 {
			continue
		}
		a, b := sum[k]/count[k]-dark, sum[k-1]/count[k-1]-dark
		if a > threshold {
			return 0, false // not dark even in the middle
		}
		if b <= threshold {
			continue
		}
		cross := (float64(k)+0.5)*profileStep - 2 - profileStep*(threshold-a)/max(b-a, 1e-9)
		// The light just inside says how high the step is, and so how far
		// from its middle its blur reaches the threshold.
		place := cross - blur
		for range 4 {
			inside := place - 1.2*blur - 0.5
			q := int(math.Floor((inside + 2) / profileStep))
			if q < 0 || q >= bins || count[q] == 0 {
				// The step is as high as the face: a sharp rim.
				place = cross - blur*quantileOfNormal(threshold/(level-dark))
				break
			}
			step := max(sum[q]/count[q]-dark, 2*threshold) / 0.9
			place = cross - blur*quantileOfNormal(threshold/min(step, level-dark))
		}
		if r == 0 {
			return at - place, true
		}
		return at + place, true
	}
	return 0, false
}

// quantileOfNormal returns z with P(Z > z) = p for the normal distribution.
func quantileOfNormal(p float64) float64 {
	return math.Sqrt2 * math.Erfinv(1-2*clampShare(p))
}

func clampShare(p float64) float64 { return max(1e-6, min(p, 1-1e-6)) }

// feetCircle fits a circle to the feet of one rim.
func feetCircle(r *rim, c geom.Circle, sectors []Sector, which int) (Foot, bool) {
	n := len(sectors)
	f := Foot{Dev: make([]float64, n), Seen: make([]bool, n)}
	var band []float64
	for i, ok := range r.ok {
		if ok {
			b := sectors[i].Bore - r.dev[i]
			if which == 1 {
				b = r.dev[i] - sectors[i].Pin
			}
			band = append(band, b)
		}
	}
	if len(band) < n/8 {
		return f, false
	}
	f.Band = middle(band)
	p, cov, spread, ok := r.circle()
	if !ok {
		return f, false
	}
	f.Spread = spread
	f.Circle = c
	f.Circle.Center.X += p[1]
	f.Circle.Center.Y += p[2]
	f.Circle.R += p[0]
	f.Circle.Cov = cov
	for i, ok := range r.ok {
		f.Dev[i], f.Seen[i] = r.residual(i, p[0], p[1], p[2]), ok
	}
	return f, true
}
