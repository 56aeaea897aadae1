package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"pinlash/calib"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// model is a joint drawn as rims, in pixels.
type model struct {
	boreR, pinR float64
	offset      float64 // of the pin's centre from the bore's
	direction   float64 // rad
	boreWear    float64 // depth, towards direction + boreAt
	boreAt      float64
	pinWear     float64 // depth, towards direction + pinAt
	pinAt       float64
	oval        float64 // of both rims, a cos 2t
	noise       float64
}

// pocket returns how far a rim of radius r lies outside (bore) or inside (pin)
// its circle where a partner of radius q has worn it to a depth w at angle t
// from the load.
func pocket(r, q, w, t float64) float64 {
	if r > q { // a bore worn by a pin
		e := r - q + w
		return max(0, e*math.Cos(t)+math.Sqrt(q*q-e*e*math.Sin(t)*math.Sin(t))-r)
	}
	e := q - r + w // a pin worn by a bore, shifted away from the load
	return min(0, -e*math.Cos(t)+math.Sqrt(q*q-e*e*math.Sin(t)*math.Sin(t))-r)
}

func (m model) edges(rng *rand.Rand) geom.JointEdges {
	const n = 180
	bore := geom.Circle{Center: r2.Vec{X: 700, Y: 500}, R: m.boreR, Inliers: n}
	sin, cos := math.Sincos(m.direction)
	pin := geom.Circle{Center: r2.Vec{X: 700 + m.offset*cos, Y: 500 + m.offset*sin}, R: m.pinR, Inliers: n}
	e := geom.JointEdges{
		Blur: 0.9, BlurBore: 0.9, BlurPin: 0.9, Noise: 0.01, Contrast: 0.5, DarkU: 0.002, Gap: 12,
		ShadowU: 0.02,
	}
	v := max(m.noise, 0.01) * max(m.noise, 0.01) / n
	for i := range 3 {
		bore.Cov[i][i], pin.Cov[i][i] = v*[]float64{2, 2, 1}[i], v*[]float64{2, 2, 1}[i]
		e.Cov[i][i], e.Cov[i+3][i+3] = bore.Cov[i][i], pin.Cov[i][i]
	}
	u := max(m.noise, 0.01)
	bore.RMS, pin.RMS = u, u
	add := func(c geom.Circle, t, dev float64) geom.EdgePoint {
		d := r2.Vec{X: math.Cos(t), Y: math.Sin(t)}
		return geom.EdgePoint{At: r2.Add(c.Center, r2.Scale(c.R+dev, d)), Normal: d, U: u, Rejected: math.Abs(dev) > 1}
	}
	for i := range n {
		t := (float64(i) + 0.5) * 2 * math.Pi / n
		// Both are read along rays from the bore's centre.
		p := t + math.Asin(m.offset/m.pinR*math.Sin(t-m.direction))
		db := pocket(m.boreR, m.pinR, m.boreWear, t-m.direction-m.boreAt) + m.oval*math.Cos(2*t) + m.noise*rng.NormFloat64()
		dp := pocket(m.pinR, m.boreR, m.pinWear, p-m.direction-m.pinAt) + m.oval*math.Cos(2*p) + m.noise*rng.NormFloat64()
		if m.boreWear == 0 {
			db = m.oval*math.Cos(2*t) + m.noise*rng.NormFloat64()
		}
		if m.pinWear == 0 {
			dp = m.oval*math.Cos(2*p) + m.noise*rng.NormFloat64()
		}
		e.BoreProfile.Add(t, db, u)
		e.PinProfile.Add(p, dp, u)
		e.Bore = append(e.Bore, add(bore, t, db))
		e.Pin = append(e.Pin, add(pin, p, dp))
	}
	e.BoreFit, e.PinFit = bore, pin
	return e
}

// exact is a scale of 10 um a pixel without uncertainty.
func exact() calib.Scale {
	return calib.Scale{MMPerPx: uncert.Combine(0.01, "mm/px", nil), Origin: r2.Vec{X: 700, Y: 500}, Source: "points", W: 1600, H: 1200}
}

func seeded() *rand.Rand { return rand.New(rand.NewPCG(7, 11)) }

