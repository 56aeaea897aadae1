package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// touch draws, over the directions in which the circles of pin and bore cross,
// what a photo shows there: share says how much of the crossing the bore has,
// and whether the direction shows anything.
func touch(m model, e *geom.JointEdges, share func() (bore float64, seen bool)) {
	for i, t := range e.BoreProfile.Angle {
		sin, cos := math.Sincos(t - m.direction)
		cross := m.offset*cos + math.Sqrt(m.pinR*m.pinR-m.offset*m.offset*sin*sin) - m.boreR
		if cross <= 0 {
			continue
		}
		bore, seen := share()
		e.BoreProfile.Dev[i], e.PinProfile.Dev[i] = bore*cross, -(1-bore)*cross
		if !seen {
			e.BoreProfile.U[i], e.PinProfile.U[i] = 0, 0
		}
	}
}

// covers says whether the 95 % interval holds a length in pixels of 0.01 mm.
func covers(q uncert.Quantity, px float64) bool {
	return q.Lower <= 0.01*px+1e-9 && q.Upper >= 0.01*px-1e-9
}

// Pin and bore touch along one line: where directions agree on it both depths
// are read there; where they do not, each may be anything up to both together.
// The play, which needs only their sum, is known either way.
func TestWearWherePinAndBoreTouch(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 22, direction: 1, noise: 0.05} // crossing by 12 px
	rng := seeded()
	near := func(share float64) func() (float64, bool) {
		return func() (float64, bool) { return share + 0.01*rng.NormFloat64(), true }
	}
	for _, tt := range []struct {
		name    string
		share   func() (float64, bool)
		bore    float64
		told    bool
		note    string
		notOver float64 // px, half the interval of the depths
	}{
		{"bore worn", near(1), 12, true, "the bore is worn on one side", 1},
		{"pin worn", near(0), 0, true, "the pin is worn on one side", 1},
		{"both worn", near(0.4), 4.8, true, "the pin is worn on one side", 1},
		{"oil over half of it", func() (float64, bool) {
			if rng.IntN(2) == 0 {
				return rng.Float64(), true
			}
			return 1 + 0.01*rng.NormFloat64(), true
		}, 12, true, "the bore is worn on one side", 1.2},
		{"nothing seen", func() (float64, bool) { return 0, false }, 6, false, "which of the two the photo does not show", 9},
	} {
		e := m.edges(rng)
		touch(m, &e, tt.share)
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		within := []float64{tt.bore}
		if !tt.told {
			within = []float64{0, 12}
		}
		for _, bore := range within {
			if !covers(r.WearDepthBore, bore) || !covers(r.WearDepthPin, 12-bore) {
				t.Errorf("%s: bore %v and pin %v worn, may be %.1f and %.1f px", tt.name, r.WearDepthBore, r.WearDepthPin, bore, 12-bore)
			}
		}
		if half := 100 * (r.WearDepthBore.Upper - r.WearDepthBore.Lower) / 2; half > tt.notOver {
			t.Errorf("%s: wear of the bore known to %.2f px, want %.2f px", tt.name, half, tt.notOver)
		}
		if half := 100 * (r.Play.Upper - r.Play.Lower) / 2; !covers(r.Play, 32) || half > 1.5 {
			t.Errorf("%s: play %v, want 0.32 mm within 0.015", tt.name, r.Play)
		}
		if !strings.Contains(strings.Join(r.Notes, "\n"), tt.note) {
			t.Errorf("%s: notes %q lack %q", tt.name, r.Notes, tt.note)
		}
	}
}

// The check has by how much the pin lies beyond what its flanks were seen to
// be worn.
func TestPinBeyondItsFlanks(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 22, direction: 1, noise: 0.05}
	for _, tt := range []struct {
		name  string
		seen  bool
		value float64
	}{{"bore seen worn", true, 0}, {"nothing seen", false, 12}} {
		e := m.edges(seeded())
		touch(m, &e, func() (float64, bool) { return 1, tt.seen })
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		var got check.Check
		for _, c := range r.Checks {
			if c.Name == "pin_beyond_flanks_px" {
				got = c
			}
		}
		if got.OK != tt.seen || math.Abs(got.Value-tt.value) > 0.6 {
			t.Errorf("%s: %+v, want a value of about %.0f", tt.name, got, tt.value)
		}
	}
}

