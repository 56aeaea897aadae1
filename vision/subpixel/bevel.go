package subpixel

import (
	"math"

	"pinlash/vision/raster"
)

// Bevel is a broken edge between a face and the gap: a strip Width pixels wide
// that sends Share of the face's light. The zero value is a sharp edge.
type Bevel struct{ Width, Share float64 }

// step returns the light at z edge spreads from the rim towards the face, as a
// share of the face's, with its derivatives by z and by the logarithm of the
// edge spread, which is blur.
func (b Bevel) step(z, blur float64) (light, byPlace, bySpread float64) {
	c, d := edge(z)
	if b.Width == 0 {
		return c, d, d * z
	}
	zf := z - b.Width/blur
	cf, df := edge(zf)
	q := b.Share
	return q*c + (1-q)*cf, q*d + (1-q)*df, q*d*z + (1-q)*df*zf
}

// worn returns what is left of the bevel where the rim is worn by depth pixels.
func (b Bevel) worn(depth float64) Bevel {
	b.Width = max(0, b.Width-max(0, depth))
	return b
}

// How a bevel is told from the shape of a lens's blur (judgement, tried on
// generated rims, sharp and broken, under blur of two shapes).
const (
	bevelBin    = 0.25 // pixels, of the mean profile across a rim
	bevelMisfit = 0.008
	bevelGain   = 0.5 // of the misfit of one step that may be left with two
	// and where the rims have unlike edge spreads, which is a sign by itself
	bevelGainUnlike = 0.75
	bevelSpreads    = 1.2  // least width, in edge spreads
	bevelFaint      = 0.08 // share of the light at which a step is none
	bevelFocus      = 0.1  // ln of the edge spreads of two rims in one photo
	bevelLeft       = 0.01 // misfit with two steps
	bevelSettled    = 0.15 // pixels that place and width may still change
	bevelOdd        = 0.5  // edge spreads by which an edge of another shape may lie off
)

// Bevelled looks for bevels. Where the light across a rim, taken over all
// directions in which the gap is wide enough to show it, climbs in two steps,
// the rim is the first of them, and the crescent is fitted again with a bevel
// there. When that does not settle the edge is of another shape, and f is
// returned as it was.
func (f CrescentFit) Bevelled(g raster.Gray) CrescentFit {
	fit := f
	const rounds = 4
	for round := range rounds {
		found, blur := fit.bevels()
		if round == 0 {
			for r, b := range found {
				switch {
				case b.smeared:
					f.Smear[r] = math.Abs(b.place)
				case b.odd && found[1-r].sure:
					// Where one edge is broken the other may be, too.
					f.Smear[r] = bevelOdd * b.blur
				}
			}
		}
		start := Rims{Bore: fit.Bore, Pin: fit.Pin, Blur: blur}
		settled := true
		for r, b := range found {
			if !b.sure {
				continue
			}
			start.Bevels[r] = b.bevel
			settled = settled && b.misfit < bevelLeft && math.Abs(b.place) < bevelSettled*b.blur &&
				math.Abs(b.bevel.Width-fit.Bevels[r].Width) < bevelSettled*b.blur
			if r == 0 {
				start.Bore.R += b.place
			} else {
				start.Pin.R -= b.place
			}
		}
		if start.Bevels == [2]Bevel{} {
			return f
		}
		again, err := FitCrescent(g, start)
		if err != nil {
			return f
		}
		fit = again
		for r, b := range fit.Bevels {
			if b.Width == 0 {
				fit.Smear[r] = f.Smear[r]
			}
		}
		if settled {
			return fit
		}
	}
	return f
}

// foundBevel is a bevel, how far its rim lies from the one fitted, towards the
// face, and the misfit it leaves.
type foundBevel struct {
	bevel               Bevel
	place, misfit, blur float64
	sure                bool // it is told from a soft edge
	smeared             bool // the edge is softer than that of the other rim
	odd                 bool // the edge is neither sharp nor a bevel's
}

