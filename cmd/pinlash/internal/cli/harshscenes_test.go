package cli

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// shot is what is to be photographed and how: a scene for joint and span, a
// pair and two photos for play.
type shot struct {
	kind    string
	r       *rand.Rand
	scene   synth.Scene
	pair    synth.Pair
	photos  []synth.Snapshot
	quality int
	zoom    float64 // by which the photo will be enlarged
}

// effect is something that goes wrong, at several levels; the first mild of
// them are such as a careful user's photos have.
type effect struct {
	name   string
	kinds  string // first letters of the commands it is tried on
	mild   int
	levels []float64
	unit   string
	do     func(s *shot, level float64)
}

// effects are all that is tried. A level is what the unit says; "level" is a
// plain number, larger being worse.
var effects = []effect{
	{"none", "jsp", 1, []float64{0}, "level", func(*shot, float64) {}},
	{"worn pin", "j", 2, []float64{0.3, 0.8}, "of the clearance", func(s *shot, level float64) {
		j := &s.scene.Joint
		j.BoreWear = synth.Wear{}
		j.PinWear = synth.Wear{Depth: level * 2 * (j.BoreR - j.PinR), DirectionRad: j.PullRad}
		j.Pull(1)
	}},
	{"worn bore", "j", 3, []float64{0.3, 0.8, 1.5}, "of the clearance", func(s *shot, level float64) {
		j := &s.scene.Joint
		j.BoreWear = synth.Wear{Depth: level * 2 * (j.BoreR - j.PinR), DirectionRad: j.PullRad}
		j.Pull(1)
	}},
	{"chamfer", "j", 0, []float64{0.02, 0.05}, "of the radius", func(s *shot, level float64) {
		j := &s.scene.Joint
		j.PinChamfer = synth.Chamfer{Width: level * j.PinR, Level: j.Pin.Level * between(s.r, 0.4, 1.3)}
		j.BoreBreak = synth.Chamfer{Width: 0.6 * level * j.BoreR, Level: j.Bush.Level * between(s.r, 0.4, 1.3)}
	}},
	{"motion blur", "jsp", 1, []float64{1, 2, 4, 8, 14, 20}, "px", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Path = synth.Stroke(level, turn(s.r))
		}
	}},
	{"shaken", "jsp", 0, []float64{2, 5, 10}, "px", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Path = synth.Shake(s.r, level)
		}
	}},
	{"rolling shutter shear", "jsp", 0, []float64{1, 3, 6}, "px", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Shutter = synth.Shutter{Drift: toward(level, turn(s.r))}
		}
	}},
	{"rolling shutter wobble", "jsp", 0, []float64{0.5, 1, 2}, "px", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Shutter = synth.Shutter{Sway: toward(level, turn(s.r)), Waves: between(s.r, 1, 4), Phase: turn(s.r)}
		}
	}},
	{"vignette", "js", 1, []float64{0.3, 0.7}, "of the light", func(s *shot, level float64) { s.camera().Vignette = level }},
	{"uneven light", "js", 1, []float64{0.4, 0.9}, "of the light", func(s *shot, level float64) {
		s.camera().Gradient = toward(level/float64(s.scene.W), turn(s.r))
	}},
	{"lens distortion", "jsp", 2, []float64{-0.5, 0.5, -1.5, 1.5, -3, 3}, "% at the corner", func(s *shot, level float64) {
		w, h := s.size()
		for i := range s.photos {
			s.photos[i].Lens = synth.Bend(w, h, level/100)
		}
	}},
	{"sharpened", "jsp", 1, []float64{0.5, 1.5, 3}, "times", func(s *shot, level float64) {
		s.camera().Sharpen = 0
		radius := between(s.r, 0.8, 2)
		for i := range s.photos {
			s.photos[i].Sharpen, s.photos[i].Radius = level, radius
		}
	}},
	{"denoised by median", "jsp", 1, []float64{1, 2}, "px each way", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Denoise = func(g raster.Gray) raster.Gray { return synth.Median(g, int(level)) }
		}
	}},
	{"denoised by likeness", "jsp", 1, []float64{1, 2.5}, "px", func(s *shot, level float64) {
		for i := range s.photos {
			s.photos[i].Denoise = func(g raster.Gray) raster.Gray { return synth.Bilateral(g, level, 0.05*level) }
		}
	}},
	{"denoised, then sharpened", "jsp", 0, []float64{1, 2}, "level", func(s *shot, level float64) {
		s.camera().Sharpen = 0
		for i := range s.photos {
			p := &s.photos[i]
			p.Denoise = func(g raster.Gray) raster.Gray { return synth.Bilateral(g, level, 0.08*level) }
			p.Sharpen, p.Radius = level, between(s.r, 1, 2)
		}
	}},
	{"zoomed, nearest", "jsp", 0, []float64{1.5, 2}, "times", zoomed(synth.Nearest)},
	{"zoomed, bicubic", "jsp", 0, []float64{1.5, 2, 3}, "times", zoomed(synth.Bicubic)},
	{"zoomed, lanczos", "j", 0, []float64{1.5, 2}, "times", zoomed(synth.Lanczos)},
	{"zoomed, sharpened", "jsp", 0, []float64{1.5, 2}, "times", func(s *shot, level float64) {
		zoomed(synth.Bicubic)(s, level)
		s.camera().Sharpen = 0
		for i := range s.photos {
			s.photos[i].Sharpen, s.photos[i].Radius = 1, 1.5
		}
	}},
	{"jpeg", "jsp", 1, []float64{75, 60, 45, 30}, "quality", func(s *shot, level float64) { s.quality = int(level) }},
	{"coloured light", "jp", 1, []float64{0.2, 0.5}, "less of a channel", func(s *shot, level float64) {
		m := synth.Mosaic{Tint: [3]float64{1, 1, 1}}
		m.Tint[s.r.IntN(3)] = 1 - level
		m.Tint[s.r.IntN(3)] *= 1 - level/2
		s.mosaic(m)
	}},
	{"colours apart", "jsp", 1, []float64{0.3, 0.6, 1}, "px", func(s *shot, level float64) {
		m := synth.Mosaic{Tint: [3]float64{1, 1, 1}}
		m.Shift[0], m.Shift[2] = toward(level/2, turn(s.r)), toward(level/2, turn(s.r))
		s.mosaic(m)
	}},
	{"scratches", "js", 1, []float64{3, 12, 40}, "scratches", func(s *shot, level float64) {
		soil := s.soil()
		for range int(level) {
			at, size := s.rim()
			way := toward(size*between(s.r, 0.2, 1.2), turn(s.r))
			soil.Scratch(r2.Sub(at, r2.Scale(0.5, way)), r2.Add(at, r2.Scale(0.5, way)), between(s.r, 0.7, 2.5), []float64{between(s.r, 0.3, 0.7), between(s.r, 1.3, 2)}[s.r.IntN(2)])
		}
	}},
	{"rust", "js", 0, []float64{3, 10, 25}, "blotches", func(s *shot, level float64) {
		soil := s.soil()
		for range int(level) {
			at, size := s.rim()
			soil.Rust(s.r, at, size*math.Exp(between(s.r, math.Log(0.04), math.Log(0.3))))
		}
	}},
	{"dust", "js", 1, []float64{10, 60}, "specks", func(s *shot, level float64) {
		soil := s.soil()
		for range int(level) {
			at, size := s.rim()
			soil.Dust(at, min(between(s.r, 0.5, 3), 0.02*size+0.5), between(s.r, 0.02, 0.6))
		}
	}},
	{"streaks", "j", 0, []float64{1, 4}, "streaks", func(s *shot, level float64) {
		soil := s.soil()
		for range int(level) {
			at, size := s.rim()
			soil.Streak(at, turn(s.r), size*between(s.r, 0.3, 1), size*between(s.r, 0.01, 0.06), between(s.r, 0.5, 3))
		}
	}},
	{"oil", "j", 0, []float64{2, 6, 12}, "drops", func(s *shot, level float64) {
		for range int(level) {
			at, size := s.rim()
			s.scene.Camera.Oil = append(s.scene.Camera.Oil, synth.Oil{
				At: at, Radius: between(s.r, 0.04, 0.25) * size, Shift: toward(between(s.r, 0, 2), turn(s.r)),
				Transmission: between(s.r, 0.3, 0.8), Haze: between(s.r, 0.01, 0.06), Glints: s.r.IntN(8),
			})
		}
	}},
	{"glare", "js", 0, []float64{1, 4}, "spots", func(s *shot, level float64) {
		for range int(level) {
			at, size := s.rim()
			s.scene.Camera.Glare = append(s.scene.Camera.Glare, synth.Glare{At: at, Radius: between(s.r, 0.03, 0.2) * size, Level: between(s.r, 0.3, 3)})
		}
	}},
	{"cheap camera", "jsp", 0, []float64{1, 2}, "level", func(s *shot, level float64) {
		w, h := s.size()
		c := s.camera()
		c.Sharpen, c.Vignette, c.Contrast = 0, 0.2*level, 0.2*level
		c.Noise = synth.Noise{Read: 0.003 * level, FullWell: 2500 / level}
		s.quality = 85 - int(15*level)
		for i := range s.photos {
			p := &s.photos[i]
			p.Lens = synth.Bend(w, h, 0.005*level*between(s.r, -1, 1))
			p.Path = synth.Stroke(0.8*level, turn(s.r))
			p.Denoise = func(g raster.Gray) raster.Gray { return synth.Bilateral(g, level, 0.06*level) }
			p.Sharpen, p.Radius = 0.7*level, 1.5
		}
		m := synth.Mosaic{Tint: [3]float64{1, 1, 1 - 0.15*level}}
		m.Shift[0], m.Shift[2] = toward(0.2*level, turn(s.r)), toward(0.2*level, turn(s.r))
		s.mosaic(m)
	}},
}

