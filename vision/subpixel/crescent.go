package subpixel

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// ErrNoCrescent says that too few directions showed two rims with a gap
// between them.
var ErrNoCrescent = errors.New("subpixel: too few directions show both rims")

// Rims is where the two rims are thought to be before a fit.
type Rims struct {
	Bore, Pin geom.Circle // Center and R only
	Blur      float64     // edge spread, pixels
	Bevels    [2]Bevel    // beside the bore's rim and the pin's
}

// Sector is what one direction from the bore's centre shows.
type Sector struct {
	Angle, PinAngle float64 // of the middle, about the bore's and the pin's centre
	Bore, Pin       float64 // rim minus circle, pixels, positive outwards
	// VarBore, VarPin, CovBP are the covariance of Bore and Pin from the
	// light of the sector's pixels, pixels squared.
	VarBore, VarPin, CovBP float64
	varDark                float64
	BushLight, PinLight    float64
	DarkLight              float64
	RMS                    float64 // residual of the light
	Clipped                float64 // share of the pixels that are saturated
	Fitted                 bool    // the sector gave a figure at all
	BoreUsed, PinUsed      bool    // it took part in the circle
	lnBore, lnPin          float64 // steps of ln(blur)
	spreadFree             bool    // the gap is wide enough to show its blur and dark level
	gap                    float64
	grain                  float64  // of the faces' light, where some of it is burnt out
	bevels                 [2]Bevel // what wear has left of the fit's
}

// Width returns the width of the gap in the sector, pixels.
func (s Sector) Width() float64 { return s.gap + s.Bore - s.Pin }

// CrescentFit is a pin in its bore, fitted to the light of both rims.
type CrescentFit struct {
	Bore, Pin         geom.Circle
	Cov               [6][6]float64 // bore x, y, R, pin x, y, R
	Sectors           []Sector
	BlurBore, BlurPin float64
	Dark, DarkU       float64 // light in the gap
	Contrast          float64 // smaller of the median steps bush-dark and pin-dark
	Noise             float64 // median residual of a pixel's light
	Scatter           float64 // robust scatter of the sectors' rims from the circles, pixels
	// Excess is by how much the scatter exceeds what the light's residuals
	// predict; the covariances are multiplied by its square when above one.
	Excess float64
	Gap    float64 // widest gap, pixels
	// Bevels are those beside the bore's rim and the pin's; the circles are at
	// their feet.
	Bevels [2]Bevel
	// Smear is how far towards the gap the bore's rim and the pin's may lie,
	// pixels, for an edge that is softer than the other's and not told from a
	// bevel. 0 where that is not so.
	Smear [2]float64
	// darkSpread is by how much the dark level differs from sector to sector.
	darkSpread float64
	// narrow says that dark level and edge spread come from all sectors at once.
	narrow bool
	// wide says that they do not fit the wide sectors, whose own are taken.
	wide bool
	// starts is where the rims of each sector are looked for, from the circles.
	starts []rims
	// pixels are those of the last pass, with their distances from the circles
	// as they were then, a few thousandths of a pixel from where they are now.
	pixels []sectorPixels
}

// rims is a pair of places from the two circles, pixels.
type rims struct{ bore, pin float64 }

// Half-width of the band of light beside a rim that is fitted, in edge
// spreads and at least in pixels.
const (
	bandSpreads = 4.0
	bandPixels  = 5.0
)

// A gap wider than this many edge spreads shows its own dark level and edge
// spread; in a narrower one both are taken from elsewhere in the photo
// (otherwise the width's uncertainty explodes).
const wideGap = 5.0

// In a gap narrower than narrowGap edge spreads the two rims are told apart by
// the shape of the blur, which no lens has quite Gaussian: narrowU edge spreads
// are added to the uncertainty of each (judgement, from rendered defocus).
const (
	narrowGap = 3.0
	narrowU   = 0.15
)