// bevels looks for a bevel beside either rim. blur is the edge spread of the
// sharper rim.
func (f *CrescentFit) bevels() (found [2]foundBevel, blur float64) {
	var p [2]rimLight
	var one [2]stepFit
	blur = math.Inf(1)
	for r := range p {
		p[r] = f.rimLight(r)
		var ok bool
		if one[r], ok = p[r].oneStep(min(f.BlurBore, f.BlurPin)); !ok {
			return found, 0
		}
		blur = min(blur, one[r].blur)
	}
	for r := range p {
		alike := math.Abs(math.Log(one[r].blur/blur)) < bevelFocus
		if one[r].misfit < bevelMisfit && alike {
			continue
		}
		two, ok := p[r].twoSteps(one[r], blur)
		if !ok {
			continue
		}
		gain := bevelGain
		if !alike {
			gain = bevelGainUnlike
		}
		q := two.bevel.Share
		if f.Bevels[r].Width > 0 {
			gain = 1 // it was told before
		}
		found[r] = foundBevel{
			bevel: two.bevel, place: two.place, misfit: two.misfit, blur: two.blur,
			sure: two.misfit < gain*one[r].misfit && (!alike || two.bevel.Width > bevelSpreads*two.blur) &&
				q > bevelFaint && math.Abs(1-q) > bevelFaint,
			smeared: !alike,
			odd:     alike && two.misfit >= gain*one[r].misfit,
		}
	}
	return found, blur
}

// Misfit is what the light across the bore's rim (0) or the pin's (1), taken over
// all directions, strays from one step of light spread by a lens: root mean
// square, over the face's light. It is 0 beside a bevel, which is two steps, and
// where the light cannot be told.
func (f CrescentFit) Misfit(rim int) float64 {
	if f.Bevels[rim].Width > 0 {
		return 0
	}
	one, ok := f.rimLight(rim).oneStep(min(f.BlurBore, f.BlurPin))
	if !ok {
		return 0
	}
	return one.misfit
}

// rimLight is the mean light across a rim, in bins of bevelBin, from the gap
// to the face, over the face's.
type rimLight struct {
	from         float64 // of the middle of the first bin, from the rim fitted
	light, count []float64
}

// rimLight gathers the light across the bore's (0) or the pin's (1) rim.
func (f *CrescentFit) rimLight(r int) rimLight {
	const (
		most   = 8.0 // pixels of gap that are enough
		enough = 120 // directions all round
	)
	every := 1 + len(f.pixels)/enough
	band := f.band(max(f.BlurBore, f.BlurPin)) + f.Bevels[r].Width
	least := max(min(most, 0.6*f.Gap), 2)
	n := int((most/2+band)/bevelBin) + 1
	p := rimLight{from: -most/2 + bevelBin/2, light: make([]float64, n), count: make([]float64, n)}
	for i := 0; i < len(f.pixels); i += every {
		s := f.Sectors[i]
		if !s.Fitted || !s.BoreUsed || !s.PinUsed || s.Width() < least {
			continue
		}
		face, other := s.BushLight, s.PinLight
		blur, bevel := f.BlurPin, s.bevels[1]
		if r == 1 {
			face, other = other, face
			blur, bevel = f.BlurBore, s.bevels[0]
		}
		half := min(s.Width(), most) / 2
		for _, px := range f.pixels[i].px {
			d, e := float64(px.bore)-s.Bore, s.Pin-float64(px.pin)
			if r == 1 {
				d, e = e, d
			}
			if d < -half || d > band {
				continue
			}
			beyond, _, _ := bevel.step(e/blur, blur)
			k := int((d-p.from)/bevelBin + 0.5)
			if k < 0 || k >= n {
				continue
			}
			p.light[k] += (float64(px.light) - (other-s.DarkLight)*beyond) / face
			p.count[k]++
		}
	}
	for k, c := range p.count {
		if c > 0 {
			p.light[k] /= c
		}
	}
	return p
}

