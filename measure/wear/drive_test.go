package wear_test

import (
	"fmt"
	"math"
	"testing"

	"pinlash/measure/wear"
)

// twinCam is a drive in the running direction: the crankshaft lets the chain
// go to the intake cam, that to the exhaust cam, that over an idler back to the
// crankshaft. Invented for these tests.
func twinCam() wear.Drive {
	return wear.Drive{Pitch: 9.525, Joints: 110, Wheels: []wear.Wheel{
		{Name: "idler", Kind: wear.Idler, Teeth: 24, ToNext: 9},
		{Name: "crank", Kind: wear.Driver, Teeth: 19, ToNext: 25},
		{Name: "intake", Kind: wear.Cam, Teeth: 38, ToNext: 6},
		{Name: "exhaust", Kind: wear.Cam, Teeth: 38, ToNext: 11},
	}}
}

func TestTightStrand(t *testing.T) {
	d := twinCam()
	for name, want := range map[string]float64{"exhaust": 20, "intake": 26, "idler": 9} {
		near(t, name, must[float64](t)(d.TightStrand(name)), want, 0)
	}
	near(t, "slack strand", must[float64](t)(d.SlackStrand()), 25, 0)
	if _, err := d.TightStrand("crank"); err == nil {
		t.Error("strand that pulls the driver accepted")
	}
	if _, err := d.TightStrand("pump"); err == nil {
		t.Error("unknown wheel accepted")
	}
}

// 0.5 % of 9.525 mm a joint; 20 pitches lag 0.946 deg of the cam (derived, as
// in TestCamLag), 26 pitches 26/20 of that.
func TestTiming(t *testing.T) {
	perJoint := wear.Figure(exact(0.005 * 9.525))
	all := must[[]wear.CamTiming](t)(twinCam().Timing(perJoint))
	if len(all) != 2 || all[0].Name != "intake" || all[1].Name != "exhaust" {
		t.Fatalf("%+v", all)
	}
	near(t, "exhaust", all[1].Lag.Cam.Most.Value, 0.946, 0.0005)
	near(t, "intake", all[0].Lag.Cam.Most.Value, 0.946*26/20, 0.0007)
	near(t, "share of a tooth", all[1].OfTooth, 0.946/9.474, 0.0001)
}

func TestSlack(t *testing.T) {
	perJoint := wear.Figure(exact(0.06))
	g := must[wear.Growth](t)(twinCam().Slack(perJoint))
	near(t, "least", g.Least.Value, 51*0.06, 1e-12)
	near(t, "most", g.Most.Value, 110*0.06, 1e-12)

	// The least slack against the geometry itself: two wheels at a fixed
	// centre, chain and pitch circles grown together by 0.5 %.
	const p, centre, z1, z2, grown = 9.525, 200.0, 19, 38, 1.005
	length := must[float64](t)(wear.ExactLinksInLoop(p, centre, z1, z2)) * p
	path := must[float64](t)(wear.ExactLinksInLoop(p*grown, centre, z1, z2)) * p * grown
	strand := must[float64](t)(wear.StrandPitches(p, centre, z1, z2, false))
	d := wear.Drive{Pitch: p, Joints: 72, Wheels: []wear.Wheel{
		{Name: "crank", Kind: wear.Driver, Teeth: z1, ToNext: strand},
		{Name: "cam", Kind: wear.Cam, Teeth: z2, ToNext: strand},
	}}
	g = must[wear.Growth](t)(d.Slack(wear.Figure(exact((grown - 1) * p))))
	// First order in the growth: the rest is of the order growth x (r2-r1)^2/a.
	near(t, "slack by geometry", g.Least.Value, length*grown-path, 2*0.005*28.7*28.7/centre)
}

// Straight strands between wheels: 160 mm centres, both wheels alike, hold 20
// pitches of 8 mm; a crossed strand is sqrt(a^2 - 4 r^2).
func TestStrandPitches(t *testing.T) {
	near(t, "open", must[float64](t)(wear.StrandPitches(8, 160, 30, 30, false)), 20, 1e-12)
	d := must[float64](t)(wear.PitchDiameter(8, 30))
	near(t, "crossed", must[float64](t)(wear.StrandPitches(8, 160, 30, 30, true)), math.Sqrt(160*160-d*d)/8, 1e-12)
}

func TestDriveRefusesNonsense(t *testing.T) {
	for name, change := range map[string]func(*wear.Drive){
		"no driver":      func(d *wear.Drive) { d.Wheels[1].Kind = wear.Idler },
		"two drivers":    func(d *wear.Drive) { d.Wheels[0].Kind = wear.Driver },
		"no teeth":       func(d *wear.Drive) { d.Wheels[2].Teeth = 0 },
		"no strand":      func(d *wear.Drive) { d.Wheels[2].ToNext = 0 },
		"no pitch":       func(d *wear.Drive) { d.Pitch = 0 },
		"short chain":    func(d *wear.Drive) { d.Joints = 50 },
		"one wheel":      func(d *wear.Drive) { d.Wheels = d.Wheels[1:2] },
		"strand unknown": func(d *wear.Drive) { d.Wheels[2].ToNext = math.NaN() },
		"no cams":        func(d *wear.Drive) { d.Wheels[2].Kind, d.Wheels[3].Kind = wear.Idler, wear.Idler },
	} {
		d := twinCam()
		change(&d)
		if _, err := d.Timing(wear.Figure(exact(0.05))); err == nil {
			t.Errorf("%s accepted", name)
		}
	}
	if _, err := twinCam().Slack(wear.Growth{}); err == nil {
		t.Error("slack of no growth accepted")
	}
}

