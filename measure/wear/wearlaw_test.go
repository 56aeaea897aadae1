package wear_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func newtons(v, u float64) uncert.Quantity {
	return uncert.Combine(v, "N", uncert.Budget{{Name: "pull", U: u}})
}

// handbookRun is the worked example of the wear law (derived, no publication
// claimed): 08B, pin 4.45 mm, bush 11.30 mm long, 1000 N in the tight strand of
// 19 and 38 teeth, k = 1e-17 m2/N assumed.
func handbookRun(circuits float64) wear.Running {
	return wear.Running{Force: newtons(1000, 0), PinDiameter: 4.45, BushLength: 11.30, Bends: []int{19, 38}, Circuits: circuits}
}

func TestWearLaw(t *testing.T) {
	one := handbookRun(1)
	p := must[uncert.Quantity](t)(one.Pressure())
	near(t, "pressure, MPa", p.Value, 19.887, 0.0005)
	near(t, "area, mm2", 1000/p.Value, 50.285, 0.0005)
	near(t, "sliding path of a circuit, mm", must[float64](t)(one.SlidingPath()), 1.10369, 0.000005)

	// 2.1949e-13 m a circuit: five digits, so k to half of the last in 21949.
	k := must[uncert.Quantity](t)(one.Coefficient(exact(2.1949e-10)))
	near(t, "k of one circuit, 1e-18 m2/N", k.Value, 10, 10*0.00005/2.1949)
	// 0.127 mm, one percent of the pitch, after 5.786e8 circuits.
	k = must[uncert.Quantity](t)(handbookRun(5.786e8).Coefficient(exact(0.127)))
	near(t, "k of 5.786e8 circuits, 1e-18 m2/N", k.Value, 10, 10*0.0005/5.786)
	if k.Unit != "nm2/N" {
		t.Errorf("k in %q", k.Unit)
	}
	// 100 links at 10 m/s: 20 412 h.
	n := must[float64](t)(wear.Circuits(10, 20412, 12.7, 100))
	near(t, "circuits", n/1e8, 5.786, 0.0005)
	k = must[uncert.Quantity](t)(handbookRun(n).Coefficient(exact(0.127)))
	near(t, "k of 20 412 h, 1e-18 m2/N", k.Value, 10, 10*0.5/20412)
}

// Depth and pull add up as relative uncertainties: 4 % and 3 % make 5 %.
func TestWearCoefficientUncertainty(t *testing.T) {
	r := handbookRun(5.786e8)
	r.Force = newtons(1000, 30)
	k := must[uncert.Quantity](t)(r.Coefficient(mm(0.127, 0.04*0.127, "caliper")))
	near(t, "relative u", k.U/k.Value, 0.05, 1e-12)
	near(t, "parts", float64(len(k.Budget)), 2, 0)
}

// A drive of two wheels has one tight strand; with two cams and an idler there
// are three, and each has a wheel at either end.
func TestDriveBends(t *testing.T) {
	two := wear.Drive{Pitch: 12.7, Joints: 100, Wheels: []wear.Wheel{
		{Name: "driver", Kind: wear.Driver, Teeth: 19, ToNext: 35}, {Name: "driven", Kind: wear.Cam, Teeth: 38, ToNext: 35},
	}}
	for _, r := range []struct {
		name  string
		drive wear.Drive
		want  []int
	}{{"two wheels", two, []int{38, 19}}, {"twin cam", twinCam(), []int{24, 19, 38, 38, 38, 24}}} {
		if got := must[[]int](t)(r.drive.Bends()); fmt.Sprint(got) != fmt.Sprint(r.want) {
			t.Errorf("%s: %v, want %v", r.name, got, r.want)
		}
	}
	if _, err := (wear.Drive{}).Bends(); err == nil {
		t.Error("bends of no drive accepted")
	}
}

