package subpixel

import "math"

// Order of the parameters that all sectors of a narrow gap share.
const (
	nBoreX = iota
	nBoreY
	nBoreR
	nPinX
	nPinY
	nPinR
	nSpread // ln of the edge spread, alike for both rims
	nDark
	nShared
)

// Order of what one sector says before its own levels are eliminated.
const (
	oBore = iota // rim of the bore, outwards
	oPin
	oSpread
	oDark
	oBush
	oPinLight
	oOwnDark // its dark level less the shared one
	oAll
)

// narrowSum is what one sector of a narrow gap says about the shared
// parameters: its share of the normal matrix and of the right side.
type narrowSum struct {
	a [nShared][nShared]float64
	b [nShared]float64
	// levels gives the step of the sector's own levels (bush, pin, dark) for a
	// step of the shared parameters.
	levels func(x []float64) [oAll - oBush]float64
}

// fitNarrow fits a gap that is nowhere wide enough to show its own darkness
// and edge spread. One sector cannot tell a narrow gap from a pale one; all of
// them together can, since the gap differs in width round two circles: both
// circles, the dark level and the edge spread are fitted to the light of all
// sectors at once, each with its own levels of bush and pin, and with a dark
// level that differs from the shared one by no more than darkSpread.
//
// The covariance is found from how the sectors disagree (White's estimator,
// with neighbours counted together by Bartlett's weights), not from the noise
// of a pixel, so that texture is in it.
//
// t starts as the circles that the sectors gave and gets step and covariance;
// lnS is the change of the edge spreads. When the light does not determine the
// parameters ok is false and nothing is changed.
func (f *CrescentFit) fitNarrow(pixels []sectorPixels, t *rimFit) (lnS float64, ok bool) {
	at := make([][oAll - oBush]float64, len(f.Sectors))
	var use []int
	var wide []float64
	for _, s := range f.Sectors {
		if s.Fitted && s.spreadFree {
			wide = append(wide, s.DarkLight)
		}
	}
	level := middle(wide)
	odd := 4 * max(1.48*mad(wide, level), f.darkSpread)
	for i, s := range f.Sectors {
		if s.spreadFree && len(wide) >= minWide && math.Abs(s.DarkLight-level) > odd {
			continue // oil or light in the gap
		}
		at[i] = [oAll - oBush]float64{s.BushLight, s.PinLight, 0}
		if s.Fitted && s.BoreUsed && s.PinUsed && s.Clipped == 0 && s.gap > leastNarrow*f.BlurBore {
			use = append(use, i)
		}
	}
	if len(use) < 3*nShared {
		return 0, false
	}
	step, dark := t.step, f.Dark
	var inv [maxParams][maxParams]float64
	var scores [][nShared]float64
	for range narrowRounds {
		m := normal{n: nShared}
		sums := make([]narrowSum, len(use))
		scores = make([][nShared]float64, len(f.Sectors))
		for k, i := range use {
			s := &f.Sectors[i]
			sums[k], ok = f.sumNarrow(pixels[i].px, s, step, lnS, dark, at[i])
			if !ok {
				return 0, false
			}
			scores[i] = sums[k].b
			for p := range nShared {
				m.b[p] += sums[k].b[p]
				for q := range p + 1 {
					m.a[p][q] += sums[k].a[p][q]
				}
			}
		}
		var x [maxParams]float64
		if x, inv, ok = m.solve(); !ok {
			return 0, false
		}
		// A long step is shortened as a whole, so that it keeps its direction.
		short := 1.0
		for p := range nSpread {
			short = min(short, f.BlurBore/max(math.Abs(x[p]), 1e-12))
		}
		short = min(short, 0.3/max(math.Abs(x[nSpread]), 1e-12))
		for p := range x {
			x[p] *= short
		}
		for p := range step {
			step[p] += x[p]
		}
		lnS += x[nSpread]
		dark += x[nDark]
		for k, i := range use {
			for l, v := range sums[k].levels(x[:]) {
				at[i][l] += v
			}
		}
	}
	cov := disagreement(inv, scores, len(use))
	t.step = step
	for p := range t.cov {
		for q := range t.cov {
			t.cov[p][q] = cov[p][q]
		}
	}
	f.BlurBore *= math.Exp(lnS)
	f.BlurPin *= math.Exp(lnS)
	f.Dark, f.DarkU = dark, max(math.Sqrt(cov[nDark][nDark]), 0.003*f.Contrast)
	return lnS, true
}