// Where one rim alone is read, what it is not worn the other is, and the gap
// that may be left between them besides.
func TestOneRimAloneIsReadInContact(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 22, direction: 1, noise: 0.05}
	e := m.edges(seeded())
	touch(m, &e, func() (float64, bool) { return 0, true })
	for i, dev := range e.PinProfile.Dev {
		if dev < -1 {
			e.PinProfile.U[i] = 0
		}
	}
	r, err := Joint(e, exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !covers(r.WearDepthBore, 0) || !covers(r.WearDepthPin, 12) || r.WearDepthPin.Lower < 0.09 {
		t.Errorf("bore %v and pin %v worn, want 0 and 12 px", r.WearDepthBore, r.WearDepthPin)
	}
	if !covers(r.Play, 32) {
		t.Errorf("play %v, want 32 px", r.Play)
	}
}

// The share found holds the true one at least as often as its uncertainty says,
// however many of the directions show the line, the others anything within
// reach; where none does, it may be any.
func TestShareOfContactHolds(t *testing.T) {
	const trials, blur, ends = 150, 1.0, 1.1 // rad, where the circles cross
	rng := rand.New(rand.NewPCG(3, 5))
	for _, tt := range []struct{ cross, part float64 }{{3, 0}, {3, 0.2}, {3, 0.9}, {15, 0}, {15, 0.1}, {15, 0.4}} {
		inside, any := 0, 0
		for range trials {
			share := rng.Float64()
			var lines []line
			for i := range 40 {
				cos := math.Cos(ends * (float64(i) + 0.5 - 20) / 20)
				cross := tt.cross * (cos - math.Cos(ends)) / (1 - math.Cos(ends))
				l := line{cross: cross, both: cross, u: 0.3, cos: cos}
				l.bore = rng.Float64()*(cross+2*beyond(blur)) - beyond(blur)
				if rng.Float64() < tt.part {
					l.bore = share*cross + l.u*rng.NormFloat64()
				}
				lines = append(lines, l)
			}
			c := contact{cross: uncert.Combine(tt.cross, "px", nil)}
			c.divide(lines, blur)
			if math.Abs(c.share-share) < 2*c.shareU {
				inside++
			}
			if c.share-2*c.shareU < 0 && c.share+2*c.shareU > 1 {
				any++
			}
		}
		if inside < 95*trials/100 {
			t.Errorf("crossing by %.0f px, %.0f %% of the directions showing the line: the share is held %d times of %d", tt.cross, 100*tt.part, inside, trials)
		}
		if tt.part == 0 && any < 3*trials/4 {
			t.Errorf("crossing by %.0f px, no direction showing the line: all shares are held %d times of %d", tt.cross, any, trials)
		}
	}
}

// Metal does not grow: where one rim seems to lie where there was none, both
// were misread, and a scratch beside the contact is no flank.
func TestScratchIsNoFlank(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 9.5, noise: 0.05}
	e := m.edges(seeded())
	spoil(&e.BoreProfile, -0.1, 0.2, 18, 0.05)
	spoil(&e.PinProfile, -0.1, 0.2, 18, 0.05)
	r, err := Joint(e, exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !covers(r.WearDepthBore, 0) || !covers(r.WearDepthPin, 0) || !covers(r.Play, 20) {
		t.Errorf("bore %v and pin %v worn, play %v", r.WearDepthBore, r.WearDepthPin, r.Play)
	}
}

// Where pin and bore touch and the pin is not level, what seems the line of contact may
// be the end of a shade: the depths are known the less by its reach.
func TestShadeInContact(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 22, direction: 1, noise: 0.05}
	depthU := func(shade float64) float64 {
		e := m.edges(seeded())
		touch(m, &e, func() (float64, bool) { return 0.7, true })
		e.PinShade, e.PinShadeU, e.PinShadeReach = shade, 0.08, 7
		return mustJoint(t, e, exact()).WearDepthBore.U
	}
	level, deep := depthU(0.05), depthU(0.18)
	if want := 0.01 * 7 * gapLeftU; deep < want || level > want/2 {
		t.Errorf("u of the bore's depth %.4f mm of a level pin, %.4f mm of a deep one, want %.4f", level, deep, want)
	}
}
