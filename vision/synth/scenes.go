package synth

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Ring returns a plain joint in the middle of a square picture 2.6 bore radii
// wide: pin to the side of pullRad with a least gap of minGap, ground faces of
// mid brightness, sRGB, blur 0.8 px and the noise of a small camera.
func Ring(boreR, clearance, minGap, pullRad float64) Scene {
	size := int(math.Ceil(2.6 * boreR))
	mid := r2.Vec{X: float64(size-1) / 2, Y: float64(size-1) / 2}
	s := Scene{
		W: size, H: size,
		Joint: Joint{
			BoreCenter: mid,
			BoreR:      boreR,
			PinR:       boreR - clearance/2,
			PullRad:    pullRad,
			Pin:        Face{Level: 0.55},
			Bush:       Face{Level: 0.45},
			Dark:       0.01,
		},
		Camera: Camera{
			Blur:  0.8,
			Noise: Noise{Read: 0.002, FullWell: 6000},
			Curve: raster.SRGB,
		},
	}
	s.Joint.Pull(minGap)
	return s
}

// Pull moves the pin from the centre of its bore in the direction of pull
// until the gap ahead of it is minGap, taking up the wear that lies on that
// line. Two flanks worn at the same place do not fit each other here; where
// one would cut into the other, Truth.MinGap comes out negative.
func (j *Joint) Pull(minGap float64) {
	way := j.BoreRim(j.PullRad) - j.PinRim(j.PullRad) - minGap
	j.PinCenter = r2.Add(j.BoreCenter, r2.Scale(way, direction(j.PullRad)))
}

