package subpixel

import "math"

// An edge blurred by a Gaussian is the normal distribution function of the
// distance across it. The fits evaluate it some hundred thousand times a
// photo, so it is tabulated: 4096 cells over +/-6 standard deviations,
// linear between them, wrong by less than 1e-6.
const (
	edgeReach = 6.0
	edgeCells = 4096
	edgeScale = edgeCells / (2 * edgeReach)
)

var edgeTable = func() (t [edgeCells + 2][2]float64) {
	for i := range t {
		z := float64(i)/edgeScale - edgeReach
		t[i] = [2]float64{
			0.5 * math.Erfc(-z/math.Sqrt2),
			math.Exp(-z*z/2) / math.Sqrt(2*math.Pi),
		}
	}
	return t
}()

// edge returns the normal distribution function and its density at z.
func edge(z float64) (cdf, pdf float64) {
	u := (z + edgeReach) * edgeScale
	if u <= 0 {
		return 0, 0
	}
	if u >= edgeCells {
		return 1, 0
	}
	i := int(u)
	f := u - float64(i)
	a, b := &edgeTable[i], &edgeTable[i+1]
	return a[0] + (b[0]-a[0])*f, a[1] + (b[1]-a[1])*f
}
