package vision

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// Limits of a grid (judgement, tried on generated grids).
const (
	minGridSide    = 5
	maxGridUneven  = 0.03 // root mean square, of the distance of neighbours
	minGridStep    = 0.12 // bright minus dark over their sum
	groundBetween  = 0.3  // of the step, by which ground between dots may be off the ground's light
	leastNeighbour = 8.0  // pixels
)

// FindGrid finds the points of a flat target that fills the photo, or lies in
// it in part, at any angle: a square grid of round dots, dark or bright, or a
// checkerboard, five by five points or more, at least eight pixels apart.
//
// Each point is then the place about which light is symmetric; see
// [subpixel.FitSymmetric]. A dot's is that of its middle as seen: a lens that
// bends the photo by the share q at the distance R from the middle puts the
// middle of a dot of radius r outwards by 3 q (r/R)², which is below 1e-4 for
// dots smaller than a twentieth of R.
//
// The error is a *check.Refusal: no_scale when there is no grid, scale_unclear
// when it is not even or too small.
func FindGrid(g raster.Gray) (geom.Grid, []check.Check, error) {
	l := lightOfGrid(g)
	if c := check.AtLeast("grid_contrast", round(l.contrast, 3), minGridStep); !c.OK {
		return geom.Grid{}, []check.Check{c}, check.Refuse(check.NoScale, fmt.Sprintf("no grid was seen: bright and dark differ by %.2f of their sum, less than %.2f", c.Value, c.Limit))
	}
	var best foundGrid
	for _, bright := range []bool{false, true} {
		t := dots(g, l, bright)
		if f := (foundGrid{targets: t, lattice: growLattice(t, g.W, g.H)}); len(f.lattice) > len(best.lattice) && f.groundBetween(g, l, bright) {
			best = f
		}
	}
	if _, _, columns, rows := best.lattice.sides(); min(columns, rows) < minGridSide {
		t := corners(g, l)
		if f := (foundGrid{targets: t, lattice: growLattice(t, g.W, g.H), checker: true}); len(f.lattice) > len(best.lattice) {
			best = f
		}
	}
	return best.measure(g)
}

// foundGrid is a grid found to a pixel.
type foundGrid struct {
	targets []target
	lattice lattice
	checker bool
}

// groundBetween says whether there is ground half-way from dot to dot: between
// the dark squares of a checkerboard, which lie on a lattice too, is none.
func (f foundGrid) groundBetween(g raster.Gray, l gridLight, bright bool) bool {
	on, off := 0, 0
	for _, c := range f.lattice.cells() {
		for k := range 2 {
			i, ok := f.lattice[step(c, ways[k])]
			if !ok {
				continue
			}
			p := r2.Scale(0.5, r2.Add(f.targets[i].at, f.targets[f.lattice[c]].at))
			dark, light := l.at(int(p.X), int(p.Y))
			share := (g.Bilinear(p.X, p.Y) - float64(dark)) / max(float64(light-dark), 1e-6)
			if bright {
				share = 1 - share
			}
			if share > 1-groundBetween {
				on++
			} else {
				off++
			}
		}
	}
	return on > 4*off
}

// measure finds the points to a fraction of a pixel and holds them against the
// limits.
func (f foundGrid) measure(g raster.Gray) (geom.Grid, []check.Check, error) {
	unclear := func(format string, a ...any) *check.Refusal {
		r := check.Refuse(check.ScaleUnclear, fmt.Sprintf(format, a...))
		r.Remedy = "show a flat, clean, evenly lit target of at least five by five dots or squares, filling the photo, square to the camera"
		return r
	}
	if len(f.lattice) < minGridSide {
		return geom.Grid{}, nil, check.Refuse(check.NoScale, "no grid was seen: neither dots nor the corners of a checkerboard lie in even rows and columns")
	}
	f.lattice = f.lattice.upright(f.targets)
	placed := map[[2]int]geom.GridPoint{}
	seen := lattice{}
	spacing := f.spacing()
	for _, c := range f.lattice.cells() {
		t := f.targets[f.lattice[c]]
		near := spacing(c)
		reach := 0.35 * near
		if t.size > 0 {
			reach = min(1.3*t.size+3, near-t.size-1)
		}
		// The window ends before the border, but has to hold the dot.
		border := min(t.at.X, t.at.Y, float64(g.W-1)-t.at.X, float64(g.H-1)-t.at.Y)
		reach = max(min(reach, 25+t.size, border-4), 3, t.size+1)
		at, cov, ok := subpixel.FitSymmetric(g, t.at, reach)
		if !ok || r2.Norm(r2.Sub(at, t.at)) > 0.15*near {
			continue
		}
		placed[c] = geom.GridPoint{I: c[0], J: c[1], At: at, Cov: cov}
		seen[c] = f.lattice[c]
	}
	out := geom.Grid{Checker: f.checker}
	columns, rows, fullColumns, fullRows := seen.sides()
	out.Columns, out.Rows = columns, rows
	uneven := seen.unevenness(func(c [2]int) r2.Vec { return placed[c].At })
	checks := []check.Check{
		check.AtLeast("grid_sides", float64(min(fullColumns, fullRows)), minGridSide),
		check.AtMost("grid_unevenness", round(uneven, 4), maxGridUneven),
		check.AtLeast("grid_step_px", round(f.smallest(spacing), 1), leastNeighbour),
	}
	for i, refusal := range []*check.Refusal{
		unclear("only %d columns and %d rows of a grid could be read, at least %d of each are needed", fullColumns, fullRows, minGridSide),
		unclear("the points of the grid lie %.2g of their distance off even rows, at most %.2g may be", uneven, maxGridUneven),
		unclear("the points of the grid lie only %.1f px apart, at least %.0f px are needed", checks[2].Value, leastNeighbour),
	} {
		if !checks[i].OK {
			return geom.Grid{}, checks[:i+1], refusal
		}
	}
	for _, c := range seen.cells() {
		out.Points = append(out.Points, placed[c])
	}
	return out, checks, nil
}

// spacing returns how far from a place its nearest neighbour lies, or where it
// has none, any neighbours of the grid do.
func (f foundGrid) spacing() func(c [2]int) float64 {
	near := map[[2]int]float64{}
	least := math.Inf(1)
	for _, c := range f.lattice.cells() {
		d := math.Inf(1)
		for _, way := range ways {
			if i, ok := f.lattice[step(c, way)]; ok {
				d = min(d, r2.Norm(r2.Sub(f.targets[i].at, f.targets[f.lattice[c]].at)))
			}
		}
		near[c] = d
		least = min(least, d)
	}
	return func(c [2]int) float64 {
		if d := near[c]; !math.IsInf(d, 1) {
			return d
		}
		return least
	}
}

func (f foundGrid) smallest(spacing func(c [2]int) float64) float64 {
	least := math.Inf(1)
	for c := range f.lattice {
		least = min(least, spacing(c))
	}
	return least
}