// Families returns the names of the families of scenes that Draw knows.
func Families() []string {
	names := make([]string, 0, len(families))
	for name := range families {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// Draw returns a scene of a family, all else about it by chance. It panics on
// a name that Families does not list.
//
// Every family but "photo" and "rule" is a joint cropped to 2.6 bore radii
// with one thing varied over the range that its function states; "rule" is a
// rule and a joint without defects; "photo" is a whole microscope photo in
// which everything varies moderately.
func Draw(r *rand.Rand, family string) Scene {
	draw, ok := families[family]
	if !ok {
		panic("synth: unknown family " + family)
	}
	return draw(r)
}

var families = map[string]func(*rand.Rand) Scene{
	"blur": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.Blur = between(r, 0.5, 3)
		return s
	},
	"bore wear": func(r *rand.Rand) Scene {
		s := joint(r)
		wear(r, &s.Joint, &s.Joint.BoreWear, 0)
		return s
	},
	"chamfer": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Joint.PinChamfer = Chamfer{Width: between(r, 2, 0.06*s.Joint.PinR), Level: s.Joint.Pin.Level * between(r, 0.35, 1.4)}
		return s
	},
	"clean": joint,
	"clearance": func(r *rand.Rand) Scene {
		clearance := math.Exp(between(r, math.Log(2), math.Log(40)))
		return jointOf(r, between(r, 120, 300), clearance)
	},
	"contrast": func(r *rand.Rand) Scene { // dark oily steel
		s := joint(r)
		s.Joint.Dark = between(r, 0.01, 0.03)
		s.Joint.Pin.Level = s.Joint.Dark + between(r, 0.04, 0.15)
		s.Joint.Bush.Level = s.Joint.Dark + between(r, 0.04, 0.15)
		return s
	},
	"defocus": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.Defocus = between(r, 1, 6)
		return s
	},
	"coated pin": func(r *rand.Rand) Scene {
		s := worn(r)
		s.Joint.Pin.Level = between(r, 0.08, 0.3)
		s.Joint.Bush.Level = between(r, 0.45, 0.65)
		return s
	},
	"edge break": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Joint.BoreBreak = Chamfer{Width: between(r, 2, 0.04*s.Joint.BoreR), Level: s.Joint.Bush.Level * between(r, 0.35, 1.4)}
		return s
	},
	"finish": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Joint.Pin.Finish = finish(r, between(r, 0.03, 0.12))
		s.Joint.Bush.Finish = finish(r, between(r, 0.03, 0.12))
		return s
	},
	"glare": func(r *rand.Rand) Scene {
		s := joint(r)
		for range 1 + r.IntN(4) {
			s.Camera.Glare = append(s.Camera.Glare, Glare{
				At:     onRim(r, s.Joint),
				Radius: between(r, 0.03, 0.15) * s.Joint.BoreR,
				Level:  between(r, 0.3, 3),
			})
		}
		return s
	},
	"gradient": func(r *rand.Rand) Scene {
		s := joint(r)
		// From one side of the picture to the other the light changes by up to 80 %.
		s.Camera.Gradient = r2.Scale(between(r, 0.1, 0.8)/float64(s.W), direction(angle(r)))
		s.Camera.Vignette = between(r, 0, 0.3)
		return s
	},
	"in the pocket": worn,
	"jpeg": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.JPEGQuality = 50 + r.IntN(49)
		return s
	},
	"noise": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.Noise = Noise{Read: between(r, 0.001, 0.02), FullWell: between(r, 300, 6000)}
		return s
	},
	"oil": func(r *rand.Rand) Scene {
		s := joint(r)
		for range 1 + r.IntN(6) {
			s.Camera.Oil = append(s.Camera.Oil, oil(r, onRim(r, s.Joint), s.Joint.BoreR))
		}
		return s
	},
	"oil on the flank": func(r *rand.Rand) Scene {
		s := worn(r)
		j := s.Joint
		for range 1 + r.IntN(4) {
			// Over the worn flank, or over the gap where it begins.
			at := r2.Add(j.BoreCenter, r2.Scale(j.BoreR*between(r, 0.95, 1.05), direction(j.PullRad+between(r, -2, 2))))
			s.Camera.Oil = append(s.Camera.Oil, oil(r, at, j.BoreR))
		}
		return s
	},
	"photo": photo,
	"pin wear": func(r *rand.Rand) Scene {
		s := joint(r)
		// Wear of a pin is seen best where the gap is open, away from the pull.
		wear(r, &s.Joint, &s.Joint.PinWear, float64(r.IntN(2))*math.Pi)
		return s
	},
	"radius": func(r *rand.Rand) Scene {
		return jointOf(r, math.Exp(between(r, math.Log(60), math.Log(500))), between(r, 6, 24))
	},
	"rule": func(r *rand.Rand) Scene {
		s := framed(r)
		s.Rule = rule(r, s, angle(r))
		s.Camera.Noise.FullWell = between(r, 1000, 6000)
		return s
	},
	"small edge break": func(r *rand.Rand) Scene {
		s := jointOf(r, between(r, 120, 300), between(r, 6, 16))
		s.Joint.Pin.Finish = finish(r, between(r, 0.03, 0.1))
		s.Joint.Bush.Finish = finish(r, between(r, 0.03, 0.1))
		s.Joint.BoreBreak = Chamfer{Width: between(r, 1, 5), Level: s.Joint.Bush.Level * between(r, 0.3, 0.85)}
		return s
	},
	"tilt": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.Tilt = tilt(r, s.W)
		return s
	},
	"tone": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Camera.Contrast = between(r, 0, 0.4)
		s.Camera.Sharpen = between(r, 0, 0.5)
		return s
	},
	"touching": func(r *rand.Rand) Scene {
		s := joint(r)
		s.Joint.Pull(between(r, 0.3, 1))
		return s
	},
}

// joint draws a cropped joint without defects: bore radius 120 to 300 px,
// clearance 6 to 24 px.
func joint(r *rand.Rand) Scene {
	return jointOf(r, between(r, 120, 300), between(r, 6, 24))
}

func jointOf(r *rand.Rand, boreR, clearance float64) Scene {
	minGap := between(r, 0.03, 0.5) * clearance / 2
	s := Ring(boreR, clearance, minGap, angle(r))
	shift := r2.Vec{X: between(r, -0.5, 0.5), Y: between(r, -0.5, 0.5)}
	s.Joint.BoreCenter = r2.Add(s.Joint.BoreCenter, shift)
	s.Joint.PinCenter = r2.Add(s.Joint.PinCenter, shift)
	s.Joint.Pin.Level = between(r, 0.4, 0.7)
	s.Joint.Bush.Level = between(r, 0.35, 0.65)
	s.Joint.Dark = between(r, 0.001, 0.03)
	s.Camera.Blur = between(r, 0.6, 1.5)
	s.Seed = r.Uint64()
	return s
}