// stepFit is what a profile shows.
type stepFit struct {
	dark, face  float64
	bevel       Bevel
	place, blur float64
	misfit      float64 // root mean square
}

// Unknowns of a profile.
const (
	uDark = iota
	uFace
	uPlace
	uLnBlur
	uWidth
	uShare
	uAll
)

// oneStep fits a sharp edge.
func (p rimLight) oneStep(blur float64) (stepFit, bool) {
	return p.fit(stepFit{face: 1, blur: blur}, uWidth, 0)
}

// twoSteps fits a bevel to a profile whose edge is that of a lens of edge
// spread blur, or near it.
func (p rimLight) twoSteps(one stepFit, blur float64) (best stepFit, ok bool) {
	best.misfit = math.Inf(1)
	for _, width := range []float64{1.5, 3, 5} {
		for _, share := range []float64{0.4, 0.7} {
			start := one
			start.blur = blur
			start.bevel = Bevel{Width: width * blur, Share: share}
			start.place = one.place - (1-share)*start.bevel.Width
			if s, fits := p.fit(start, uAll, blur); fits && s.misfit < best.misfit && s.bevel.Width > 0 && s.bevel.Share > 0 {
				best, ok = s, true
			}
		}
	}
	return best, ok
}

// fit fits the first n unknowns by Gauss-Newton from a start. With an edge
// spread given, that of the profile is near it.
func (p rimLight) fit(s stepFit, n int, blur float64) (stepFit, bool) {
	total := 0.0
	for _, c := range p.count {
		total += c
	}
	if total < 500 {
		return s, false
	}
	const rounds, small = 25, 1e-3
	done := false
	for round := range rounds {
		m := normal{n: n}
		sumsq := 0.0
		for k, c := range p.count {
			if c == 0 {
				continue
			}
			z := (p.from + float64(k)*bevelBin - s.place) / s.blur
			light, byPlace, bySpread := s.bevel.step(z, s.blur)
			rise := s.face - s.dark
			w := math.Sqrt(c / total)
			res := p.light[k] - s.dark - rise*light
			j := [maxParams]float64{
				uDark:   w * (1 - light),
				uFace:   w * light,
				uPlace:  -w * rise * byPlace / s.blur,
				uLnBlur: -w * rise * bySpread,
			}
			if n == uAll {
				near, _ := edge(z)
				far, slope := edge(z - s.bevel.Width/s.blur)
				j[uWidth] = -w * rise * (1 - s.bevel.Share) * slope / s.blur
				j[uShare] = w * rise * (near - far)
			}
			sumsq += w * w * res * res
			m.add(&j, w*res)
		}
		s.misfit = math.Sqrt(sumsq)
		if done || round == rounds-1 {
			break
		}
		if blur > 0 {
			// The rims of a photo share its focus: within a tenth, and held to
			// that as if by a misfit of a part in a hundred.
			w := 0.01 / bevelFocus
			m.a[uLnBlur][uLnBlur] += w * w
			m.b[uLnBlur] -= w * w * math.Log(s.blur/blur)
		}
		for i := range n {
			m.a[i][i] += 1e-9
		}
		x, _, ok := m.solve()
		if !ok {
			return s, false
		}
		s.dark += x[uDark]
		s.face += x[uFace]
		s.place += clamp(x[uPlace], s.blur)
		s.blur *= math.Exp(clamp(x[uLnBlur], 0.2))
		s.bevel.Width += clamp(x[uWidth], s.blur)
		s.bevel.Share += clamp(x[uShare], 0.2)
		done = math.Abs(x[uPlace]) < small && math.Abs(x[uLnBlur]) < small && math.Abs(x[uWidth]) < small
	}
	return s, s.blur > 0.2 && !math.IsNaN(s.misfit)
}