func zoomed(z synth.Zoom) func(*shot, float64) {
	return func(s *shot, level float64) {
		s.zoom = level
		for i := range s.photos {
			s.photos[i].Zoom, s.photos[i].Factor = z, level
		}
	}
}

// newShot draws what is photographed: joints as package synth draws whole
// photos, at three quarters of their size; chains with a rule below; pairs.
func newShot(kind string, r *rand.Rand) *shot {
	s := &shot{kind: kind, r: r, photos: make([]synth.Snapshot, 1), zoom: 1}
	switch kind {
	case "joint":
		s.scene = synth.Draw(r, "photo").Scaled(0.75)
		s.quality = s.scene.Camera.JPEGQuality
	case "span":
		s.scene = chainOverRule(r)
		s.quality = s.scene.Camera.JPEGQuality
	default:
		play := math.Exp(between(r, math.Log(0.5), math.Log(30)))
		if r.IntN(4) == 0 {
			play = 0
		}
		s.pair = synth.DrawPair(r, play)
		s.quality = s.pair.Camera.JPEGQuality
		s.photos = make([]synth.Snapshot, 2)
	}
	return s
}

// chainOverRule draws a tight chain above a rule.
func chainOverRule(r *rand.Rand) synth.Scene {
	pitches := 5 + r.IntN(6)
	s := synth.Pulled(r, pitches, between(r, 1250, 1400)/float64(pitches), between(r, -0.03, 0.03), between(r, 0, 0.03), between(r, 0, 0.01), r.IntN(2) == 0)
	return synth.OverRule(r, s)
}

