package subpixel

import "math"

// sectorLight is the light of a sector as its parameters have it.
type sectorLight struct {
	bush, pin, dark       float64
	rimBore, rimPin       float64
	spreadBore, spreadPin float64
	bevels                [2]Bevel
}

// lightOf returns the light of a sector with its rims at rimB and rimP from the
// circles, and edge spreads that are lnB and lnP steps of their logarithm wider
// than those of the fit.
func (f *CrescentFit) lightOf(s *Sector, rimB, rimP, lnB, lnP float64) sectorLight {
	return sectorLight{
		bush: s.BushLight, pin: s.PinLight, dark: s.DarkLight,
		rimBore: rimB, rimPin: rimP,
		spreadBore: f.BlurBore * math.Exp(lnB), spreadPin: f.BlurPin * math.Exp(lnP),
		bevels: s.bevels,
	}
}

// at returns the light of a pixel and sets its derivatives.
func (l *sectorLight) at(p pixel, j *[maxParams]float64) float64 {
	zb := (float64(p.bore) - l.rimBore) / l.spreadBore
	zp := (l.rimPin - float64(p.pin)) / l.spreadPin
	cb, db, lb := l.bevels[0].step(zb, l.spreadBore)
	cp, dp, lp := l.bevels[1].step(zp, l.spreadPin)
	bush, pin := l.bush-l.dark, l.pin-l.dark
	j[pBush] = cb
	j[pPin] = cp
	j[pDark] = 1 - cb - cp
	j[pRimBore] = -bush * db / l.spreadBore
	j[pRimPin] = pin * dp / l.spreadPin
	j[pLnBore] = -bush * lb
	j[pLnPin] = -pin * lp
	return l.dark + bush*cb + pin*cp
}

// sum adds a sector's pixels to the normal equations.
func (l *sectorLight) sum(m *normal, px []pixel) {
	var j [maxParams]float64
	for _, p := range px {
		m.add(&j, float64(p.light)-l.at(p, &j))
	}
}

// glint is by how many standard deviations of the light a pixel that is burnt out
// may exceed what the rims and faces make of it.
const glint = 3.0

// grain returns the standard deviation of the faces' light about the model, from what
// it was thought to be: burnt-out pixels have that of a normal variable beyond the
// limit (the same likelihood as sumBurnt's).
func (l *sectorLight) grain(sp sectorPixels, before float64) float64 {
	var j [maxParams]float64
	sum, n := 0.0, 0
	for _, p := range sp.px {
		if d := float64(p.light) - l.at(p, &j); j[pDark] < 0.5 {
			sum += d * d
			n++
		}
	}
	for _, p := range sp.burnt {
		if a := (float64(p.light) - l.at(p, &j)) / before; a < glint {
			sum += before * before * (1 + a*hazard(a))
			n++
		}
	}
	if n < leastFace {
		return before
	}
	return math.Sqrt(sum / float64(n))
}

// leastFace is how many pixels of the faces show their grain.
const leastFace = 12

// hazard is the density of the normal distribution over the probability beyond.
func hazard(a float64) float64 {
	below, density := edge(a)
	return density / (1 - below)
}

// sumBurnt adds pixels that are burnt out: their light is at least so much. To
// leave them out would make a face as dark as those of its pixels that are not, and
// its rim lie too far into the face. noise is the standard deviation of the light.
//
// One step of Newton's method for the likelihood of a censored normal variable
// (Tobin, Econometrica 26, 1958): with a the standard deviations from the model
// up to the limit and h the density there over the probability beyond (hazard), a
// pixel's gradient is noise*h and its curvature h(h-a).
func (l *sectorLight) sumBurnt(m *normal, px []pixel, noise float64) {
	var j [maxParams]float64
	for _, p := range px {
		a := (float64(p.light) - l.at(p, &j)) / noise
		if a > glint {
			continue // a reflection
		}
		h := hazard(a)
		m.addUnseen(&j, noise*h, h*(h-a))
	}
}
