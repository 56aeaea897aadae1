package measure

import (
	"math"
	"strings"
	"testing"

	"pinlash/measure/geom"
)

// Intervals are wider where rims are rough or their light uneven, up to a few pixels,
// and the notes say so.
func TestRoughRimsWiden(t *testing.T) {
	edges := func(spoil func(e *geom.JointEdges)) geom.JointEdges {
		e := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}.edges(seeded())
		e.BoreLightU, e.PinLightU = 0.01, 0.01
		spoil(&e)
		return e
	}
	sharp := mustJoint(t, edges(func(*geom.JointEdges) {}), exact())
	for _, tt := range []struct {
		name  string
		spoil func(e *geom.JointEdges)
		times float64
		noted bool
	}{
		{"as sharp", func(e *geom.JointEdges) { e.BoreLightU = sharpRimU }, 1, false},
		{"half way", func(e *geom.JointEdges) { e.BoreLightU = math.Sqrt(sharpRimU * roughRimU) }, 1.5, true},
		{"rough pin", func(e *geom.JointEdges) { e.PinLightU = 0.4 }, 2, true},
		{"uneven light", func(e *geom.JointEdges) { e.Noise = e.Contrast / 8 }, 2, true},
	} {
		r := mustJoint(t, edges(tt.spoil), exact())
		for _, q := range []struct {
			name       string
			got, sharp float64
		}{
			{"bore diameter", r.BoreDiameter.U, sharp.BoreDiameter.U},
			{"clearance", r.Clearance.U, sharp.Clearance.U},
			{"wear of the pin", r.WearDepthPin.U, sharp.WearDepthPin.U},
			{"roundness of the bore", r.RoundnessBore.U, sharp.RoundnessBore.U},
		} {
			// The part of the scale and of the slant is as it was.
			if ratio := q.got / q.sharp; ratio > tt.times*1.0001 || ratio < 0.97*tt.times {
				t.Errorf("%s: u of the %s %.5f mm, want %.1f times %.5f", tt.name, q.name, q.got, tt.times, q.sharp)
			}
		}
		if noted := strings.Contains(strings.Join(r.Notes, " "), "sharp and even"); noted != tt.noted {
			t.Errorf("%s: notes %q", tt.name, r.Notes)
		}
	}
	// A pin that stands proud has larger intervals for reasons of its own.
	proud := func(e *geom.JointEdges) { e.Shadow, e.ShadowReach = 0.4, 30 }
	plain := mustJoint(t, edges(proud), exact())
	rough := mustJoint(t, edges(func(e *geom.JointEdges) { proud(e); e.BoreLightU = 0.4 }), exact())
	if want := max(plain.Clearance.U, 0.01*roughMost); rough.Clearance.U > want*1.0001 {
		t.Errorf("rough rims of a proud pin: u of the clearance %.4f mm, want %.4f at most", rough.Clearance.U, want)
	}
}
