package synth

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Scaled returns the scene of a joint and a rule for a sensor with k times the
// pixels along each side. Blur, noise and what the firmware does are those of
// pixels and stay.
func (s Scene) Scaled(k float64) Scene {
	at := func(p *r2.Vec) { *p = raster.Rescaled(*p, k) }
	size := func(lengths ...*float64) {
		for _, l := range lengths {
			*l *= k
		}
	}
	finish := func(faces ...*Face) {
		for _, f := range faces {
			size(&f.Finish.Along, &f.Finish.Across)
		}
	}
	s.W, s.H = int(math.Round(k*float64(s.W))), int(math.Round(k*float64(s.H)))
	j, u, c := &s.Joint, &s.Rule, &s.Camera
	at(&j.BoreCenter)
	at(&j.PinCenter)
	size(&j.BoreR, &j.PinR, &j.BushR, &j.SeamWidth, &j.BoreWear.Depth, &j.PinWear.Depth, &j.PinChamfer.Width, &j.BoreBreak.Width)
	size(&s.Plate.R, &s.Plate.HalfHeight)
	at(&u.Origin)
	size(&u.Period, &u.LineWidth, &u.Short, &u.Mid, &u.Long, &u.DigitHeight, &u.Edge, &u.Width, &u.End)
	finish(&j.Pin, &j.Bush, &s.Plate.Face, &s.Background, &u.Body)
	u.PerspectiveAlong, u.PerspectiveAcross = u.PerspectiveAlong/k, u.PerspectiveAcross/k
	size(&c.Tilt.Distance)
	c.Lens.K1, c.Lens.K2, c.Lens.Off = c.Lens.K1/(k*k), c.Lens.K2/(k*k*k*k), r2.Scale(k, c.Lens.Off)
	c.Gradient = r2.Scale(1/k, c.Gradient)
	c.Oil, c.Glare = slices.Clone(c.Oil), slices.Clone(c.Glare)
	for i := range c.Oil {
		at(&c.Oil[i].At)
		size(&c.Oil[i].Radius)
		c.Oil[i].Shift = r2.Scale(k, c.Oil[i].Shift)
	}
	for i := range c.Glare {
		at(&c.Glare[i].At)
		size(&c.Glare[i].Radius)
	}
	return s
}
