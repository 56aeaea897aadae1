package geom

import (
	"errors"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
)

// Why a fit can fail. A failed fit returns one of these, found with
// errors.Is, and a zero figure.
var (
	ErrTooFew      = errors.New("geom: too few points")
	ErrNoSpread    = errors.New("geom: all points lie at one place")
	ErrCollinear   = errors.New("geom: points cannot be told from a straight line")
	ErrNotEllipse  = errors.New("geom: points do not bend into an ellipse")
	ErrAllRejected = errors.New("geom: every point was rejected")
	ErrUncertainty = errors.New("geom: uncertainties must be positive for all points, or zero for all, and in some proportion to the points")
	ErrNotFinite   = errors.New("geom: a coordinate is not finite or out of all proportion")
	ErrUnsettled   = errors.New("geom: fit did not settle")
)

// FitOptions steer a robust fit.
type FitOptions struct {
	// Rand draws the trial circles; nil means a generator with a fixed seed,
	// so that the same points give the same circle.
	Rand *rand.Rand
}

func (o FitOptions) rand() *rand.Rand {
	if o.Rand != nil {
		return o.Rand
	}
	return rand.New(rand.NewPCG(1, 2))
}

// cloud holds points moved to their mean and scaled to a root mean square
// distance of one from it, so that squares and fourth powers of coordinates
// keep their digits wherever the points lie.
type cloud struct {
	at   []r2.Vec
	u    []float64 // standard uncertainties; all one when none were given
	mean r2.Vec
	size float64
	// stated says that u was given by the caller, who then knows the spread;
	// otherwise it has to come from the distances left over.
	stated bool
	// collinear says that the points lie on a straight line to the last digit
	// of their coordinates.
	collinear bool
}

// newCloud takes the points that are not rejected.
func newCloud(pts []EdgePoint) (cloud, error) {
	var at []r2.Vec
	var u []float64
	zeros := 0
	for _, p := range pts {
		if p.Rejected {
			continue
		}
		if !(p.U >= 0) || math.IsInf(p.U, 0) {
			return cloud{}, ErrUncertainty
		}
		if p.U == 0 {
			zeros++
		}
		at = append(at, p.At)
		u = append(u, p.U)
	}
	if len(at) == 0 && len(pts) > 0 {
		return cloud{}, ErrAllRejected
	}
	if zeros > 0 && zeros < len(at) {
		return cloud{}, ErrUncertainty
	}
	c, err := newPlainCloud(at)
	if err != nil {
		return cloud{}, err
	}
	if c.stated = zeros == 0; c.stated {
		for i := range u {
			if c.u[i] = u[i] / c.size; c.u[i] < 1/huge || c.u[i] > huge {
				return cloud{}, ErrUncertainty
			}
		}
	}
	return c, nil
}

// newPlainCloud takes points of equal weight.
func newPlainCloud(pts []r2.Vec) (cloud, error) {
	if len(pts) < 2 {
		return cloud{}, ErrTooFew
	}
	n := float64(len(pts))
	// The mean of distances from the first point: exact enough far from the
	// origin, where a mean of coordinates would lose digits.
	var mean r2.Vec
	for _, p := range pts {
		mean = r2.Add(mean, r2.Scale(1/n, r2.Sub(p, pts[0])))
	}
	mean = r2.Add(mean, pts[0])
	var size, far float64
	for _, p := range pts {
		size = math.Hypot(size, r2.Norm(r2.Sub(p, mean)))
		far = max(far, math.Abs(p.X), math.Abs(p.Y))
	}
	size /= math.Sqrt(n)
	if !(size < huge && far < huge) {
		return cloud{}, ErrNotFinite
	}
	if size <= max(8*epsilon*far, 1/huge) {
		return cloud{}, ErrNoSpread
	}
	c := cloud{at: make([]r2.Vec, len(pts)), u: make([]float64, len(pts)), mean: mean, size: size}
	var sxx, syy, sxy float64
	for i, p := range pts {
		v := r2.Scale(1/size, r2.Sub(p, mean))
		c.at[i], c.u[i] = v, 1
		sxx += v.X * v.X / n
		syy += v.Y * v.Y / n
		sxy += v.X * v.Y / n
	}
	// The scatter across the longest direction: below the digits of the
	// coordinates, the points are on a line.
	sin, cos := math.Sincos(math.Atan2(2*sxy, sxx-syy) / 2)
	var across float64
	for _, v := range c.at {
		across += sq(v.Y*cos-v.X*sin) / n
	}
	c.collinear = math.Sqrt(across) <= 8*epsilon*(1+far/size)
	return c, nil
}

// huge bounds sizes, and their inverse, so that squares and their products
// stay numbers.
const huge = 1e70

// epsilon is the spacing of doubles at one.
const epsilon = 0x1p-52

// out moves a vector of the cloud back to where the points came from.
func (c cloud) out(v r2.Vec) r2.Vec { return r2.Add(c.mean, r2.Scale(c.size, v)) }