// FitCrescent fits the light of a pin standing in its bore.
//
// In each sector of some twelve pixels of rim the light is
//
//	I = dark + (bush-dark) P((db-Bore)/sb) + (pin-dark) P((Pin-dp)/sp)
//
// with P the normal distribution function and db, dp the distances from the
// two circles. Levels and rims are free in each sector, the edge spreads sb
// and sp are common, the dark level is free where the gap is wide and else
// held at the level of the wide part. The rims of the sectors then give both
// circles by a robust fit with their joint covariance, and the whole is
// repeated about the new circles until nothing moves.
//
// The 50 % contour of a blurred disc lies s^2/(2R) inside its rim, for pin
// and bore alike; the radii returned are corrected for it.
func FitCrescent(g raster.Gray, start Rims) (CrescentFit, error) {
	f := CrescentFit{Bore: start.Bore, Pin: start.Pin, Bevels: start.Bevels}
	f.BlurBore, f.BlurPin = start.Blur, start.Blur
	f.DarkU = -1
	f.starts = make([]rims, sectorsFor(f.Bore.R))
	f.pixels = make([]sectorPixels, len(f.starts))
	const passes = 12
	for pass := range passes {
		if !f.sane(g) {
			return f, ErrNoCrescent
		}
		if pass == strayPass {
			f.findStrays(g)
		}
		f.collect(g)
		before := f.Sectors
		f.Sectors = make([]Sector, len(f.pixels))
		InHalves(len(f.Sectors), func(_, i int) {
			var last Sector
			if before != nil {
				last = before[i]
			}
			f.Sectors[i] = f.fitSector(f.pixels[i], i, last)
		})
		moved, ok := f.update(pass)
		if !ok {
			return f, ErrNoCrescent
		}
		if pass > strayPass && moved < 0.003 {
			break
		}
	}
	f.Bore.R += f.BlurBore * f.BlurBore / (2 * f.Bore.R)
	f.Pin.R += f.BlurPin * f.BlurPin / (2 * f.Pin.R)
	return f, nil
}

// Once the circles are about right, sectors that do not show their rims there
// are searched for rims farther off: a worn flank, or dirt.
const strayPass = 1

// sectorsFor returns the number of sectors for a bore of radius r: some twelve
// pixels of rim each.
func sectorsFor(r float64) int { return min(max(int(2*math.Pi*r/12), 48), 240) }

// sane keeps a fit that runs away from eating memory.
func (f *CrescentFit) sane(g raster.Gray) bool {
	size := float64(max(g.W, g.H))
	for _, c := range []geom.Circle{f.Bore, f.Pin} {
		if !(c.R > 4 && c.R < size) || !(math.Abs(c.Center.X) < 2*size) || !(math.Abs(c.Center.Y) < 2*size) {
			return false
		}
	}
	return f.Bore.R > f.Pin.R-2 && f.BlurBore > 0.2 && f.BlurBore < 0.2*f.Pin.R
}

// pixel is the light of one pixel with its distances from the two circles.
type pixel struct{ light, bore, pin float32 }

// sectorPixels are the pixels of a sector; those that are burnt out tell no more
// than that their light is at least so much.
type sectorPixels struct {
	px, burnt []pixel
}

// clipped is the share of the pixels that are burnt out.
func (sp sectorPixels) clipped() float64 {
	return float64(len(sp.burnt)) / float64(max(len(sp.burnt)+len(sp.px), 1))
}

func (f *CrescentFit) band(blur float64) float64 { return max(bandSpreads*blur, bandPixels) }

// collect gathers the pixels between and beside the two circles by sector,
// into the memory of the pass before.
func (f *CrescentFit) collect(g raster.Gray) {
	out := f.pixels
	n := len(out)
	bandB, bandP := f.band(f.BlurBore)+f.Bevels[0].Width, f.band(f.BlurPin)+f.Bevels[1].Width
	var out0, in0 float64 // how far the sectors' own rims stray
	for _, s := range f.starts {
		out0, in0 = max(out0, s.bore), min(in0, s.pin)
	}
	share := int(2*math.Pi*f.Bore.R*(f.Bore.R-f.Pin.R+bandB+bandP)/float64(n)) + 8
	for i := range out {
		if out[i].px == nil {
			out[i].px = make([]pixel, 0, share)
		}
		out[i] = sectorPixels{px: out[i].px[:0], burnt: out[i].burnt[:0]}
	}
	cb, cp := f.Bore.Center, f.Pin.Center
	reach := f.Bore.R + bandB + out0
	inner := f.Pin.R - bandP + in0
	y0 := max(0, int(math.Ceil(cb.Y-reach)))
	y1 := min(g.H-1, int(math.Floor(cb.Y+reach)))
	for y := y0; y <= y1; y++ {
		dyb, dyp := float64(y)-cb.Y, float64(y)-cp.Y
		half := math.Sqrt(max(0, reach*reach-dyb*dyb))
		x0 := max(0, int(math.Ceil(cb.X-half)))
		x1 := min(g.W-1, int(math.Floor(cb.X+half)))
		// Columns from skip0 to skip1 lie well within the pin.
		skip0, skip1 := x1+1, x1+1
		if in := inner*inner - dyp*dyp; in > 0 {
			skip0 = int(math.Ceil(cp.X - math.Sqrt(in)))
			skip1 = int(math.Floor(cp.X+math.Sqrt(in))) + 1
		}
		row := g.Row(y)
		for x := x0; x <= x1; x++ {
			if x == skip0 && skip1 > x {
				x = skip1
				if x > x1 {
					break
				}
			}
			dxb, dxp := float64(x)-cb.X, float64(x)-cp.X
			db := math.Sqrt(dxb*dxb+dyb*dyb) - f.Bore.R
			dp := math.Sqrt(dxp*dxp+dyp*dyp) - f.Pin.R
			if db > bandB+out0 || dp < -bandP+in0 {
				continue
			}
			k := min(int(turn(dxb, dyb)*float64(n)), n-1)
			if db > bandB+f.starts[k].bore || dp < -bandP+f.starts[k].pin {
				continue
			}
			s := &out[k]
			if g.Clip > 0 && row[x] >= g.Clip {
				s.burnt = append(s.burnt, pixel{g.Clip, float32(db), float32(dp)})
				continue
			}
			s.px = append(s.px, pixel{row[x], float32(db), float32(dp)})
		}
	}
}

