package subpixel

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Skew is by how much a movement is no similarity: at d from the middle of the
// tiles, what is shown lies (E dx + S dy, S dx - E dy) beside it. A shutter
// that reads row by row leaves that while camera or part move, and so does a
// camera that was tilted.
type Skew struct {
	E, S float64
	U    float64 // standard uncertainty of either
}

// skewOf fits a skew to what a similarity about c leaves of the tiles' scores;
// the covariance is a cluster sandwich as that of the movement. ok is false
// where the tiles do not determine it.
func skewOf(patches []patch, c r2.Vec) (skew Skew, ok bool) {
	const all = 6
	m := normal{n: all}
	var mid [all][all]float64
	// Lengths are taken over the spread of the tiles, so that shifts and turns
	// are of one size.
	spread := math.Max(spreadOf(patches, c), 1)
	n := 0.0
	for _, p := range patches {
		if p.weight == 0 {
			continue
		}
		n++
		dx, dy := (p.mid.X-c.X)/spread, (p.mid.Y-c.Y)/spread
		l := [2][all]float64{{1, 0, dx, -dy, dx, dy}, {0, 1, dy, dx, -dy, dx}}
		var s [all]float64
		for i := range all {
			for k := range 2 {
				s[i] += p.weight * l[k][i] * p.score[k]
				for q := range 2 {
					for j := range all {
						m.a[i][j] += p.weight * l[k][i] * p.info[k][q] * l[q][j]
					}
				}
			}
			m.b[i] += s[i]
		}
		for i := range all {
			for j := range all {
				mid[i][j] += s[i] * s[j]
			}
		}
	}
	x, inv, ok := m.solve()
	if !ok || n <= all {
		return Skew{}, false
	}
	v := 0.0
	for _, k := range []int{4, 5} {
		own := 0.0
		for i := range all {
			for j := range all {
				own += inv[k][i] * mid[i][j] * inv[k][j]
			}
		}
		v = math.Max(v, own*n/(n-all/2))
	}
	return Skew{E: x[4] / spread, S: x[5] / spread, U: math.Sqrt(v) / spread}, true
}
