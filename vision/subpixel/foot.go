package subpixel

import (
	"math"

	"pinlash/measure/geom"
)

// Foot is where the darkness of the gap ends at a rim.
//
// On a sharp rim the foot and the half-light point are one place. On a
// chamfered, rounded or burred rim the bright face ends early and a dimmer
// band follows; the rim that bears is at the foot of that band.
type Foot struct {
	Circle geom.Circle
	// Band is by how much the foot lies beyond the half-light rim, towards the
	// gap, in the fifth of the directions where it does so the most, pixels: a
	// chamfer is dim only where its partner shades it. Spread is the robust
	// scatter of the feet about their circle.
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
func (f CrescentFit) Feet() (feet [2]Foot, ok [2]bool) {
	pixels := f.pixels
	n := len(pixels)
	gaps := make([]gapProfile, n)
	var least, grain []float64
	for i, sp := range pixels {
		s := f.Sectors[i]
		if !s.Fitted || s.Width() < 3*(f.BlurBore+f.BlurPin)+2 {
			continue
		}
		if gaps[i] = gapOf(sp.px, s); gaps[i].darkest >= 0 {
			level, noise := gaps[i].floor()
			least, grain = append(least, level), append(grain, noise)
		}
	}
	// A lit ledge fills part of the gap, so the dark level is that of the
	// darkest places.
	dark := quantile(least, 0.1)
	noise := max(1.48*mad(least[:len(least)/2], dark), middle(grain), 0.002*f.Contrast)
	rims := [2]rim{newRim(n), newRim(n)}
	for i, gp := range gaps {
		if gp.darkest < 0 || len(gp.light) == 0 {
			continue
		}
		s := f.Sectors[i]
		// The rims share the photo's focus: the sharper one says how a single
		// step looks.
		blur := min(f.BlurBore, f.BlurPin)
		if d, seen := gp.foot(+1, dark, noise, s.BushLight, blur); seen {
			rims[0].set(i, s.Angle, d-s.gap, max(s.VarBore, 0.01), true)
		}
		if d, seen := gp.foot(-1, dark, noise, s.PinLight, blur); seen {
			rims[1].set(i, s.PinAngle, d, max(s.VarPin, 0.01), true)
		}
	}
	circles := [2]geom.Circle{f.Bore, f.Pin}
	for r := range feet {
		feet[r], ok[r] = feetCircle(&rims[r], circles[r], f.Sectors, r)
	}
	return feet, ok
}

// gapProfile is the mean light across the gap of a sector, by distance from
// the pin's circle.
type gapProfile struct {
	from    float64 // distance of the first bin's middle
	light   []float64
	darkest int // bin of the least light, -1 when there is none
}

// gapOf gathers a sector's profile from two pixels inside the pin to two
// pixels outside the bore.
func gapOf(px []pixel, s Sector) gapProfile {
	lo, hi := s.Pin-2, s.gap+s.Bore+2
	n := int((hi - lo) / profileStep)
	sum, count := make([]float64, n), make([]float64, n)
	for _, p := range px {
		// On a ray of the sector the distances from the two circles differ by
		// the gap; across the sector the nearer circle is the better guide.
		d := float64(p.pin)
		if b := float64(p.bore) + s.gap; math.Abs(float64(p.bore)-s.Bore) < math.Abs(d-s.Pin) {
			d = b
		}
		if k := int(math.Floor((d - lo) / profileStep)); k >= 0 && k < n {
			sum[k] += float64(p.light)
			count[k]++
		}
	}
	out := gapProfile{from: lo + profileStep/2, light: make([]float64, n), darkest: -1}
	for k := range sum {
		if count[k] == 0 {
			return gapProfile{darkest: -1}
		}
		out.light[k] = sum[k] / count[k]
		if out.darkest < 0 || out.light[k] < out.light[out.darkest] {
			out.darkest = k
		}
	}
	return out
}

// floor returns the dark level and the noise of a bin. The darkest bin was
// chosen for its error, its two neighbours were not: their mean is the level,
// and how far they lie above it tells the noise.
func (p gapProfile) floor() (level, noise float64) {
	k := p.darkest
	if k == 0 || k == len(p.light)-1 {
		return p.light[k], 0
	}
	level = (p.light[k-1] + p.light[k+1]) / 2
	return level, (level - p.light[k]) / math.Sqrt2
}

// foot walks from the darkest place towards the bore (dir 1) or the pin
// (dir -1) and returns where the darkness ends, from the pin's circle. level
// is the light of the face beyond.
func (p gapProfile) foot(dir int, dark, noise, level, blur float64) (float64, bool) {
	threshold := max(0.02*(level-dark), 5*noise)
	at := func(k int) float64 { return p.light[k] - dark }
	if at(p.darkest) > threshold/2 {
		return 0, false // not dark even at its darkest
	}
	for k := p.darkest; k+dir >= 0 && k+dir < len(p.light); k += dir {
		a, b := at(k), at(k+dir)
		if b <= threshold {
			continue
		}
		cross := p.from + profileStep*(float64(k)+float64(dir)*(threshold-a)/max(b-a, 1e-9))
		// The light just beyond says how high the step is, and so how far from
		// its middle its blur reaches the threshold.
		place := cross + float64(dir)*blur
		for range 4 {
			q := int(math.Round((place + float64(dir)*(1.2*blur+0.5) - p.from) / profileStep))
			step := level - dark // the face itself, unless the profile tells otherwise
			if q >= 0 && q < len(p.light) {
				step = min(step, max(at(q), 2*threshold)/0.9)
			}
			place = cross + float64(dir)*blur*quantileOfNormal(threshold/step)
		}
		return place, true
	}
	return 0, false
}

// quantileOfNormal returns z with P(Z > z) = p for the normal distribution.
func quantileOfNormal(p float64) float64 {
	return math.Sqrt2 * math.Erfinv(1-2*clampShare(p))
}

func clampShare(p float64) float64 { return max(1e-6, min(p, 1-1e-6)) }

// bandQuantile is the share of the directions in which the foot lies no
// farther beyond the rim than the band's width.
const bandQuantile = 0.8

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
	f.Band = quantile(band, bandQuantile)
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