// turn returns the direction of (x, y) as a share of a whole turn, 0 to 1,
// wrong by less than 2.5e-4 turns: enough to sort pixels into sectors, at a
// fraction of the cost of an arc tangent.
func turn(x, y float64) float64 {
	ax, ay := math.Abs(x), math.Abs(y)
	q := min(ax, ay) / max(ax, ay, 1e-300)
	// atan(q)/(2 pi) on 0..1; the error of the cubic is below 1.5e-3 rad.
	a := q * (0.125 + (1-q)*(0.03895+0.01055*q))
	if ay > ax {
		a = 0.25 - a
	}
	if x < 0 {
		a = 0.5 - a
	}
	if y < 0 {
		a = 1 - a
	}
	return a
}

// Order of a sector's parameters.
const (
	pBush = iota
	pPin
	pRimBore
	pRimPin
	pDark
	pLnBore
	pLnPin
)

// A face this faint, as a share of the contrast, is not a face: the rim lies
// elsewhere.
const faintest = 0.2

// fitSector fits the light of sector i about the present circles by
// Gauss-Newton: in one round from where it was in the pass before, or in three
// from the pixels themselves.
func (f *CrescentFit) fitSector(sp sectorPixels, i int, last Sector) Sector {
	s := Sector{Angle: (float64(i) + 0.5) * 2 * math.Pi / float64(len(f.starts))}
	s.PinAngle, s.gap = f.pinAngle(s.Angle)
	s.Clipped = sp.clipped()
	if len(sp.px) < 24 {
		return s
	}
	start := f.starts[i]
	rimB, rimP := start.bore, start.pin
	s.bevels = [2]Bevel{f.Bevels[0].worn(start.bore), f.Bevels[1].worn(-start.pin)}
	blur := max(f.BlurBore, f.BlurPin)
	s.spreadFree = s.gap+rimB-rimP > wideGap*blur
	darkFree := s.spreadFree || f.DarkU < 0
	lnB, lnP := 0.0, 0.0
	rounds := 3
	// In a narrow gap the light hardly tells a shift of both rims apart from
	// none: left to go on from pass to pass they would drift.
	known := last.Fitted && s.spreadFree
	if known {
		rounds = 1
		rimB, rimP = last.Bore, last.Pin
		s.BushLight, s.PinLight, s.DarkLight = last.BushLight, last.PinLight, last.DarkLight
	} else {
		s.BushLight, s.PinLight, s.DarkLight = f.levels(sp.px, start)
	}
	for iter := range rounds {
		m := normal{n: pDark + 1}
		if s.spreadFree && (known || iter > 0) {
			m.n = pLnPin + 1
		}
		at := f.lightOf(&s, rimB, rimP, lnB, lnP)
		at.sum(&m, sp.px)
		if grain := cmp.Or(s.grain, last.grain, s.RMS); len(sp.burnt) > 0 && grain > 0 {
			s.grain = at.grain(sp, grain)
			at.sumBurnt(&m, sp.burnt, s.grain)
		}
		if !darkFree {
			w := 1 / (f.DarkU * f.DarkU)
			w *= f.noiseGuess() * f.noiseGuess()
			m.a[pDark][pDark] += w
			m.b[pDark] += w * (f.Dark - s.DarkLight)
		} else if !s.spreadFree {
			// Nothing is known of the dark level yet: black, within a tenth of
			// the contrast.
			c := 0.1 * max(s.BushLight, s.PinLight, 0.02)
			w := f.noiseGuess() * f.noiseGuess() / (c * c)
			m.a[pDark][pDark] += w
			m.b[pDark] += w * (0 - s.DarkLight)
		}
		x, inv, ok := m.solve()
		if !ok {
			return s
		}
		s.BushLight += x[pBush]
		s.PinLight += x[pPin]
		s.DarkLight += x[pDark]
		rimB += clamp(x[pRimBore], 1.5*blur)
		rimP += clamp(x[pRimPin], 1.5*blur)
		if m.n > pLnBore {
			lnB += clamp(x[pLnBore], 0.3)
			lnP += clamp(x[pLnPin], 0.3)
		}
		free := m.count - m.n
		if free < 8 {
			return s
		}
		s.RMS = math.Sqrt(m.sumsq / float64(free))
		v := s.RMS * s.RMS
		s.varDark = v * inv[pDark][pDark]
		s.VarBore, s.VarPin, s.CovBP = v*inv[pRimBore][pRimBore], v*inv[pRimPin][pRimPin], v*inv[pRimBore][pRimPin]
	}
	if s.gap+rimB-rimP < narrowGap*blur {
		v := narrowU * blur * narrowU * blur
		s.VarBore += v
		s.VarPin += v
	}
	s.Bore, s.Pin, s.lnBore, s.lnPin = rimB, rimP, lnB, lnP
	s.Fitted = math.Abs(rimB-start.bore) < f.band(f.BlurBore) && math.Abs(rimP-start.pin) < f.band(f.BlurPin) &&
		min(s.BushLight, s.PinLight) > s.DarkLight+faintest*f.Contrast &&
		s.VarBore > 0 && s.VarPin > 0 && s.Clipped < 0.5 && s.gap+rimB-rimP > -1.5*blur
	return s
}

