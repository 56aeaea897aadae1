package subpixel

import (
	"math"

	"pinlash/vision/raster"
)

// How far from the circles the rims of a sector are looked for, as a share of
// the bore's radius, and how dark a dip must be, as a share of the contrast.
const (
	strayReach = 0.15
	strayDepth = 0.25
)

// A flank worn to its partner's shape lies against it with a gap much narrower
// than the blur: a faint dark line, and a step of light where bush and pin are
// of unlike brightness. It is looked for only on the two circles, within
// contactReach pixels and a spread, and must stand out as much as a line this
// dark does, as a share of the contrast.
const (
	contactReach = 1.0
	contactDepth = 0.08
	// Circles closer than this, in edge spreads, may cross for all that is known.
	crossing = 0.25
)

// findStrays looks in the sectors that were not fitted, or whose rims are off
// the circles, for the darkest place across both rims, and lets the fit start
// from there.
func (f *CrescentFit) findStrays(g raster.Gray) {
	for i, s := range f.Sectors {
		// Before the contrast was known, darkness alone could pass for two rims.
		faint := min(s.BushLight, s.PinLight) <= s.DarkLight+faintest*f.Contrast
		if s.Fitted && s.BoreUsed && s.PinUsed && !faint {
			continue
		}
		if at, ok := f.stray(g, s); ok {
			f.starts[i] = at
			f.Sectors[i].Fitted = false // not to go on from the old place
		}
	}
}

// stray returns where the rims of sector s are, from the circles.
func (f *CrescentFit) stray(g raster.Gray, s Sector) (rims, bool) {
	const step, across = 0.5, 5
	reach := strayReach * f.Bore.R
	from := f.Bore.R - s.gap - reach // radius about the bore's centre
	n := int((s.gap+2*reach)/step) + 1
	line := make([]float64, n)
	half := math.Pi / float64(len(f.Sectors))
	for k := range across {
		sin, cos := math.Sincos(s.Angle + half*(2*float64(k)/(across-1)-1)*0.8)
		for j := range line {
			r := from + float64(j)*step
			x, y := f.Bore.Center.X+r*cos, f.Bore.Center.Y+r*sin
			if !g.Inside(x, y) {
				return rims{}, false
			}
			line[j] += g.Bilinear(x, y) / across
		}
	}
	d := rayLight{line, step}
	low := d.lowest(0, n-1)
	side := int(max(4*max(f.BlurBore, f.BlurPin), 4) / step)
	bright := f.Dark + 0.5*f.Contrast
	left, right := d.beyond(low, -1, side, bright), d.beyond(low, 1, side, bright)
	in, out := d.half(low, -1, left), d.half(low, 1, right)
	if min(left, right)-line[low] < strayDepth*f.Contrast || math.IsNaN(in) || math.IsNaN(out) {
		return f.contact(d, from, s)
	}
	// Radii about the bore's centre; the pin's circle lies gap inside the
	// bore's on this ray.
	rOut, rIn := from+out*step, from+in*step
	return rims{bore: rOut - f.Bore.R, pin: rIn - (f.Bore.R - s.gap)}, true
}

// contact looks for the line of two rims that touch: the place at which a step
// from the pin's light to the bush's with a dark line in it explains the most
// of what the light does there.
func (f *CrescentFit) contact(d rayLight, from float64, s Sector) (rims, bool) {
	blur := max(f.BlurBore, f.BlurPin)
	near, far := int(2.5*blur/d.step), int((2.5*blur+4)/d.step)
	line := make([]float64, far+1) // a line of unit depth, from its middle outwards
	step := make([]float64, far+1) // the bush's share of a step
	sumsq := 0.0
	for k := range line {
		z := float64(k) * d.step / blur
		line[k] = math.Exp(-z * z / 2)
		step[k], _ = edge(z)
		sumsq += line[k] * line[k] * float64(min(k+1, 2))
	}
	best := contactDepth * contactDepth * f.Contrast * f.Contrast * sumsq
	at, width := 0.0, 0.0
	reach := int(math.Ceil((contactReach + blur) / d.step))
	bore, pin := int(math.Round((f.Bore.R-from)/d.step)), int(math.Round((f.Bore.R-s.gap-from)/d.step))
	for i := max(min(bore, pin)-reach, far); i <= max(bore, pin)+reach && i+far < len(d.light); i++ {
		if i > pin+reach && i < bore-reach {
			continue // in the gap between the circles
		}
		pin, bush := d.mean(i-far, i-near), d.mean(i+near, i+far)
		var product, before, after float64
		for k := -far; k <= far; k++ {
			share := step[max(k, -k)]
			if k < 0 {
				share = 1 - share
			}
			v := d.light[i+k] - (pin + (bush-pin)*share)
			product -= v * line[max(k, -k)]
			after += v * v
			v = d.light[i+k] - (pin+bush)/2
			before += v * v
		}
		depth := max(product/sumsq, 0)
		explained := depth * depth * sumsq
		if s.gap < crossing*blur {
			// The circles cross, so that one of the rims is not on its own:
			// the step between the faces shows where.
			explained += before - after
		}
		if explained > best && min(pin, bush) > faintest*f.Contrast {
			best, at = explained, from+float64(i)*d.step
			// A line of width w much narrower than the blur is dark to
			// w/(s sqrt(2 pi)).
			width = depth / ((pin + bush) / 2) * blur * math.Sqrt(2*math.Pi)
		}
	}
	if at == 0 {
		return rims{}, false
	}
	return rims{bore: at + width/2 - f.Bore.R, pin: at - width/2 - (f.Bore.R - s.gap)}, true
}

// rayLight is the light along a ray at equal steps.
type rayLight struct {
	light []float64
	step  float64
}

// lowest returns the place of the least light from a to b, -1 outside the ray.
func (d rayLight) lowest(a, b int) int {
	if a < 0 || b >= len(d.light) || a > b {
		return -1
	}
	low := a
	for i := a; i <= b; i++ {
		if d.light[i] < d.light[low] {
			low = i
		}
	}
	return low
}

// beyond returns the most light within side places of where the light, going
// dir from i, first reaches bright: that of the face beyond a gap of any width.
func (d rayLight) beyond(i, dir, side int, bright float64) float64 {
	q := i
	for q >= 0 && q < len(d.light) && d.light[q] < bright {
		q += dir
	}
	best := 0.0
	for k := 0; k <= side && q >= 0 && q < len(d.light); k++ {
		best = max(best, d.light[q])
		q += dir
	}
	return best
}

// mean returns the mean light from a to b, 0 outside the ray.
func (d rayLight) mean(a, b int) float64 {
	if a < 0 || b >= len(d.light) || a > b {
		return 0
	}
	sum := 0.0
	for _, v := range d.light[a : b+1] {
		sum += v
	}
	return sum / float64(b-a+1)
}

// half returns the place where the light, going dir from i, has climbed half
// way to level; not a number if it never does.
func (d rayLight) half(i, dir int, level float64) float64 {
	t := (d.light[i] + level) / 2
	for q := i + dir; q >= 0 && q < len(d.light); q += dir {
		if d.light[q] >= t {
			return float64(q) - float64(dir)*(d.light[q]-t)/max(d.light[q]-d.light[q-dir], 1e-9)
		}
	}
	return math.NaN()
}