// wear wears one flank, in the direction turn from the pull, by up to the
// clearance. Then it leaves the pin anywhere along the line of pull or, as
// often, pulls it tight, a little short of touching.
func wear(r *rand.Rand, j *Joint, w *Wear, turn float64) {
	clearance := 2 * (j.BoreR - j.PinR)
	*w = Wear{Depth: between(r, 0.1, 1) * clearance, DirectionRad: j.PullRad + turn}
	if r.IntN(2) == 0 {
		j.Pull(between(r, 0.3, 1))
		return
	}
	j.Pull(between(r, 0.1, 0.9) * (clearance + w.Depth))
}

// worn draws a joint with ground faces, one flank worn by up to 17 px, bore or
// pin, and the pin lying against it: touching, or short of it by up to 1.5 px.
// The deeper the wear, the farther round nothing is open but a crescent.
func worn(r *rand.Rand) Scene {
	s := jointOf(r, between(r, 150, 300), between(r, 5, 12))
	j := &s.Joint
	j.Pin.Finish = finish(r, between(r, 0.03, 0.12))
	j.Bush.Finish = finish(r, between(r, 0.03, 0.12))
	w := Wear{Depth: between(r, 3, 17), DirectionRad: j.PullRad}
	if r.IntN(2) == 0 {
		j.BoreWear = w
	} else {
		j.PinWear = w
	}
	j.Pull(between(r, 0, 1.5))
	return s
}

// photo draws a whole photo: joint, plate, rule and an ordinary camera.
func photo(r *rand.Rand) Scene {
	s := framed(r)
	j := &s.Joint
	if r.IntN(2) == 0 {
		wear(r, j, &j.BoreWear, 0)
	}
	j.Pin.Finish = finish(r, between(r, 0, 0.1))
	j.Bush.Finish = finish(r, between(r, 0, 0.1))
	s.Plate.Face.Finish = finish(r, between(r, 0.05, 0.15))
	s.Background.Finish = Finish{Amplitude: 0.05, Along: 60, Across: 60}
	// Marks run straight along or down, or at any slant.
	at := float64(r.IntN(2)) * math.Pi / 2
	if r.IntN(2) == 0 {
		at = angle(r)
	}
	s.Rule = rule(r, s, at)
	s.Rule.Body.Finish = Finish{Amplitude: between(r, 0, 0.06), AngleRad: at, Along: 200, Across: 2}
	for range r.IntN(3) {
		s.Camera.Oil = append(s.Camera.Oil, oil(r, onRim(r, *j), j.BoreR))
	}
	s.Camera.Vignette = between(r, 0, 0.25)
	s.Camera.Gradient = r2.Scale(between(r, 0, 0.2)/float64(s.W), direction(angle(r)))
	s.Camera.Noise = Noise{Read: 0.001, FullWell: between(r, 2500, 6000)}
	s.Camera.Sharpen = between(r, 0, 0.35)
	s.Camera.JPEGQuality = 80 + r.IntN(18)
	return s
}

// framed draws a joint in its plate on a frame of 1600 x 1200.
func framed(r *rand.Rand) Scene {
	s := jointOf(r, between(r, 200, 300), between(r, 6, 24))
	s.W, s.H = 1600, 1200
	j := &s.Joint
	to := r2.Sub(r2.Vec{X: between(r, 700, 900), Y: between(r, 480, 600)}, j.BoreCenter)
	j.BoreCenter, j.PinCenter = r2.Add(j.BoreCenter, to), r2.Add(j.PinCenter, to)
	j.BushR = between(r, 1.37, 1.46) * j.BoreR
	j.SeamWidth = between(r, 1, 2.5)
	s.Plate = Plate{
		R:          between(r, 1.25, 1.4) * j.BushR,
		HalfHeight: between(r, 1.03, 1.2) * j.BushR,
		ToRad:      angle(r),
		Face:       Face{Level: between(r, 0.15, 0.35)},
	}
	s.Background = Face{Level: between(r, 0.04, 0.1)}
	return s
}

