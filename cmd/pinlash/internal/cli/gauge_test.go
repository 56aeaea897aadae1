package cli

import (
	"os"

	"github.com/rogpeppe/go-internal/testscript"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// gaugePhotos are photos of a pin gauge, 5 mm or 500 px across, so that a pixel
// is 10 um long: alone, its silhouette, and beside a joint whose pin is 3.6 mm
// in a bore of 3.7 mm.
var gaugePhotos = map[string]func(*synth.Scene){
	"gauge": func(*synth.Scene) {},
	"backlit": func(s *synth.Scene) {
		s.Gauge.Face.Level, s.Background.Level = 0.02, 0.6
	},
	"joint": func(s *synth.Scene) {
		s.Joint = synth.Joint{
			BoreCenter: r2.Vec{X: 330, Y: 400}, BoreR: 185, PinR: 180, BushR: 260,
			Pin: synth.Face{Level: 0.45}, Bush: synth.Face{Level: 0.35}, Dark: 0.01,
		}
		s.Joint.Pull(1)
	},
	"dots":    dots,
	"checker": checker,
	"bent":    bentJoint,
	"ruled":   ruledJoint,
	"four":    func(s *synth.Scene) { dots(s); s.Grid.Rows = 4 },
}

// draw writes one of the photos: draw KIND FILE.
func draw(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 || gaugePhotos[args[0]] == nil {
		ts.Fatalf("usage: draw gauge|backlit|joint|dots|checker|bent|ruled|four FILE")
	}
	s := gaugeScene()
	gaugePhotos[args[0]](&s)
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	ts.Check(s.WriteJPEG(f))
	ts.Check(f.Close())
}

// gaugeScene is the photo of the gauge alone.
func gaugeScene() synth.Scene {
	return synth.Scene{
		W: 1280, H: 800, Seed: 7,
		Gauge:      synth.Gauge{Center: r2.Vec{X: 950, Y: 410}, R: 250, Face: synth.Face{Level: 0.5}},
		Background: synth.Face{Level: 0.02},
		Camera:     synth.Camera{Blur: 1.2, Noise: synth.Noise{Read: 0.003, FullWell: 8000}, Curve: raster.SRGB},
	}
}
