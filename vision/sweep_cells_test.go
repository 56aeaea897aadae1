package vision_test

import (
	"math"
	"math/rand/v2"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/synth"
)

// cell is one kind of scene in the sweep: a family and the value of what is
// varied in it.
type cell struct {
	family, value string
	draw          func(*rand.Rand) synth.Scene
	see           look
	// bounded says that the Cramér-Rao bound knows all that is in the scenes.
	bounded bool
	// short says that the cell is part of the short sweep.
	short bool
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func direction(t float64) r2.Vec { return r2.Vec{X: math.Cos(t), Y: math.Sin(t)} }

// pose is a joint without defects, of random place, direction of pull and
// light.
func pose(r *rand.Rand, boreR, clearance float64) synth.Scene {
	s := synth.Ring(boreR, clearance, between(r, 0.05, 0.5)*clearance/2, 2*math.Pi*r.Float64())
	shift := r2.Vec{X: between(r, -0.5, 0.5), Y: between(r, -0.5, 0.5)}
	s.Joint.BoreCenter = r2.Add(s.Joint.BoreCenter, shift)
	s.Joint.PinCenter = r2.Add(s.Joint.PinCenter, shift)
	s.Joint.Pin.Level = between(r, 0.4, 0.7)
	s.Joint.Bush.Level = between(r, 0.35, 0.65)
	s.Joint.Dark = between(r, 0.01, 0.03)
	s.Seed = r.Uint64()
	return s
}

// usual is a pose of medium size.
func usual(r *rand.Rand) synth.Scene { return pose(r, between(r, 120, 180), between(r, 8, 20)) }

// mottled is a face with a grain of a few pixels.
func mottled(amplitude float64) synth.Finish {
	return synth.Finish{Amplitude: amplitude, Along: 3, Across: 2}
}

// cells lists the whole sweep.
func cells() []cell {
	var list []cell
	vary := func(family string, see look, bounded bool, short int, values []float64, draw func(*rand.Rand, float64) synth.Scene) {
		for i, v := range values {
			list = append(list, cell{
				family, strconv.FormatFloat(v, 'g', 4, 64),
				func(r *rand.Rand) synth.Scene { return draw(r, v) }, see, bounded, i == short,
			})
		}
	}
	const none = -1

	// Scenes of which the bound knows everything, as the sensor sees them.
	vary("blur_px", sensor, true, 2, []float64{0.5, 0.8, 1.2, 2, 3}, func(r *rand.Rand, v float64) synth.Scene {
		s := pose(r, between(r, 120, 180), between(r, 8, 20)+6*max(0, v-0.8))
		s.Camera.Blur = v
		return s
	})
	// The dark level stays clear of the noise, which the sensor would clip.
	vary("noise", sensor, true, 3, []float64{0.002, 0.005, 0.01, 0.02, 0.04}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Noise = synth.Noise{Read: v}
		s.Joint.Dark = 4 * v
		return s
	})
	vary("full_well", sensor, true, none, []float64{300, 1000, 6000}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Noise.FullWell = v
		return s
	})
	vary("clearance_px", sensor, true, 2, []float64{2, 3, 4, 6, 8, 12, 20, 40}, func(r *rand.Rand, v float64) synth.Scene {
		return pose(r, between(r, 120, 180), v)
	})
	vary("radius_px", sensor, true, 0, []float64{60, 120, 240, 400, 500}, func(r *rand.Rand, v float64) synth.Scene {
		return pose(r, v, between(r, 8, 20))
	})

	// Scenes with more in them than the bound knows, as a reader of the
	// photo sees them.
	vary("black_clipped", sensor, false, none, []float64{0.01, 0.02, 0.04}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Noise = synth.Noise{Read: v}
		return s
	})
	vary("eight_bits", photo, false, none, []float64{255}, func(r *rand.Rand, _ float64) synth.Scene { return usual(r) })
	vary("defocus_px", photo, false, none, []float64{1, 2, 4}, func(r *rand.Rand, v float64) synth.Scene {
		s := pose(r, between(r, 120, 180), between(r, 8, 20)+4*v)
		s.Camera.Defocus = v
		return s
	})
	vary("texture", photo, false, none, []float64{0.03, 0.06, 0.12}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Joint.Pin.Finish, s.Joint.Bush.Finish = mottled(v), mottled(v)
		return s
	})
	vary("light_gradient", photo, false, none, []float64{0.2, 0.5, 0.8}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Gradient = r2.Scale(v/float64(s.W), direction(2*math.Pi*r.Float64()))
		return s
	})
	vary("glare_spots", photo, false, none, []float64{1, 3}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		for range int(v) {
			at := r2.Add(s.Joint.BoreCenter, r2.Scale(s.Joint.BoreR*between(r, 0.9, 1.1), direction(2*math.Pi*r.Float64())))
			s.Camera.Glare = append(s.Camera.Glare, synth.Glare{At: at, Radius: between(r, 0.03, 0.15) * s.Joint.BoreR, Level: between(r, 0.3, 3)})
		}
		return s
	})
	vary("jpeg_quality", photo, false, none, []float64{50, 65, 80, 92}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.JPEGQuality = int(v)
		return s
	})
	vary("tone_contrast", photo, false, none, []float64{0.1, 0.2, 0.4}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Contrast = v
		return s
	})
	vary("sharpening", photo, false, none, []float64{0.15, 0.3, 0.5}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		s.Camera.Sharpen = v
		return s
	})
	vary("bore_wear_of_clearance", photo, false, none, []float64{0.25, 0.5, 1}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		worn(r, &s.Joint, &s.Joint.BoreWear, v)
		return s
	})
	vary("pin_wear_of_clearance", photo, false, none, []float64{0.25, 0.5, 1}, func(r *rand.Rand, v float64) synth.Scene {
		s := usual(r)
		worn(r, &s.Joint, &s.Joint.PinWear, v)
		return s
	})
	for _, family := range []string{"contrast", "oil", "touching", "chamfer", "edge break", "small edge break", "in the pocket", "coated pin", "oil on the flank"} {
		list = append(list, cell{family, "drawn", func(r *rand.Rand) synth.Scene { return synth.Draw(r, family) }, photo, false, false})
	}
	list = append(list, cell{"budget", "mixture", mixture, photo, false, true})
	return list
}