func TestRunningRefusesNonsense(t *testing.T) {
	for name, change := range map[string]func(*wear.Running){
		"no pull":         func(r *wear.Running) { r.Force = newtons(0, 1) },
		"pull in kg":      func(r *wear.Running) { r.Force = uncert.Combine(100, "kg", nil) },
		"no pin":          func(r *wear.Running) { r.PinDiameter = 0 },
		"no bush":         func(r *wear.Running) { r.BushLength = -1 },
		"no wheels":       func(r *wear.Running) { r.Bends = nil },
		"two teeth":       func(r *wear.Running) { r.Bends = []int{19, 2} },
		"no circuits":     func(r *wear.Running) { r.Circuits = 0 },
		"not a number":    func(r *wear.Running) { r.Circuits = math.NaN() },
		"needle":          func(r *wear.Running) { r.BushLength = 1e-300 },
		"endless sliding": func(r *wear.Running) { r.Circuits, r.PinDiameter = 1e12, 1e3 },
		"feather":         func(r *wear.Running) { r.Force = newtons(1e-300, 0) },
	} {
		r := handbookRun(5.786e8)
		change(&r)
		if k, err := r.Coefficient(exact(0.127)); err == nil {
			t.Errorf("%s accepted: %v", name, k)
		}
	}
	if _, err := handbookRun(1).Coefficient(percent(1)); err == nil {
		t.Error("depth in percent accepted")
	}
	for _, bad := range [][3]float64{{0, 1, 12.7}, {10, -1, 12.7}, {10, 1, math.Inf(1)}} {
		if _, err := wear.Circuits(bad[0], bad[1], bad[2], 100); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
	if _, err := wear.Circuits(10, 1, 12.7, 0); err == nil {
		t.Error("chain of no links accepted")
	}
}

// One material gives one k however it was run: depth made by the law forward,
// from K F s/H over the area, comes back as K/H; and the pin's diameter has no
// part in it.
func TestWearLawLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := wear.Running{
			Force:       newtons(rapid.Float64Range(10, 1e4).Draw(t, "pull"), 0),
			PinDiameter: rapid.Float64Range(2, 10).Draw(t, "pin"), BushLength: rapid.Float64Range(5, 30).Draw(t, "bush"),
			Bends:    rapid.SliceOfN(rapid.IntRange(11, 60), 2, 6).Draw(t, "teeth"),
			Circuits: rapid.Float64Range(1e3, 1e9).Draw(t, "circuits"),
		}
		// Mild and severe wear (K about 1e-8 and 1e-2, any tribology text) in
		// steel of 7 GPa, in mm and N.
		kOverH := rapid.Float64Range(1e-8, 1e-2).Draw(t, "K") / 7000
		slid := 0.0
		for _, z := range r.Bends {
			slid += r.Circuits * math.Pi * r.PinDiameter / float64(z)
		}
		depth := kOverH * r.Force.Value * slid / (r.PinDiameter * r.BushLength)
		k, err := r.Coefficient(exact(depth))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(k.Value*1e-12/kOverH-1) > 1e-12 {
			t.Fatalf("k %g nm2/N, want %g mm2/N", k.Value, kOverH)
		}
		r.PinDiameter *= 2
		thick, err := r.Coefficient(exact(depth))
		if err != nil || math.Abs(thick.Value/k.Value-1) > 1e-12 {
			t.Fatalf("with a pin twice as thick %g, %v; want %g", thick.Value, err, k.Value)
		}
	})
}

func ExampleRunning_Coefficient() {
	circuits, err := wear.Circuits(10, 20412, 12.7, 100)
	if err != nil {
		panic(err)
	}
	run := wear.Running{
		Force:       uncert.Combine(1000, "N", uncert.Budget{{Name: "pull", U: 50}}),
		PinDiameter: 4.45, BushLength: 11.3, Bends: []int{19, 38}, Circuits: circuits,
	}
	k, err := run.Coefficient(uncert.Combine(0.127, "mm", uncert.Budget{{Name: "caliper", U: 0.005}}))
	if err != nil {
		panic(err)
	}
	fmt.Println(k)
	// Output: 10.00 nm2/N (u 0.64, 95 % from 8.75 to 11.25)
}