// The figures of a drawn joint are those it was drawn with; tolerances are the
// noise of the means they are taken over, four times.
func TestJointFigures(t *testing.T) {
	for _, tt := range []struct {
		name              string
		m                 model
		play              float64 // px
		wearBore, wearPin float64
		note              string
		noNote            string
		tolPlay, tolWear  float64
	}{
		{"unworn", model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}, 20, 0, 0, "", "worn", 0.1, 0.1},
		{"bore worn under load", model{boreR: 300, pinR: 290, offset: 19, direction: 1, boreWear: 10, noise: 0.05}, 30, 10, 0, "the bore is worn on one side", "", 0.15, 0.15},
		{"bore worn opposite", model{boreR: 300, pinR: 290, offset: 9, direction: 1, boreWear: 8, boreAt: math.Pi, noise: 0.05}, 28, 8, 0, "the bore is worn on one side", "", 0.15, 0.15},
		{"pin worn", model{boreR: 300, pinR: 290, offset: 21, direction: -2, pinWear: 12, noise: 0.05}, 32, 0, 12, "the pin is worn on one side", "", 0.15, 0.15},
		{"worn across the pull", model{boreR: 300, pinR: 290, offset: 9, boreWear: 8, boreAt: math.Pi / 2, noise: 0.05}, 20, 8, 0, "the bore is worn", "", 0.2, 0.15},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := Joint(tt.m.edges(seeded()), exact(), Options{})
			if err != nil {
				t.Fatal(err)
			}
			check := func(name string, q uncert.Quantity, want, tol float64) {
				t.Helper()
				if math.Abs(q.Value-want) > tol {
					t.Errorf("%s = %v, want %.4f within %.4f", name, q, want, tol)
				}
			}
			check("bore diameter", r.BoreDiameter, 0.02*tt.m.boreR, 1e-9)
			check("pin diameter", r.PinDiameter, 0.02*tt.m.pinR, 1e-9)
			check("clearance", r.Clearance, 0.02*(tt.m.boreR-tt.m.pinR), 1e-9)
			check("offset", r.Offset, 0.01*tt.m.offset, 1e-9)
			check("play", r.Play, 0.01*tt.play, 0.01*tt.tolPlay)
			check("wear depth bore", r.WearDepthBore, 0.01*tt.wearBore, 0.01*tt.tolWear)
			check("wear depth pin", r.WearDepthPin, 0.01*tt.wearPin, 0.01*tt.tolWear)
			notes := strings.Join(r.Notes, "\n")
			if !strings.Contains(notes, tt.note) {
				t.Errorf("notes %q lack %q", notes, tt.note)
			}
			if tt.noNote != "" && strings.Contains(notes, tt.noNote) {
				t.Errorf("notes %q speak of %q", notes, tt.noNote)
			}
		})
	}
}

// A slant flattens both rims alike; the diameter is then that along the scale.
func TestSlantedCamera(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 9, oval: 0.2, noise: 0.03}
	for _, tt := range []struct {
		scaleDeg, want float64 // px of diameter added
	}{{0, 0.4}, {90, -0.4}, {45, 0}} {
		s := exact()
		s.AngleRad = tt.scaleDeg * math.Pi / 180
		r, err := Joint(m.edges(seeded()), s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		// The harmonic of 180 points of noise 0.03 has sd 0.003; four times, twice.
		if got := r.BoreDiameter.Value/0.01 - 600; math.Abs(got-tt.want) > 0.03 {
			t.Errorf("scale at %.0f deg: diameter grew by %.3f px, want %.1f", tt.scaleDeg, got, tt.want)
		}
		if !strings.Contains(strings.Join(r.Notes, " "), "slant") {
			t.Errorf("no note of the slant: %q", r.Notes)
		}
	}
	// One rim alone out of round is not a slant.
	e := m.edges(seeded())
	for i := range e.PinProfile.Dev {
		e.PinProfile.Dev[i] = 0
	}
	r, err := Joint(e, exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.BoreDiameter.Value-6) > 1e-9 {
		t.Errorf("an oval bore alone was taken for a slant: %v", r.BoreDiameter)
	}
}

