package subpixel

import "math"

// Shoulder is the light that is missing from a face beside its rim, within the
// band that is fitted, as a width of face in pixels, with its standard
// uncertainty. A lens's blur is over where the band begins; what a camera does
// to take off grain reaches farther, and mixes the face with the dark of the gap
// more than the dark with the face, since it goes by the encoded values.
type Shoulder struct{ Missing, U float64 }

// Shoulders returns those beside the bore's rim and the pin's. ok is false where
// too few sectors show them, and beside a bevel, which is darker itself.
func (f CrescentFit) Shoulders() (rims [2]Shoulder, ok [2]bool) { return unbevelled(f, f.shoulder) }

func (f CrescentFit) shoulder(rim int) (Shoulder, bool) {
	blur := f.BlurBore
	if rim == 1 {
		blur = f.BlurPin
	}
	var climbs []float64
	for i, sp := range f.pixels {
		s := f.Sectors[i]
		if used := [2]bool{s.BoreUsed, s.PinUsed}; !s.Fitted || !used[rim] {
			continue
		}
		if c, ok := f.climb(sp.px, s, rim, blur); ok {
			climbs = append(climbs, c)
		}
	}
	if len(climbs) < minShoulder {
		return Shoulder{}, false
	}
	// A climb to the full light at the band's end leaves a triangle dark.
	c := middle(climbs)
	lost := f.band(blur) * f.band(blur) / 2
	return Shoulder{
		Missing: lost * c,
		U:       lost * 1.253 * 1.48 * mad(climbs, c) / math.Sqrt(float64(len(climbs))),
	}, true
}

// minShoulder is the number of sectors that can speak for all.
const minShoulder = 24

// climb returns by which share of the face's light a pixel it becomes lighter
// away from the rim, from one edge spread on, beyond what the fit's model says.
func (f CrescentFit) climb(px []pixel, s Sector, rim int, blur float64) (float64, bool) {
	level := s.BushLight - s.DarkLight
	if rim == 1 {
		level = s.PinLight - s.DarkLight
	}
	var n, sx, sy, sxx, sxy float64
	for _, p := range px {
		zb, zp := float64(p.bore)-s.Bore, s.Pin-float64(p.pin)
		x := zb
		if rim == 1 {
			x = zp
		}
		if x < blur {
			continue
		}
		cb, _ := edge(zb / f.BlurBore)
		cp, _ := edge(zp / f.BlurPin)
		y := float64(p.light) - (s.DarkLight + (s.BushLight-s.DarkLight)*cb + (s.PinLight-s.DarkLight)*cp)
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	spread := n*sxx - sx*sx
	if n < 10 || spread <= 0 || level <= 0 {
		return 0, false
	}
	return (n*sxy - sx*sy) / spread / level, true
}
