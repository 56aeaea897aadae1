package subpixel

import "math"

// Lopsided is how lopsided the light across a rim is: C is the c of
//
//	u + c u(1-u)
//
// with u the light of a blur that is alike on both sides of the rim, 0 in the
// gap and 1 on the face. No lens does that to a sharp edge; a tone curve does
// that is not the one the photo was read with. U is the standard uncertainty.
//
// Not every such curve shows: u^p is close to another u elsewhere.
type Lopsided struct{ C, U float64 }

// Unknowns of a lopsided rim: the light of face and gap, and what a shift, a
// wider blur, a blur with other tails, a slope of the light on the face and a
// tone curve do to a step. The last is what a shift leaves of u(1-u).
const (
	qFace = iota
	qGap
	qShift
	qSpread
	qTails
	qSlope
	qTone
	lopsidedParams
)

const (
	// Sectors whose gap is narrower than this many edge spreads show the foot
	// of one rim in that of the other.
	lopsidedGap = 6.0
	// Blocks of neighbouring sectors. A tone curve shows in all of them, oil, wear
	// and shade in some: most must be lopsided the same way.
	lopsidedBlocks = 12
	// toneShift is the share of a Gaussian edge's slope that the best fitting
	// shift takes from u(1-u).
	toneShift = 0.594
)

// Lopsided returns how lopsided the light across the bore's rim and the pin's
// is. ok is false where the gap is too narrow in too many directions to show
// it, and beside a bevel, which is lopsided itself.
func (f CrescentFit) Lopsided() (rims [2]Lopsided, ok [2]bool) { return unbevelled(f, f.lopsided) }

// unbevelled returns what read says of the bore's rim and the pin's; of one beside
// a bevel, whose light is not that of one step, nothing.
func unbevelled[T any](f CrescentFit, read func(rim int) (T, bool)) (rims [2]T, ok [2]bool) {
	for r := range rims {
		if f.Bevels[r].Width == 0 {
			rims[r], ok[r] = read(r)
		}
	}
	return rims, ok
}

func (f CrescentFit) lopsided(rim int) (Lopsided, bool) {
	blocks := make([]normal, lopsidedBlocks)
	for b := range blocks {
		blocks[b].n = lopsidedParams
	}
	blur := max(f.BlurBore, f.BlurPin)
	seen := 0
	for i, sp := range f.pixels {
		s := f.Sectors[i]
		if s.Fitted && s.BoreUsed && s.PinUsed && s.Width() > lopsidedGap*blur {
			f.addLopsided(&blocks[i*lopsidedBlocks/len(f.pixels)], sp.px, s, rim)
			seen++
		}
	}
	if seen < 2*lopsidedBlocks {
		return Lopsided{}, false
	}
	all := normal{n: lopsidedParams}
	for _, b := range blocks {
		all.plus(b, 1)
	}
	x, _, ok := all.solve()
	if !ok {
		return Lopsided{}, false
	}
	c := x[qTone]
	// The jackknife: grain and shading along the rim are in it.
	var without []float64
	mean, alone, alike := 0.0, 0, 0
	for _, b := range blocks {
		if b.count == 0 {
			continue
		}
		rest := all
		rest.plus(b, -1)
		left, _, ok := rest.solve()
		if !ok {
			return Lopsided{}, false
		}
		without = append(without, left[qTone])
		mean += left[qTone]
		if own, _, ok := b.solve(); ok {
			alone++
			if own[qTone]*c > 0 {
				alike++
			}
		}
	}
	n := float64(len(without))
	mean /= n
	sumsq := 0.0
	for _, v := range without {
		sumsq += (v - mean) * (v - mean)
	}
	l := Lopsided{C: c, U: math.Sqrt((n - 1) / n * sumsq)}
	if 2*alike <= alone {
		l.C = 0
	}
	return l, alone >= lopsidedBlocks/2
}

// addLopsided adds the pixels of a sector about its rim to the equations. What
// strays far from the sector's own fit, a glint or a pit, hardly counts.
func (f CrescentFit) addLopsided(m *normal, px []pixel, s Sector, rim int) {
	spread, level := f.BlurBore, s.BushLight-s.DarkLight
	if rim == 1 {
		spread, level = f.BlurPin, s.PinLight-s.DarkLight
	}
	if level <= 0 || s.RMS <= 0 {
		return
	}
	for _, p := range px {
		z := (float64(p.bore) - s.Bore) / spread
		if rim == 1 {
			z = (s.Pin - float64(p.pin)) / spread
		}
		if math.Abs(z) > bandSpreads {
			continue
		}
		u, slope := edge(z)
		light := (float64(p.light) - s.DarkLight) / level
		t := (light - u) * level / (tukeyCut * max(s.RMS, 0.04*level))
		if t *= t; t >= 1 {
			continue
		}
		// The weight's root: its square is Tukey's.
		w := 1 - t
		m.add(&[maxParams]float64{
			qFace:   w * u,
			qGap:    w * (1 - u),
			qShift:  w * slope,
			qSpread: w * slope * z,
			qTails:  w * slope * (z*z*z - 3*z),
			qSlope:  w * max(z, 0) * u,
			qTone:   w * (u*(1-u) - toneShift*slope),
		}, w*light)
	}
}
