package raster

import "math"

// Curve names the relation between a file's numbers and light.
type Curve string

// The tone curves a photo can be read with.
const (
	SRGB   Curve = "sRGB"   // IEC 61966-2-1
	Linear Curve = "linear" // numbers proportional to light
)

// Light returns the linear light of the encoded value v, both 0 to 1.
//
// For SRGB it is the inverse of the IEC 61966-2-1 transfer function,
//
//	v/12.92                      v <= 0.04045
//	((v+0.055)/1.055)^2.4        above
func (c Curve) Light(v float64) float64 {
	if c != SRGB {
		return v
	}
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// Encode is the inverse of Light.
func (c Curve) Encode(l float64) float64 {
	if c != SRGB {
		return l
	}
	if l <= 0.0031308 {
		return 12.92 * l
	}
	return 1.055*math.Pow(l, 1/2.4) - 0.055
}

// Table returns the light of the encoded values 0..n-1 of a file with n
// levels.
func (c Curve) Table(n int) []float32 {
	t := make([]float32, n)
	for i := range t {
		t[i] = float32(c.Light(float64(i) / float64(n-1)))
	}
	return t
}
