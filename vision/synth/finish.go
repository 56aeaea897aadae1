package synth

import "math"

// shade gives the light of a face at any pixel.
type shade struct {
	level, amplitude float32
	f                Finish
	along, across    struct{ x, y float64 } // pixels to lattice steps
	seed             uint64
}

func (f Face) shade(seed uint64) shade {
	s := shade{level: float32(f.Level), amplitude: float32(f.Finish.Amplitude), f: f.Finish}
	if s.amplitude == 0 {
		return s
	}
	// Faces of unlike brightness are unlike pieces of metal.
	s.seed = seed ^ math.Float64bits(f.Level)
	d := direction(f.Finish.AngleRad)
	s.along.x, s.along.y = d.X/f.Finish.Along, d.Y/f.Finish.Along
	s.across.x, s.across.y = -d.Y/f.Finish.Across, d.X/f.Finish.Across
	return s
}

// at returns the light of the face at a pixel.
func (s *shade) at(x, y int) float32 {
	if s.amplitude == 0 {
		return s.level
	}
	return s.level * max(0, 1+s.amplitude*s.pattern(float64(x), float64(y)))
}

// pattern returns the finish at a point, about zero with standard deviation
// near one: two layers of value noise, one of three times the size.
func (s *shade) pattern(x, y float64) float32 {
	u := x*s.along.x + y*s.along.y
	v := x*s.across.x + y*s.across.y
	return 0.8*lattice(u/3, v/3, s.seed) + 0.6*lattice(u, v, s.seed^0x9e3779b97f4a7c15)
}

// lattice returns smoothly interpolated random values given at whole numbers,
// scaled so that the mean square over the plane is one.
func lattice(u, v float64, seed uint64) float32 {
	fu, fv := math.Floor(u), math.Floor(v)
	i, j := uint64(int64(fu)), uint64(int64(fv))
	s, t := smooth(float32(u-fu)), smooth(float32(v-fv))
	a, b := node(i, j, seed), node(i+1, j, seed)
	c, d := node(i, j+1, seed), node(i+1, j+1, seed)
	top := a + (b-a)*s
	// An even spread over -1 to 1 has the mean square 1/3, and the mean
	// square of the smoothed weights is 26/35 along each axis.
	const scale = 1.7320508 * 35 / 26
	return scale * (top + (c+(d-c)*s-top)*t)
}

func smooth(t float32) float32 { return t * t * (3 - 2*t) }

// node returns the random value of a lattice point, even over -1 to 1.
func node(i, j, seed uint64) float32 {
	h := seed ^ i*0x9e3779b97f4a7c15 ^ j*0xc2b2ae3d27d4eb4f
	h ^= h >> 29
	h *= 0xbf58476d1ce4e5b9
	h ^= h >> 32
	return float32(int32(uint32(h))) / (1 << 31)
}