// Doubts about the rims must widen the intervals and be said.
func TestDoubtsWiden(t *testing.T) {
	m := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}
	base, err := Joint(m.edges(seeded()), exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name, note string
		spoil      func(e *geom.JointEdges)
		atLeast    float64 // factor on the clearance's uncertainty
	}{
		{"proud pin", "stands proud", func(e *geom.JointEdges) { e.Shadow, e.ShadowReach = 0.4, 10 }, 3},
		{"deep pin", "lies deep", func(e *geom.JointEdges) { e.PinShade, e.PinShadeReach = 0.4, 10 }, 3},
		{"chamfered pin", "chamfered", func(e *geom.JointEdges) { e.PinBand = 8 }, 2},
		{"broken edge", "broken over about", func(e *geom.JointEdges) { e.BoreBevel = 5 }, 1},
		{"sharpened", "", func(e *geom.JointEdges) { e.SharpenShift = 0.2 }, 1.2},
		{"tones changed", "lopsided", func(e *geom.JointEdges) { e.Lopsided, e.ToneShiftU = 0.3, 0.1 }, 2},
		{"tones perhaps changed", "", func(e *geom.JointEdges) { e.ToneShiftU = 0.1 }, 2},
		{"smoothed", "noise reduction", func(e *geom.JointEdges) { e.SmoothedU = 0.1 }, 2},
		{"moved", "moved by about 4 px", func(e *geom.JointEdges) { e.Moved = 4 }, 1.5},
		{"light in the gap", "", func(e *geom.JointEdges) { e.Gap, e.DarkU = 3, 0.05 }, 1.5},
	} {
		e := m.edges(seeded())
		tt.spoil(&e)
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Clearance.U < tt.atLeast*base.Clearance.U {
			t.Errorf("%s: u(clearance) %.5f, want at least %.1f times %.5f", tt.name, r.Clearance.U, tt.atLeast, base.Clearance.U)
		}
		if !strings.Contains(strings.Join(r.Notes, " "), tt.note) {
			t.Errorf("%s: notes %q lack %q", tt.name, r.Notes, tt.note)
		}
	}
}

// Beside a broken edge the rim is known the less the fewer directions lie on its
// circle.
func TestStripBesideFewDirections(t *testing.T) {
	diameterU := func(share float64) float64 {
		e := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}.edges(seeded())
		e.PinBevel = 10
		for i := range e.Pin {
			e.Pin[i].Rejected = float64(i) > share*float64(len(e.Pin))
		}
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r.PinDiameter.U
	}
	all, most, few := diameterU(1), diameterU(0.65), diameterU(0.4)
	if most > 1.2*all {
		t.Errorf("most directions on the circle: u %.4f mm, all: %.4f mm", most, all)
	}
	if want := math.Hypot(most, 2*0.01*10*endU*(mostAgree-0.4)); few < 0.95*want {
		t.Errorf("few directions on the circle: u %.4f mm, want %.4f mm", few, want)
	}
}

// A band beside the pin's rim is known the less where the tone curve may have made its
// end black.
func TestBandThatMayGoOn(t *testing.T) {
	diameterU := func(spoil func(e *geom.JointEdges)) float64 {
		e := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}.edges(seeded())
		e.PinBand = 4
		spoil(&e)
		return mustJoint(t, e, exact()).PinDiameter.U
	}
	plain := diameterU(func(*geom.JointEdges) {})
	for _, tt := range []struct {
		name  string
		spoil func(e *geom.JointEdges)
		least float64 // mm
	}{
		{"black gap", func(e *geom.JointEdges) { e.BlackInGap = 0.6 }, 2 * 0.01 * 4 * crushedU},
		{"faces without white", func(e *geom.JointEdges) { e.Unwhite = 0.95 }, 2 * 0.01 * 4 * crushedU},
	} {
		if u := diameterU(tt.spoil); u < tt.least || u < 1.3*plain {
			t.Errorf("%s: u %.4f mm, without it %.4f, want %.4f at least", tt.name, u, plain, tt.least)
		}
	}
}

// A flank that seems worn aside of the way the pin lies may be a shade where the
// rim was read at the foot of a band, and is told so; on that way, or on a sharp rim,
// it is worn. So it is on the far side of a pin whose light tells of a chamfer.
func TestShadeAsideOfThePull(t *testing.T) {
	for _, tt := range []struct {
		at, band float64
		lit      float64 // share by which the pin's end is brighter beside its rim
		shade    bool
	}{
		{math.Pi / 2, 3, 0, true},
		{math.Pi / 2, 0, 0, false},
		{0, 3, 0, false},
		{math.Pi, 0, 0, false},
		{math.Pi, 0, 0.2, true},
		{0, 0, 0.2, false},
	} {
		m := model{boreR: 300, pinR: 284, offset: 10, pinWear: 8, pinAt: tt.at, noise: 0.05}
		e := m.edges(seeded())
		e.PinBand, e.PinShade, e.PinShadeU = tt.band, -tt.lit, 0.03
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.WearDepthPin.Lower <= 0 && r.RoundnessPin.Lower <= 0; got != tt.shade {
			t.Errorf("%+v: wear depth %.4f mm from %.4f, roundness from %.4f", tt, r.WearDepthPin.Value, r.WearDepthPin.Lower, r.RoundnessPin.Lower)
		}
		if got := strings.Contains(strings.Join(r.Notes, " "), "shade of a lamp"); got != tt.shade {
			t.Errorf("%+v: notes %q", tt, r.Notes)
		}
	}
}