// leastNarrow is the least distance of the two circles, in edge spreads, of a
// sector that takes part. Closer together texture outweighs the gap, and where
// the circles cross a flank is worn: it begins there too gently to be told from
// the circle.
const leastNarrow = 0.75

// narrowRounds is the number of steps taken before the rims are looked at
// again.
const narrowRounds = 4

// sumNarrow gathers the pixels of one sector about the circles moved by step.
func (f *CrescentFit) sumNarrow(px []pixel, s *Sector, step [6]float64, lnS, shared float64, own [oAll - oBush]float64) (narrowSum, bool) {
	sinB, cosB := math.Sincos(s.Angle)
	sinP, cosP := math.Sincos(s.PinAngle)
	rimB := step[nBoreX]*cosB + step[nBoreY]*sinB + step[nBoreR]
	rimP := step[nPinX]*cosP + step[nPinY]*sinP + step[nPinR]
	light := sectorLight{
		bush: own[0], pin: own[1], dark: shared + own[2],
		rimBore: rimB, rimPin: rimP,
		spreadBore: f.BlurBore * math.Exp(lnS), spreadPin: f.BlurPin * math.Exp(lnS),
		bevels: s.bevels,
	}
	var d [maxParams]float64
	var a [oAll][oAll]float64
	var b [oAll]float64
	for _, p := range px {
		res := float64(p.light) - light.at(p, &d)
		j := [oAll]float64{
			oBore:     d[pRimBore],
			oPin:      d[pRimPin],
			oSpread:   d[pLnBore] + d[pLnPin],
			oDark:     d[pDark],
			oBush:     d[pBush],
			oPinLight: d[pPin],
			oOwnDark:  d[pDark],
		}
		for i, v := range j {
			for k := range i + 1 {
				a[i][k] += v * j[k]
			}
			b[i] += v * res
		}
	}
	for i := range a {
		for k := range i {
			a[k][i] = a[i][k]
		}
	}
	w := f.Noise * f.Noise / (f.darkSpread * f.darkSpread)
	a[oOwnDark][oOwnDark] += w
	b[oOwnDark] -= w * own[2]
	// The sector's own levels are eliminated one by one (Schur's complement).
	for l := oAll - 1; l >= oBush; l-- {
		if !(a[l][l] > 1e-9) {
			return narrowSum{}, false
		}
		for i := range l {
			r := a[i][l] / a[l][l]
			for k := range l {
				a[i][k] -= r * a[l][k]
			}
			b[i] -= r * b[l]
		}
	}
	// design tells what each shared parameter does to the sector.
	design := [nShared]struct {
		of int
		by float64
	}{
		{oBore, cosB},
		{oBore, sinB},
		{oBore, 1},
		{oPin, cosP},
		{oPin, sinP},
		{oPin, 1},
		{oSpread, 1},
		{oDark, 1},
	}
	var out narrowSum
	for p, d := range design {
		out.b[p] = d.by * b[d.of]
		for q, e := range design {
			out.a[p][q] = d.by * e.by * a[d.of][e.of]
		}
	}
	out.levels = func(x []float64) (own [oAll - oBush]float64) {
		for l := oBush; l < oAll; l++ {
			v := b[l]
			for p, d := range design {
				v -= a[l][d.of] * d.by * x[p]
			}
			for k := oBush; k < l; k++ {
				v -= a[l][k] * own[k-oBush]
			}
			own[l-oBush] = v / a[l][l]
		}
		return own
	}
	return out, true
}

// disagreement returns inv S inv with S the sum of the products of the
// sectors' scores, neighbours included with falling weight, n sectors in all.
func disagreement(inv [maxParams][maxParams]float64, scores [][nShared]float64, n int) (cov [nShared][nShared]float64) {
	const reach = 2
	var s [nShared][nShared]float64
	for i := range scores {
		for d := -reach; d <= reach; d++ {
			w := 1 - math.Abs(float64(d))/(reach+1)
			k := (i + d + len(scores)) % len(scores)
			for p := range s {
				for q := range s {
					s[p][q] += w * scores[i][p] * scores[k][q]
				}
			}
		}
	}
	freedom := float64(n) / float64(n-nShared)
	for p := range cov {
		for q := range cov {
			for i := range s {
				for k := range s {
					cov[p][q] += freedom * inv[p][i] * s[i][k] * inv[k][q]
				}
			}
		}
	}
	return cov
}