// worn wears a flank on the line of pull by a share of the clearance and
// leaves the pin somewhere along that line.
func worn(r *rand.Rand, j *synth.Joint, w *synth.Wear, share float64) {
	clearance := 2 * (j.BoreR - j.PinR)
	*w = synth.Wear{Depth: share * clearance, DirectionRad: j.PullRad + math.Pi*float64(r.IntN(2))}
	j.Pull(between(r, 0.1, 0.9) * (clearance + w.Depth))
}

// mixture draws a photo in which whatever the uncertainty budget allows for
// is there by chance, in about the size it allows: grain, blur of two shapes,
// uneven light, a tone curve that is not quite the assumed one, the camera's
// sharpening, JPEG, and, by heightError, a pin end not level with the bush.
// A third of the joints is worn.
func mixture(r *rand.Rand) synth.Scene {
	s := usual(r)
	s.Camera.Blur = between(r, 0.6, 1.4)
	if r.IntN(2) == 0 {
		s.Camera.Defocus = between(r, 0.5, 2)
	}
	s.Joint.Pin.Finish, s.Joint.Bush.Finish = mottled(between(r, 0, 0.08)), mottled(between(r, 0, 0.08))
	s.Camera.Gradient = r2.Scale(between(r, 0, 0.3)/float64(s.W), direction(2*math.Pi*r.Float64()))
	s.Camera.Vignette = between(r, 0, 0.2)
	s.Camera.Contrast = between(r, 0, 0.3)
	if r.IntN(2) == 0 {
		s.Camera.Sharpen = between(r, 0, 0.35)
	}
	if r.IntN(2) == 0 {
		s.Camera.JPEGQuality = 75 + r.IntN(24)
	}
	switch r.IntN(6) {
	case 0:
		worn(r, &s.Joint, &s.Joint.BoreWear, between(r, 0.2, 1))
	case 1:
		worn(r, &s.Joint, &s.Joint.PinWear, between(r, 0.2, 1))
	}
	return s
}

// heightError returns the scene as it looks with the pin's end off the plane
// of the bush by a height of standard deviation 0.02 mm under a lens 100 mm
// away, as the budget has it: the pin is magnified about the middle of the
// picture.
func heightError(r *rand.Rand, s synth.Scene) synth.Scene {
	m := 1 + 0.02/100*r.NormFloat64()
	middle := r2.Vec{X: float64(s.W-1) / 2, Y: float64(s.H-1) / 2}
	s.Joint.PinCenter = r2.Add(middle, r2.Scale(m, r2.Sub(s.Joint.PinCenter, middle)))
	s.Joint.PinR *= m
	s.Joint.PinWear.Depth *= m
	return s
}