// rule draws a rule at the angle at whose body lies clear of the bush.
func rule(r *rand.Rand, s Scene, at float64) Rule {
	period := between(r, 11, 36)
	u := Rule{
		AngleRad:    at,
		Period:      period,
		LineWidth:   between(r, 0.18, 0.25) * period,
		Short:       between(r, 50, 80),
		MidEvery:    5,
		LongEvery:   10,
		First:       10 * r.IntN(10),
		DigitHeight: float64(r.IntN(2)) * between(r, 35, 60),
		Edge:        between(r, 4, 12),
		Body:        Face{Level: between(r, 0.45, 0.7)},
		Ink:         between(r, 0.02, 0.06),
	}
	u.Mid, u.Long = 1.5*u.Short, 2*u.Short
	u.End = 1.5*u.DigitHeight + 20
	u.Width = u.Long + 2*u.DigitHeight + 20
	// The base line passes the bush below, as the rule sees it.
	across := direction(at + math.Pi/2)
	near := s.Joint.BushR + u.Edge + between(r, 5, 30)
	foot := r2.Add(s.Joint.BoreCenter, r2.Scale(near, across))
	if outside(r2.Add(foot, r2.Scale(u.Short, across)), s) {
		u.AngleRad += math.Pi
		across = r2.Scale(-1, across)
		foot = r2.Add(s.Joint.BoreCenter, r2.Scale(near, across))
	}
	along := direction(u.AngleRad)
	// The rule ends inside the picture or runs out of it on both sides.
	lo, hi := inFrame(foot, along, s)
	u.Marks = max(20, int(between(r, 0.7, 1.2)*(hi-lo)/period))
	middle := r2.Add(foot, r2.Scale((lo+hi)/2, along))
	u.Origin = r2.Sub(middle, r2.Scale(float64(u.Marks-1)*period/2, along))
	return u
}

// inFrame returns the ways along the line through p at which it enters and
// leaves the picture.
func inFrame(p, along r2.Vec, s Scene) (lo, hi float64) {
	lo, hi = math.Inf(-1), math.Inf(1)
	cut := func(at, slope, size float64) {
		if math.Abs(slope) < 1e-9 {
			return
		}
		a, b := -at/slope, (size-1-at)/slope
		lo, hi = math.Max(lo, math.Min(a, b)), math.Min(hi, math.Max(a, b))
	}
	cut(p.X, along.X, float64(s.W))
	cut(p.Y, along.Y, float64(s.H))
	return lo, math.Max(lo, hi)
}

func outside(p r2.Vec, s Scene) bool {
	return p.X < 0 || p.Y < 0 || p.X > float64(s.W) || p.Y > float64(s.H)
}

// tilt draws a tilt of up to 1.5 degrees under a lens 8 to 15 picture widths
// away.
func tilt(r *rand.Rand, width int) Tilt {
	return Tilt{
		AngleRad:   between(r, 0.2, 1.5) * math.Pi / 180,
		TowardsRad: angle(r),
		Distance:   between(r, 8, 15) * float64(width),
	}
}

// finish draws a brushed or a mottled face.
func finish(r *rand.Rand, amplitude float64) Finish {
	f := Finish{Amplitude: amplitude, AngleRad: angle(r), Along: between(r, 60, 200), Across: between(r, 1.5, 3)}
	if r.IntN(2) == 0 {
		f.Along, f.Across = 3, 2
	}
	return f
}

// oil draws a drop of 4 to 20 % of size at a place.
func oil(r *rand.Rand, at r2.Vec, size float64) Oil {
	return Oil{
		At:           at,
		Radius:       between(r, 0.04, 0.2) * size,
		Shift:        r2.Scale(between(r, 0, 2), direction(angle(r))),
		Transmission: between(r, 0.5, 0.8),
		Haze:         between(r, 0.01, 0.06),
		Glints:       r.IntN(8),
	}
}

// onRim draws a place near the gap.
func onRim(r *rand.Rand, j Joint) r2.Vec {
	return r2.Add(j.BoreCenter, r2.Scale(j.BoreR*between(r, 0.9, 1.1), direction(angle(r))))
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func angle(r *rand.Rand) float64 { return 2 * math.Pi * r.Float64() }
