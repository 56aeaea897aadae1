package wear_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// Lags derived from lag = strand growth / pitch radius.
func TestCamLag(t *testing.T) {
	for _, r := range []struct {
		name          string
		growth, pitch float64
		teeth         int
		radius        float64
		cam, crank    float64
		tol           float64
	}{
		{"1 mm, p 8, z 36", 1, 8, 36, 45.8949, 1.2484, 2.4968, 0.00005},
		{"1 mm, p 9.525, z 36", 1, 9.525, 36, 54.6436, 1.0485, 2.0971, 0.00005},
		{"1 mm, p 9.525, z 38", 1, 9.525, 38, 57.6718, 0.9935, 1.9870, 0.00005},
		{"1 mm, p 9.525, z 42", 1, 9.525, 42, 63.7293, 0.8990, 1.7981, 0.00005},
		{"1 mm, p 6.35, z 42", 1, 6.35, 42, 42.4862, 1.3486, 2.6971, 0.00005},
		{"20 pitches, 0.5 %", 20 * 0.005 * 9.525, 9.525, 38, 57.6718, 0.946, 1.893, 0.0005},
		{"30 pitches, 0.2 %", 30 * 0.002 * 8, 8, 36, 45.8949, 0.599, 1.198, 0.0005},
		// Taking the whole chain for the strand: 90 links, 0.060 mm each.
		{"whole chain, wrongly", 5.400, 9.525, 38, 57.6718, 5.365, 10.73, 0.0008},
		{"tight strand of 12 links", 0.720, 9.525, 38, 57.6718, 0.7153, 1.4306, 0.00006},
	} {
		near(t, r.name+" radius", must[float64](t)(wear.PitchDiameter(r.pitch, r.teeth))/2, r.radius, 0.00005)
		lag := must[wear.Lag](t)(wear.CamLag(wear.Figure(exact(r.growth)), r.pitch, r.teeth))
		near(t, r.name+" cam", lag.Cam.Most.Value, r.cam, r.tol)
		near(t, r.name+" crank", lag.Crank.Most.Value, r.crank, r.tol)
	}
}

// 360/z degrees of the cam (derived).
func TestJumpedTooth(t *testing.T) {
	for z, want := range map[int]float64{36: 10.000, 38: 9.474, 42: 8.571} {
		lag := must[wear.Lag](t)(wear.JumpedTooth(z))
		near(t, fmt.Sprintf("z %d", z), lag.Cam.Most.Value, want, 0.0005)
		near(t, fmt.Sprintf("z %d, crank", z), lag.Crank.Most.Value, 2*want, 0.001)
	}
}

// 10 degrees are 0.698 in on an 8 in damper, published as about 0.7 (a page on
// estimating timing chain wear; re-computed).
func TestDamperArc(t *testing.T) {
	near(t, "8 in damper", must[float64](t)(wear.DamperArc(8*25.4, 10))/25.4, 0.698, 0.0005)
}

func TestCamLagRefusesNonsense(t *testing.T) {
	for name, err := range map[string]error{
		"percent":      second(wear.CamLag(wear.Figure(uncert.Combine(1, "%", nil)), 8, 36)),
		"no teeth":     second(wear.CamLag(wear.Figure(exact(1)), 8, 0)),
		"no pitch":     second(wear.CamLag(wear.Figure(exact(1)), 0, 36)),
		"not a number": second(wear.CamLag(wear.Figure(uncert.Quantity{Value: math.NaN(), Unit: "mm"}), 8, 36)),
		"tooth of 2":   second(wear.JumpedTooth(2)),
		"no damper":    second(wear.DamperArc(0, 10)),
		"damper angle": second(wear.DamperArc(200, math.Inf(1))),
	} {
		if err == nil {
			t.Errorf("%s accepted", name)
		}
	}
}

func TestCamLagLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		play := rapid.Float64Range(0, 1).Draw(t, "play")
		factor := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		teeth := rapid.IntRange(12, 60).Draw(t, "teeth")
		pitches := rapid.Float64Range(1, 60).Draw(t, "pitches")
		lag := func(p float64) wear.Lag {
			joint, err := wear.JointGrowth(mm(p, 0.1*p, "edges"), exact(0), wear.Share{})
			if err != nil {
				t.Fatal(err)
			}
			strand, err := wear.Strand(joint, pitches)
			if err != nil {
				t.Fatal(err)
			}
			l, err := wear.CamLag(strand, 9.525, teeth)
			if err != nil {
				t.Fatal(err)
			}
			return l
		}
		one, more := lag(play), lag(play*factor)
		if math.Abs(more.Cam.Most.Value-factor*one.Cam.Most.Value) > 1e-9*(1+more.Cam.Most.Value) {
			t.Fatal("lag is not linear in play")
		}
		if math.Abs(more.Cam.Most.U-factor*one.Cam.Most.U) > 1e-9*(1+more.Cam.Most.U) {
			t.Fatal("its uncertainty is not linear in play")
		}
		if one.Crank.Least.Value != 2*one.Cam.Least.Value || one.Cam.Most.Unit != "deg" {
			t.Fatal("crank is not twice cam, in degrees")
		}
	})
}

func ExampleCamLag() {
	strand := wear.Figure(uncert.Combine(0.9525, "mm", uncert.Budget{{Name: "scale", U: 0.01}}))
	lag, err := wear.CamLag(strand, 9.525, 38)
	if err != nil {
		panic(err)
	}
	fmt.Printf("cam %.3f deg, crank %.3f deg\n", lag.Cam.Most.Value, lag.Crank.Most.Value)
	// Output: cam 0.946 deg, crank 1.893 deg
}