func TestTensionerTravel(t *testing.T) {
	slack := wear.Figure(exact(2))
	// Shoe in the middle of 100 mm, bow 10: half strand sqrt(2600), grown by
	// 1 mm, bow sqrt((sqrt(2600)+1)^2 - 2500).
	shoe := wear.Tensioner{Chord: 100, Bow: 10}
	want := math.Sqrt(math.Pow(math.Sqrt(2600)+1, 2)-2500) - 10
	near(t, "shoe", must[wear.Growth](t)(shoe.Travel(slack)).Most.Value, want, 1e-9)

	// A shoe off the middle: the path it makes must be the old one plus the
	// slack.
	shoe = wear.Tensioner{Chord: 120, At: 30, Bow: 8}
	h := 8 + must[wear.Growth](t)(shoe.Travel(slack)).Most.Value
	near(t, "shoe off the middle", math.Hypot(30, h)+math.Hypot(90, h)-math.Hypot(30, 8)-math.Hypot(90, 8), 2, 1e-9)

	// A blade: the arc by its radius, (c^2/4 + h^2)/(2 h), in place of the
	// half angle the code uses.
	arc := func(c, h float64) float64 {
		r := (c*c/4 + h*h) / (2 * h)
		return 2 * r * math.Asin(c/(2*r))
	}
	blade := wear.Tensioner{Blade: true, Chord: 150, Bow: 12, Lever: 1.6}
	travel := must[wear.Growth](t)(blade.Travel(slack)).Most.Value
	near(t, "blade", arc(150, 12+travel/1.6)-arc(150, 12), 2, 1e-9)

	// A straight strand gives much travel for little slack, and its
	// uncertainty stays finite.
	straight := wear.Tensioner{Chord: 100}
	g := must[wear.Growth](t)(straight.Travel(wear.Figure(mm(0, 0.1, "slack"))))
	near(t, "no slack", g.Most.Value, 0, 1e-9)
	if !(g.Most.U > 0.1 && g.Most.U < 10) {
		t.Errorf("u of the travel on a straight strand is %g", g.Most.U)
	}

	// The sensitivity of the bow to the length: (strand/2)/bow for a shoe in
	// the middle.
	shoe = wear.Tensioner{Chord: 100, Bow: 10}
	g = must[wear.Growth](t)(shoe.Travel(wear.Figure(mm(0, 0.01, "slack"))))
	near(t, "u", g.Most.U, 0.01*math.Sqrt(2600)/20, 1e-5)

	for name, bad := range map[string]wear.Tensioner{
		"no chord":    {Bow: 1},
		"big bow":     {Chord: 100, Bow: 51},
		"shoe beyond": {Chord: 100, At: 100, Bow: 5},
		"lever":       {Chord: 100, Bow: 5, Lever: -1},
		"not number":  {Chord: 100, Bow: math.NaN()},
	} {
		if _, err := bad.Travel(slack); err == nil {
			t.Errorf("%s accepted", name)
		}
	}
	if _, err := shoe.Travel(wear.Figure(exact(500))); err == nil {
		t.Error("slack beyond a half circle accepted")
	}
	if _, err := shoe.Travel(wear.Figure(exact(-5))); err == nil {
		t.Error("strand shorter than its chord accepted")
	}
}

func ExampleDrive_Timing() {
	drive := wear.Drive{Pitch: 8, Joints: 100, Wheels: []wear.Wheel{
		{Name: "crank", Kind: wear.Driver, Teeth: 18, ToNext: 35},
		{Name: "cam", Kind: wear.Cam, Teeth: 36, ToNext: 30},
	}}
	cams, err := drive.Timing(wear.Figure(exact(0.016)))
	if err != nil {
		panic(err)
	}
	for _, c := range cams {
		fmt.Printf("%s: %g pitches pull, %.2f mm longer, %.2f deg late at the crankshaft\n", c.Name, c.Strand, c.Growth.Most.Value, c.Lag.Crank.Most.Value)
	}
	// Output: cam: 30 pitches pull, 0.48 mm longer, 1.20 deg late at the crankshaft
}

func ExampleTensioner_Travel() {
	blade := wear.Tensioner{Blade: true, Chord: 180, Bow: 15}
	travel, err := blade.Travel(wear.Figure(exact(3)))
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.1f mm\n", travel.Most.Value)
	// Output: 5.8 mm
}