// Parts that were pulled together touch: of a flank that seems worn while a gap is
// left, that much may be shade. So its interval holds both the depth that was read and
// that without the gap, and is as narrow as before where no gap is left, or a wide one
// that is no shade.
func TestGapLeftWherePartsTouch(t *testing.T) {
	const clearance, depth, mmPerPx = 16, 10, 0.01
	width := func(gap float64) float64 {
		m := model{boreR: 300, pinR: 300 - clearance/2, offset: clearance/2 + depth - gap, pinWear: depth, noise: 0.05}
		r, err := Joint(m.edges(seeded()), exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []float64{depth, depth - gap} {
			if gap < 3 && !covers(r.WearDepthPin, want) {
				t.Errorf("gap %g px: wear depth %v, want %g px in it", gap, r.WearDepthPin, want)
			}
		}
		return (r.WearDepthPin.Upper - r.WearDepthPin.Lower) / mmPerPx
	}
	none, narrow, wide := width(0.2), width(2), width(9)
	if narrow < 1.5*none || wide > 1.2*none {
		t.Errorf("wear depths known to %.2f px without a gap, %.2f with one of 2 px, %.2f with one of 9 px", none, narrow, wide)
	}
}

// A flank that seems deeply worn where the pin lies against the unworn circle all the
// same may be shade, and its interval reaches down to none.
func TestPinAgainstTheUnwornCircle(t *testing.T) {
	m := model{boreR: 300, pinR: 275, offset: 25, boreWear: 15, boreAt: 0.4, noise: 0.05}
	r, err := Joint(m.edges(seeded()), exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !covers(r.WearDepthBore, 0) || !covers(r.WearDepthBore, 15) || r.Play.Lower > 0.5 {
		t.Errorf("wear depth %v, play %v, want none and 15 px in the one, 50 px in the other", r.WearDepthBore, r.Play)
	}
}

// A flank away from the pull that was not seen may be worn: the pin may have been
// pulled the other way for the photo.
func TestFarFlankUnseen(t *testing.T) {
	for _, tt := range []struct {
		reach  float64 // rad about the far side that were not seen
		unseen bool
	}{{0, false}, {0.5, false}, {1.2, true}} {
		e := model{boreR: 300, pinR: 284, offset: 10, direction: 0.6, noise: 0.05}.edges(seeded())
		for i, a := range e.BoreProfile.Angle {
			if math.Abs(angleBetween(a, 0.6+math.Pi)) < tt.reach {
				e.BoreProfile.U[i] = 0
			}
		}
		r, err := Joint(e, exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.WearDepthBore.Upper > 0.2; got != tt.unseen {
			t.Errorf("%g rad unseen: wear depth up to %.3f mm", tt.reach, r.WearDepthBore.Upper)
		}
		if got := strings.Contains(strings.Join(r.Notes, " "), "flank of the bore was not seen"); got != tt.unseen {
			t.Errorf("%g rad unseen: notes %q", tt.reach, r.Notes)
		}
	}
}

// Turning the joint turns the direction and nothing else; a larger pixel makes
// every length larger in proportion.
func TestJointLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := model{
			boreR: 300, pinR: rapid.Float64Range(280, 298).Draw(t, "pin"),
			direction: 0.02, noise: 0.05,
			boreWear: rapid.SampledFrom([]float64{0, 5, 12}).Draw(t, "wear"),
		}
		m.offset = 0.9*(m.boreR-m.pinR) + m.boreWear
		turns := rapid.IntRange(1, 179).Draw(t, "turn")
		a, err := Joint(m.edges(seeded()), exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := exact()
		s.MMPerPx = uncert.Combine(0.02, "mm/px", nil)
		big, err := Joint(m.edges(seeded()), s, Options{WorkingDistanceMM: 2 * usualDistanceMM})
		if err != nil {
			t.Fatal(err)
		}
		m.direction += float64(turns) * 2 * math.Pi / 180
		b, err := Joint(m.edges(seeded()), exact(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		near := func(name string, got, want, tol float64) {
			if math.Abs(got-want) > tol {
				t.Fatalf("%s %.6f, want %.6f within %.6f", name, got, want, tol)
			}
		}
		// The noise stays where it was while the joint turns: tolerances are
		// those of the means.
		near("clearance", b.Clearance.Value, a.Clearance.Value, 1e-9)
		near("play", b.Play.Value, a.Play.Value, 0.003)
		near("wear", b.WearDepthBore.Value, a.WearDepthBore.Value, 0.003)
		turned := math.Remainder(b.OffsetDirection.Value-a.OffsetDirection.Value-float64(2*turns), 360)
		near("direction", turned, 0, 1e-6)
		near("twice the play", big.Play.Value, 2*a.Play.Value, 1e-9)
		near("twice the bore", big.BoreDiameter.Value, 2*a.BoreDiameter.Value, 1e-9)
	})
}

// A flank that was not seen says nothing of its wear, and the play's interval
// says so.
func TestHiddenFlank(t *testing.T) {
	e := model{boreR: 300, pinR: 290, offset: 9, noise: 0.05}.edges(seeded())
	for i, a := range e.BoreProfile.Angle {
		if math.Abs(math.Remainder(a, 2*math.Pi)) < 1 {
			e.BoreProfile.U[i] = 0
		}
	}
	r, err := Joint(e, exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.WearDepthBore.Upper < 0.3 || r.Play.Upper < 0.3 {
		t.Errorf("wear depth %v and play %v of a flank not seen", r.WearDepthBore, r.Play)
	}
	if !strings.Contains(strings.Join(r.Notes, " "), "flank of the bore was not seen") {
		t.Errorf("notes %q", r.Notes)
	}
}

// A pin whose end does not lie in the bush's plane is seen shifted by its height
// times the camera's slant, to either side: the offset allows for it.
func TestProudPinAtASlant(t *testing.T) {
	const deg = 4.0
	offsetU := func(slant float64) float64 {
		e := model{boreR: 300, pinR: 290, offset: 9, noise: 0.03}.edges(seeded())
		e.Shadow, e.ShadowU = 0.3, 0.02
		e, s := slanted(slant, 0.4).shown(t, e, 0)
		r, err := Joint(e, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r.Offset.U
	}
	shift := proudLeastMM / math.Sqrt(3) * math.Sin(deg*math.Pi/180)
	if u := offsetU(deg); u < 0.9*shift || u > 2*shift {
		t.Errorf("at %g degrees: standard uncertainty %.4f mm, the shift's is %.4f mm", deg, u, shift)
	}
	if u := offsetU(0); u > shift/2 {
		t.Errorf("square on: standard uncertainty %.4f mm", u)
	}
}

// A joint without offset has a direction that may be any.
func TestCentredPinHasNoDirection(t *testing.T) {
	m := model{boreR: 300, pinR: 290, noise: 0.05}
	r, err := Joint(m.edges(seeded()), exact(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := r.OffsetDirection; d.Upper-d.Lower < 350 {
		t.Errorf("direction of no offset %v", d)
	}
}

func TestJointWithoutCircles(t *testing.T) {
	if _, err := Joint(geom.JointEdges{}, exact(), Options{}); err == nil {
		t.Error("no error without circles")
	}
}

// A depth that was read but is not beyond doubt belongs to the play, one that
// is only the largest of many readings widens it up to what it may be.
func TestPlayOfUncertainWear(t *testing.T) {
	clearance := uncert.Combine(8, "px", uncert.Budget{{Name: "light", U: 0.05}})
	for _, tt := range []struct {
		name    string
		wear    wornFlank
		value   float64
		reaches float64 // of the interval
	}{
		{"read", wornFlank{depth: uncert.Combine(1.2, "px", uncert.Budget{{Name: "light", U: 0.3}}), read: true}, 9.2, 9.8},
		{"read as none", wornFlank{depth: uncert.Combine(0, "px", uncert.Budget{{Name: "light", U: 0.3}}), read: true}, 8, 8.35},
		{"largest of many", wornFlank{depth: uncert.Combine(1.2, "px", uncert.Budget{{Name: "light", U: 0.3}})}, 8, 9.2},
		{"off the line of pull", wornFlank{depth: uncert.Combine(1.2, "px", uncert.Budget{{Name: "light", U: 0.3}}), read: true, direction: math.Pi / 2}, 8, 9.2},
	} {
		got := play(clearance, 0, tt.wear)
		if math.Abs(got.Value-tt.value) > 1e-9 {
			t.Errorf("%s: play %.3f px, want %.3f", tt.name, got.Value, tt.value)
		}
		if hi := got.Value + 2*got.U; hi < tt.reaches-1e-9 {
			t.Errorf("%s: play up to %.3f px, want %.3f at least", tt.name, hi, tt.reaches)
		}
	}
}