func (s *shot) camera() *synth.Camera {
	if s.kind == "play" {
		return &s.pair.Camera
	}
	return &s.scene.Camera
}

func (s *shot) size() (w, h int) {
	if s.kind == "play" {
		return s.pair.W, s.pair.H
	}
	return s.scene.W, s.scene.H
}

// mosaic gives every photo the colour sensor.
func (s *shot) mosaic(m synth.Mosaic) {
	for i := range s.photos {
		s.photos[i].Mosaic = &m
	}
}

// soil is what lies on the faces.
func (s *shot) soil() synth.Soil {
	soil := synth.NewSoil(s.scene.W, s.scene.H)
	s.photos[0].Soil = &soil
	return soil
}

// rim chooses a place on or near a rim and says how large it is.
func (s *shot) rim() (at r2.Vec, size float64) {
	if s.kind == "span" {
		c := s.scene.Chain
		return r2.Add(c.Pins[s.r.IntN(len(c.Pins))], toward(c.HeadR*between(s.r, 0.3, 1.5), turn(s.r))), 2 * c.HeadR
	}
	j := s.scene.Joint
	return r2.Add(j.BoreCenter, toward(j.BoreR*between(s.r, 0.8, 1.2), turn(s.r))), j.BoreR
}

// truth is what the photo shows, in millimetres; divisions of joints are a
// tenth of a millimetre, others one.
type truth struct {
	lengths map[string]float64
	pitches []float64
	links   []geom.LinkKind
}

func (s *shot) truth() truth {
	switch s.kind {
	case "joint":
		mm, t := 0.1/s.scene.Rule.Period, s.scene.Truth()
		return truth{lengths: map[string]float64{
			"pin_diameter": mm * t.PinDiameter, "bore_diameter": mm * t.BoreDiameter, "clearance": mm * t.Clearance, "play": mm * t.Play,
			"wear_depth_pin": mm * t.PinWear, "wear_depth_bore": mm * t.BoreWear, "offset": mm * r2.Norm(t.Offset),
			"roundness_pin": mm * t.PinWear, "roundness_bore": mm * t.BoreWear, // round but for their wear
		}}
	case "span":
		var t truth
		for i, p := range s.scene.Chain.Pitches() {
			t.pitches = append(t.pitches, p/s.scene.Rule.Period)
			link := geom.OuterLink
			if (i%2 == 0) == s.scene.Chain.FirstInner {
				link = geom.InnerLink
			}
			t.links = append(t.links, link)
		}
		return t
	default:
		return truth{lengths: map[string]float64{"play": r2.Norm(s.pair.Pull) / s.pair.Rule}}
	}
}

// lights draws what falls on the sensor in each photo.
func (s *shot) lights() []raster.Gray {
	if s.kind == "play" {
		return []raster.Gray{s.pair.Light(0, 0), s.pair.Light(1, 1)}
	}
	return []raster.Gray{s.scene.Light()}
}

// seed is that of the noise in photo i.
func (s *shot) seed(i int) uint64 {
	if s.kind == "play" {
		return s.pair.Seed*2 + uint64(i)
	}
	return s.scene.Seed
}

func (e effect) level(l float64) string { return fmt.Sprintf("%g %s", l, e.unit) }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func turn(r *rand.Rand) float64 { return between(r, 0, 2*math.Pi) }

// toward returns the vector of a length in a direction.
func toward(length, angleRad float64) r2.Vec {
	sin, cos := math.Sincos(angleRad)
	return r2.Vec{X: length * cos, Y: length * sin}
}