// noiseGuess is the noise that weighs what is known beforehand against a
// sector's own pixels.
func (f *CrescentFit) noiseGuess() float64 {
	if f.Noise > 0 {
		return f.Noise
	}
	return 0.02
}

// levels guesses a sector's levels from the pixels farthest from the rims.
func (f *CrescentFit) levels(px []pixel, at rims) (bush, pin, dark float64) {
	var nb, np int
	dark = math.Inf(1)
	for _, p := range px {
		if float64(p.bore)-at.bore > 1.5*f.BlurBore+f.Bevels[0].Width {
			bush += float64(p.light)
			nb++
		}
		if float64(p.pin)-at.pin < -1.5*f.BlurPin-f.Bevels[1].Width {
			pin += float64(p.light)
			np++
		}
		dark = min(dark, float64(p.light))
	}
	if nb > 0 {
		bush /= float64(nb)
	}
	if np > 0 {
		pin /= float64(np)
	}
	if f.DarkU >= 0 {
		dark = f.Dark
	}
	return bush, pin, dark
}

// pinAngle returns the direction, from the pin's centre, of the point where
// the ray at angle a from the bore's centre meets the pin's circle, and the
// distance of the two circles along that ray.
func (f *CrescentFit) pinAngle(a float64) (angle, gap float64) {
	u := r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
	d := r2.Sub(f.Bore.Center, f.Pin.Center)
	b := r2.Dot(u, d)
	t := -b + math.Sqrt(max(0, b*b-r2.Norm2(d)+f.Pin.R*f.Pin.R))
	at := r2.Add(d, r2.Scale(t, u))
	angle = math.Atan2(at.Y, at.X)
	if angle < 0 {
		angle += 2 * math.Pi
	}
	return angle, f.Bore.R - t
}

