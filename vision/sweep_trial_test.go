package vision_test

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/vision"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// Figures whose intervals are counted, in the order of trial.inside.
var figures = []string{"bore", "pin", "clearance", "offset", "wear_bore", "wear_pin", "play"}

// trial is one generated joint after its measurement.
type trial struct {
	seed    uint64
	refused string // code, empty when it was measured
	// err is measured minus true, pixels: bore radius, pin radius, clearance,
	// offset; bound is the Cramér-Rao bound of each, 0 where there is none.
	err, bound [4]float64
	// light says whether the truth lies in the interval that the light of
	// the rims alone gives: diameters, clearance, offset.
	light [4]bool
	u     [4]float64 // standard uncertainty of err from the light alone
	// inside is the same for the whole budget, by figures.
	inside [7]bool
}

// look is how a scene becomes a picture.
type look func(synth.Scene) (raster.Gray, raster.Curve, error)

// sensor shows the light itself, noisy and not rounded.
func sensor(s synth.Scene) (raster.Gray, raster.Curve, error) {
	return s.Sensor(), raster.Linear, nil
}

// photo shows the stored picture as a reader sees it.
func photo(s synth.Scene) (raster.Gray, raster.Curve, error) {
	g, err := s.Photo()
	return g, s.Camera.Curve, err
}

const sweepScale = 0.01 // mm/px, exact

// measured draws a scene, measures it and holds it against truth, which may
// be of another scene when the picture is of one that a systematic error has
// bent.
func measured(s synth.Scene, truth synth.Truth, see look, bounded bool) (trial, error) {
	tr := trial{seed: s.Seed}
	g, curve, err := see(s)
	if err != nil {
		return tr, err
	}
	e, _, err := vision.FindJoint(g, curve)
	var no *check.Refusal
	if errors.As(err, &no) {
		tr.refused = string(no.Code)
		return tr, nil
	}
	if err != nil {
		return tr, err
	}
	offset := r2.Norm(truth.Offset)
	tr.err = [4]float64{
		e.BoreFit.R - truth.BoreDiameter/2,
		e.PinFit.R - truth.PinDiameter/2,
		2*(e.BoreFit.R-e.PinFit.R) - truth.Clearance,
		r2.Norm(r2.Sub(e.PinFit.Center, e.BoreFit.Center)) - offset,
	}
	if bounded {
		b, ok := cramerRao(s)
		if !ok {
			return tr, errors.New("no Cramér-Rao bound")
		}
		tr.bound = [4]float64{b.boreR, b.pinR, b.clearance, b.offset}
	}
	dfBore, dfPin := float64(e.BoreFit.Inliers-3), float64(e.PinFit.Inliers-3)
	tr.u = lightU(e)
	for i, df := range [4]float64{dfBore, dfPin, dfBore + dfPin, dfBore + dfPin} {
		tr.light[i] = math.Abs(tr.err[i]) <= uncert.CoverageFactor(0.95, df)*tr.u[i]
	}
	scale := calib.Scale{
		MMPerPx: uncert.Combine(sweepScale, "mm/px", nil),
		Origin:  r2.Vec{X: float64(g.W-1) / 2, Y: float64(g.H-1) / 2},
		Source:  "file", W: g.W, H: g.H,
	}
	r, err := measure.Joint(e, scale, measure.Options{})
	if errors.As(err, &no) {
		return trial{seed: s.Seed, refused: string(no.Code)}, nil
	}
	if err != nil {
		return tr, err
	}
	want := []float64{truth.BoreDiameter, truth.PinDiameter, truth.Clearance, offset, truth.BoreWear, truth.PinWear, truth.Play}
	for i, q := range []uncert.Quantity{r.BoreDiameter, r.PinDiameter, r.Clearance, r.Offset, r.WearDepthBore, r.WearDepthPin, r.Play} {
		w := want[i] * sweepScale
		tr.inside[i] = q.Lower <= w && w <= q.Upper
	}
	return tr, nil
}

// lightU returns the standard uncertainties that the light of the rims alone
// gives: radii, clearance, offset.
func lightU(e geom.JointEdges) [4]float64 {
	c := e.Cov
	d := r2.Sub(e.PinFit.Center, e.BoreFit.Center)
	u := r2.Vec{X: 1}
	if r2.Norm(d) > 0 {
		u = r2.Unit(d)
	}
	w := [6]float64{-u.X, -u.Y, 0, u.X, u.Y, 0}
	along := 0.0
	for i := range w {
		for k := range w {
			along += w[i] * w[k] * c[i][k]
		}
	}
	return [4]float64{
		math.Sqrt(c[2][2]),
		math.Sqrt(c[5][5]),
		2 * math.Sqrt(max(0, c[2][2]+c[5][5]-2*c[2][5])),
		math.Sqrt(max(0, along)),
	}
}
