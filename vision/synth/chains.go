package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Pulled returns a photo of a chain pulled tight, 1600 x 896: pitches of about
// pitch pixels along a line through the middle of the picture at angleRad, of
// which those bridged by inner links are longer by the share growth, with links
// at the ends turned by sagRad against the middle of the chain. Chance moves
// each pitch by 0.05 % and draws finish, light and noise.
func Pulled(r *rand.Rand, pitches int, pitch, angleRad, growth, sagRad float64, firstInner bool) Scene {
	s := Scene{W: 1600, H: 896, Seed: r.Uint64(), Background: Face{Level: 0.012, Finish: Finish{Amplitude: 0.1, Along: 9, Across: 9}}}
	c := Chain{
		FirstInner: firstInner, HeadR: between(r, 0.19, 0.22) * pitch, PlateR: 0.4 * pitch, Waist: 0.28 * pitch,
		Outer:     Face{Level: between(r, 0.25, 0.4), Finish: finish(r, between(r, 0.02, 0.05))},
		LineLevel: between(r, 0.3, 0.5),
	}
	c.Inner = Face{Level: between(r, 0.6, 0.9) * c.Outer.Level, Finish: finish(r, 0.04)}
	c.LineWidth = 0.05 * c.HeadR
	c.ShadowWidth = max(0.012*pitch, 1.2)
	c.Dome = Dome{
		Level: between(r, 0.6, 0.9) * c.Outer.Level, Highlight: between(r, 0.6, 1.5), Ring: between(r, 0.2, 0.4), Width: between(r, 0.15, 0.25),
		Shift: between(r, 0.3, 0.9), Towards: s.center(), Grain: 0.1,
	}
	at := r2.Vec{}
	for i := range pitches + 1 {
		c.Pins = append(c.Pins, at)
		p := pitch * (1 + 0.0005*r.NormFloat64())
		if (i%2 == 0) == firstInner {
			p *= 1 + growth
		}
		turn := angleRad + sagRad*(2*(float64(i)+0.5)/float64(pitches)-1)
		at = r2.Add(at, r2.Scale(p, direction(turn)))
	}
	n := len(c.Pins)
	to := r2.Sub(s.center(), r2.Scale(0.5, r2.Add(c.Pins[0], c.Pins[n-1])))
	to = r2.Add(to, r2.Vec{X: between(r, -3, 3), Y: between(r, -3, 3)})
	for i := range c.Pins {
		c.Pins[i] = r2.Add(c.Pins[i], to)
	}
	s.Chain = c
	s.Camera = Camera{
		Blur: between(r, 0.5, 1), Vignette: between(r, 0, 0.25), Curve: raster.SRGB,
		Noise: Noise{Read: 0.001, FullWell: between(r, 2500, 6000)}, Sharpen: between(r, 0, 0.35), JPEGQuality: 85 + r.IntN(13),
	}
	s.Camera.Gradient = r2.Scale(between(r, 0, 0.15)/math.Hypot(float64(s.W), float64(s.H)), direction(angle(r)))
	return s
}

// OverRule returns a photo of Pulled's chain with a rule along the lower border.
func OverRule(r *rand.Rand, s Scene) Scene {
	period := between(r, 11, 30)
	s.Rule = Rule{
		Origin: r2.Vec{X: between(r, 20, 60), Y: between(r, 770, 790)}, AngleRad: between(r, -0.01, 0.01), Period: period,
		Marks: int(1500 / period), LineWidth: between(r, 0.18, 0.25) * period, Short: 40, Mid: 55, Long: 70, MidEvery: 5, LongEvery: 10,
		Edge: 6, Width: 100, End: 40, Body: Face{Level: between(r, 0.4, 0.65)}, Ink: between(r, 0.02, 0.06),
	}
	return s
}

// Opened returns a photo of Pulled's chain with the pins of the joints from
// and on driven out, or with rollers also all near plates off there: their
// bushes are open. Growth then is that of the links between bushes.
func Opened(r *rand.Rand, s Scene, from int, rollers bool) Scene {
	c := &s.Chain
	pitch := c.Pitches()[0]
	for i := from; i < len(c.Pins); i++ {
		c.Open = append(c.Open, i)
	}
	c.Bush = Bush{
		HoleR: between(r, 0.15, 0.2) * pitch, Dark: between(r, 0.02, 0.12) * c.Inner.Level,
		Ring: Face{Level: between(r, 0.9, 1.4) * c.Inner.Level, Finish: finish(r, 0.03)}, SeamWidth: max(0.006*pitch, 0.7),
	}
	c.Bush.RingR = between(r, 1.3, 1.5) * c.Bush.HoleR
	if rollers {
		c.Bush.RollerR = between(r, 0.31, 0.35) * pitch
		c.Bush.Roller = Face{Level: between(r, 0.7, 1.2) * c.Inner.Level, Finish: finish(r, 0.04)}
	}
	return s
}
