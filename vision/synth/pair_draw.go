package synth

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// DrawPair returns two photos of 800 x 600 px with a play of that many pixels,
// all else about them by chance: the chain at up to 30 degrees, the pull
// nearly along it, the camera moved by up to 40 px and turned by up to half a
// degree, texture from weak to strong, blur, noise, up to two spots of glare
// that stay with the lamp, and JPEG. One in three links swings by up to a
// degree. A joint whose links lie in one plane has no Parallax.
func DrawPair(r *rand.Rand, play float64) Pair {
	p := Pair{
		W: 800, H: 600,
		Joint:    r2.Vec{X: between(r, 300, 360), Y: between(r, 220, 260)},
		PinR:     between(r, 60, 90),
		AngleRad: between(r, -0.5, 0.5),
		Texture:  math.Exp(between(r, math.Log(0.04), math.Log(0.2))),
		TurnRad:  between(r, -0.009, 0.009),
		Zoom:     between(r, -1e-3, 1e-3),
		Rule:     between(r, 14, 40),
		Camera: Camera{
			Blur:        between(r, 0.5, 2),
			Noise:       Noise{Read: between(r, 0.001, 0.006), FullWell: between(r, 1500, 9000)},
			Vignette:    between(r, 0, 0.2),
			Curve:       raster.SRGB,
			JPEGQuality: 80 + r.IntN(19),
		},
		Seed: r.Uint64() >> 20,
	}
	p.PlateR = between(r, 1.7, 2) * p.PinR
	p.Pitch = between(r, 2.6, 3) * p.PlateR
	p.Pull = r2.Scale(play, direction(p.AngleRad+between(r, -0.1, 0.1)))
	p.Shift = r2.Scale(40*math.Pow(r.Float64(), 2), direction(angle(r)))
	if r.IntN(3) == 0 {
		p.SwingRad = between(r, -0.017, 0.017)
	}
	for range r.IntN(3) {
		p.Camera.Glare = append(p.Camera.Glare, Glare{
			At:     r2.Vec{X: between(r, 0, 800), Y: between(r, 0, 500)},
			Radius: between(r, 10, 50), Level: between(r, 0.3, 1.5),
		})
	}
	return p
}
