package subpixel

import "math"

// Moved is what the rims tell of a camera or a joint that moved while the photo
// was taken.
type Moved struct {
	// Path is the length, pixels, of a straight way that makes the blur differ
	// with direction as much as it does. It is 0 for the blur of a lens.
	Path float64
	// Uneven is by how much the edge spread scatters from sector to sector about
	// that, as a share. Where rims merge in the smear of a crooked way it is no
	// spread at all.
	Uneven float64
}

const (
	// still is the amplitude of ln(edge spread), over twice the direction, up to
	// which a photo may have been taken at rest: lenses and the colours of a
	// sensor come to 0.05 and, out of focus, 0.07.
	still = 0.07
	// spreadFloor is the least standard uncertainty of ln(edge spread) in one
	// sector, for what its pixels' noise does not tell.
	spreadFloor = 0.02
	// mostSpread is ln of the ratio of a sector's edge spread to the common one
	// beyond which the sector shows something else.
	mostSpread = 1.5
)

// Moved compares the blur of both rims in all directions. A lens out of focus
// smears them alike; a way of length L along one direction adds L^2 cos^2 / 12
// to the variance of an edge, by the angle between its normal and the way.
//
// ok is false when too few sectors show their rims.
func (f CrescentFit) Moved() (m Moved, ok bool) {
	var seen []ownSpread
	for i, sp := range f.pixels {
		s := f.Sectors[i]
		if !s.Fitted || s.RMS <= 0 {
			continue
		}
		if s.BoreUsed {
			seen = f.addSpread(seen, sp.px, s, 0)
		}
		if s.PinUsed {
			seen = f.addSpread(seen, sp.px, s, 1)
		}
	}
	if len(seen) < 24 {
		return Moved{}, false
	}
	x, u, scatter, ok := secondHarmonic(seen)
	if !ok {
		return Moved{}, false
	}
	a := max(0, math.Hypot(x[1], x[2])-2*u-still)
	blur := (f.BlurBore + f.BlurPin) / 2
	return Moved{Path: math.Sqrt(12*2*math.Sinh(2*a)) * blur, Uneven: scatter}, true
}

// ownSpread is ln of the edge spread of one rim in one sector, over the common
// one, with its weight, and cosine and sine of twice the direction.
type ownSpread struct{ ln, weight, cos, sin float64 }

// addSpread appends the edge spread of one rim in one sector, as the light
// between its face and the dark side of its slope shows it.
func (f CrescentFit) addSpread(to []ownSpread, px []pixel, s Sector, rim int) []ownSpread {
	angle, level := s.Angle, s.BushLight-s.DarkLight
	if rim == 1 {
		angle, level = s.PinAngle, s.PinLight-s.DarkLight
	}
	m := normal{n: 3}
	for _, p := range px {
		zb, zp := (float64(p.bore)-s.Bore)/f.BlurBore, (s.Pin-float64(p.pin))/f.BlurPin
		cb, db := edge(zb)
		cp, dp := edge(zp)
		z, c, d := zb, cb, db
		if rim == 1 {
			z, c, d = zp, cp, dp
		}
		if z < -1 || z > bandSpreads {
			continue
		}
		model := s.DarkLight + (s.BushLight-s.DarkLight)*cb + (s.PinLight-s.DarkLight)*cp
		m.add(&[maxParams]float64{c, -level * d, -level * d * z}, float64(p.light)-model)
	}
	x, inv, ok := m.solve()
	if !ok || m.count < 10 || math.Abs(x[2]) > mostSpread {
		return to
	}
	sin, cos := math.Sincos(2 * angle)
	weight := 1 / (s.RMS*s.RMS*inv[2][2] + spreadFloor*spreadFloor)
	return append(to, ownSpread{x[2], weight, cos, sin})
}

// secondHarmonic fits mean, cosine and sine of twice the direction to the edge
// spreads, with Tukey's weights. u is the standard uncertainty of the amplitude,
// scatter the robust scatter about it.
func secondHarmonic(seen []ownSpread) (x [3]float64, u, scatter float64, ok bool) {
	scatter = math.Inf(1)
	for range 6 {
		m := normal{n: 3}
		off := make([]float64, len(seen))
		for i, s := range seen {
			r := s.ln - x[0] - x[1]*s.cos - x[2]*s.sin
			off[i] = math.Abs(r)
			t := r / (tukeyCut * scatter)
			if t *= t; t < 1 {
				w := (1 - t) * math.Sqrt(s.weight)
				m.add(&[maxParams]float64{w, w * s.cos, w * s.sin}, w*r)
			}
		}
		step, inv, solved := m.solve()
		if !solved || m.count <= 3 {
			return x, 0, 0, false
		}
		for i := range x {
			x[i] += step[i]
		}
		u = math.Sqrt(m.sumsq / float64(m.count-3) * (inv[1][1] + inv[2][2]) / 2)
		scatter = 1.48*middle(off) + 1e-9
	}
	return x, u, scatter, true
}