// update moves circles, edge spreads and the dark level to what the sectors
// say. It returns by how many pixels the circles moved.
func (f *CrescentFit) update(pass int) (moved float64, ok bool) {
	var rms, bush, pin, wideDark, varDark, allDark, lnB, lnP []float64
	for _, s := range f.Sectors {
		if !s.Fitted {
			continue
		}
		rms = append(rms, s.RMS)
		bush = append(bush, s.BushLight-s.DarkLight)
		pin = append(pin, s.PinLight-s.DarkLight)
		allDark = append(allDark, s.DarkLight)
		if s.spreadFree {
			wideDark = append(wideDark, s.DarkLight)
			varDark = append(varDark, s.varDark)
			lnB = append(lnB, s.lnBore)
			lnP = append(lnP, s.lnPin)
		}
	}
	if len(rms) < len(f.Sectors)/4 {
		return 0, false
	}
	f.Noise = middle(rms)
	f.Contrast = min(middle(bush), middle(pin))
	for i := range f.Sectors {
		s := &f.Sectors[i]
		// Glare and dirt; a misfit of a few percent is the shape of the blur.
		s.Fitted = s.Fitted && s.RMS < max(4*f.Noise, 0.05*f.Contrast)
	}
	fit, ok := fitRims(f.Sectors)
	if !ok {
		return 0, false
	}
	if pass >= strayPass+1 && f.narrow && f.Bevels == [2]Bevel{} && !agreeOnBlur(lnB, lnP) {
		f.wide = true
	}
	wide := len(wideDark) >= minWide &&
		(f.wide || 3*len(wideDark) >= 2*len(rms) || math.Abs(math.Log(f.BlurBore/f.BlurPin)) > unlikeBlur)
	f.darkSpread = evenDark * f.Contrast
	if len(wideDark) >= minWide {
		m := 1.48 * mad(wideDark, middle(wideDark))
		f.darkSpread = math.Sqrt(max(m*m-middle(varDark), f.darkSpread*f.darkSpread))
	}
	if !wide && pass > 0 {
		if f.DarkU < 0 || !f.narrow {
			f.Dark, f.DarkU = quantile(allDark, 0.25), 0.03*f.Contrast
		}
		lnS, ok := f.fitNarrow(f.pixels, &fit)
		f.narrow = ok
		moved += 2 * math.Abs(lnS)
	}
	moved += fit.apply(f)
	for i, s := range f.Sectors {
		// A rim that strays by more than its band would be cut off by it. But
		// one that strays to the far side of its bevel is no rim.
		if s.Fitted && (math.Abs(s.Bore) > 2 || math.Abs(s.Pin) > 2) && !f.beyondBevel(s) {
			f.starts[i] = rims{s.Bore, s.Pin}
		}
	}
	var widths []float64
	for _, s := range f.Sectors {
		if s.Fitted {
			widths = append(widths, s.Width())
		}
	}
	// The widest but for a tenth of the directions: dirt can open a gap, too.
	f.Gap = quantile(widths, 0.9)
	if wide {
		f.BlurBore *= math.Exp(middle(lnB))
		f.BlurPin *= math.Exp(middle(lnP))
		moved += math.Abs(middle(lnB)) + math.Abs(middle(lnP))
		f.Dark = middle(wideDark)
		f.DarkU = max(1.48*mad(wideDark, f.Dark), 0.003*f.Contrast)
	}
	return moved, true
}

// beyondBevel says whether a rim of the sector was put where its face begins.
func (f *CrescentFit) beyondBevel(s Sector) bool {
	for r, dev := range []float64{s.Bore, -s.Pin} {
		if w := f.Bevels[r].Width; w > 0 && dev > 0 && dev < w+max(f.BlurBore, f.BlurPin) {
			return true
		}
	}
	return false
}

// agreeOnBlur says whether the edge spreads of the wide sectors, as logarithms of
// their ratio to those that were fitted to all sectors at once, agree with
// these. They do not when the narrow part of the gap is not what the fit takes
// it for: a pin that stands proud keeps the light from the bush there.
func agreeOnBlur(lnB, lnP []float64) bool {
	const least, sigmas = 0.03, 4
	if len(lnB) < 2*minWide {
		return true
	}
	v := make([]float64, len(lnB))
	for i := range v {
		v[i] = (lnB[i] + lnP[i]) / 2
	}
	m := middle(v)
	return math.Abs(m) < least+sigmas*1.48*mad(v, m)/math.Sqrt(float64(len(v)))
}

// minWide is the number of wide sectors whose dark level and edge spread can
// speak for all. They do when they are two thirds of all sectors, and when the
// edge spreads of the rims differ by more than unlikeBlur (natural logarithm):
// a chamfer then smears one of them, and a fit with one spread for both would
// be wrong. evenDark is the least difference of the dark level from sector to
// sector, as a share of the contrast.
const (
	minWide    = 8
	unlikeBlur = 0.1
	evenDark   = 0.001
)

func clamp(v, limit float64) float64 { return max(-limit, min(v, limit)) }

// middle returns the middle of v, 0 for none. It reorders v.
func middle(v []float64) float64 { return quantile(v, 0.5) }

// quantile returns the value below which a share q of v lies. It reorders v.
func quantile(v []float64, q float64) float64 {
	slices.Sort(v)
	return sortedQuantile(v, q)
}

// sortedQuantile is quantile of values in rising order.
func sortedQuantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return 0
	}
	at := q * float64(len(v)-1)
	i := int(at)
	if i+1 >= len(v) {
		return v[i]
	}
	return v[i] + (at-float64(i))*(v[i+1]-v[i])
}

// mad returns the median distance of v from center.
func mad(v []float64, center float64) float64 {
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - center)
	}
	return middle(d)
}
