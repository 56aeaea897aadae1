package wear_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// The per-joint model (derived): play 0.146, new 0.05, pitch 9.525 mm.
func TestJointGrowthModel(t *testing.T) {
	for _, r := range []struct {
		name        string
		share       wear.Share
		least, most float64 // mm
		leastPercent,
		mostPercent float64
	}{
		{"one-sided", wear.OneSided(), 0.096, 0.096, 1.008, 1.008},
		{"all round", wear.AllRound(), 0.048, 0.048, 0.504, 0.504},
		{"not known", wear.Share{}, 0.048, 0.096, 0.504, 1.008},
	} {
		g, err := wear.JointGrowth(exact(0.146), exact(0.05), r.share)
		if err != nil {
			t.Fatal(err)
		}
		near(t, r.name+" least", g.Least.Value, r.least, 1e-12)
		near(t, r.name+" most", g.Most.Value, r.most, 1e-12)
		p, err := g.PercentOf(9.525)
		if err != nil {
			t.Fatal(err)
		}
		near(t, r.name+" least %", p.Least.Value, r.leastPercent, 0.0005)
		near(t, r.name+" most %", p.Most.Value, r.mostPercent, 0.0005)
		if g.Known() != (r.least == r.most) {
			t.Errorf("%s: Known() = %v", r.name, g.Known())
		}
	}
}

// Published growths: 1/16 in over 24 joints of 1/2 in is 0.0661 mm a joint,
// 0.521 % (a thread on measuring chain stretch); 24 pitches of 1 in measured
// 24.75 in, 3.125 % (a page on when to replace roller chain).
func TestPublishedElongations(t *testing.T) {
	const inch = 25.4
	for _, r := range []struct {
		name                        string
		read, nominal, pitch        float64
		pitches                     int
		perJoint, tolJoint, percent float64
	}{
		{"1/16 in over 12 in", 12.0625 * inch, 12 * inch, 0.5 * inch, 24, 0.0661, 0.00005, 0.521},
		{"24.75 in of 24 in", 24.75 * inch, 24 * inch, inch, 24, 0.79375, 1e-9, 3.125},
		// Textbook and common-practice limits of a motorcycle's final drive:
		// 21 pins are 20 pitches.
		{"21 pins, 254 to 261 mm", 261, 254, 12.7, 20, 0.35, 1e-9, 2.756},
		{"20 pitches, 317.5 to 327 mm", 327, 317.5, 15.875, 20, 0.475, 1e-9, 2.992},
	} {
		g, err := wear.GrowthOfSpan(exact(r.read), exact(r.nominal), r.pitches, wear.UnknownLink, wear.PinToPin)
		if err != nil {
			t.Fatal(err)
		}
		near(t, r.name+" per joint", g.PerJoint.Most.Value, r.perJoint, r.tolJoint)
		p, err := g.Elongation(r.pitch)
		if err != nil {
			t.Fatal(err)
		}
		near(t, r.name+" %", p.Most.Value, r.percent, 0.0005)
	}
}

func TestJointGrowthCarriesUncertainty(t *testing.T) {
	play := uncert.Combine(0.146, "mm", uncert.Budget{{Name: "edges", U: 0.003}, {Name: "scale", U: 0.0004}})
	fresh := uncert.Combine(0.050, "mm", uncert.Budget{{Name: "edges", U: 0.004}, {Name: "scale", U: 0.0001}})
	g := must[wear.Growth](t)(wear.JointGrowth(play, fresh, wear.OneSided()))
	near(t, "u, independent", g.Most.U, math.Sqrt(0.003*0.003+0.004*0.004+0.0004*0.0004+0.0001*0.0001), 1e-12)
	g = must[wear.Growth](t)(wear.JointGrowth(play, fresh, wear.OneSided(), "scale"))
	near(t, "u, one scale", g.Most.U, math.Sqrt(0.003*0.003+0.004*0.004+0.0003*0.0003), 1e-12)

	// A measured share adds its own part: g = f d, u^2 = (d uf)^2 + (f ud)^2.
	f := must[wear.Share](t)(wear.ShareOf(uncert.Combine(0.8, "", uncert.Budget{{Name: "profile", U: 0.05}})))
	g = must[wear.Growth](t)(wear.JointGrowth(mm(0.146, 0.003, "edges"), exact(0.05), f))
	near(t, "growth", g.Most.Value, 0.8*0.096, 1e-12)
	near(t, "u with a measured share", g.Most.U, math.Hypot(0.096*0.05, 0.8*0.003), 1e-12)

	// Between the ends of an unknown shape: f is 0.75 with u = 0.25/sqrt(3).
	g = must[wear.Growth](t)(wear.JointGrowth(mm(0.146, 0.003, "edges"), exact(0.05), wear.Share{}))
	mid := g.Mid()
	near(t, "mid", mid.Value, 0.072, 1e-12)
	near(t, "u of mid", mid.U, math.Hypot(0.096*0.25/math.Sqrt(3), 0.75*0.003), 1e-12)
}

func TestMeanPlay(t *testing.T) {
	joint := func(v float64) uncert.Quantity {
		return uncert.Combine(v, "mm", uncert.Budget{{Name: "edges", U: 0.001}, {Name: "scale", U: 0.002}})
	}
	plays := []uncert.Quantity{joint(0.10), joint(0.12), joint(0.14), joint(0.16)}
	mean := must[uncert.Quantity](t)(wear.MeanPlay(plays, "scale"))
	near(t, "mean", mean.Value, 0.13, 1e-12)
	// Scatter s = 0.0258199, over sqrt(4); the scale does not shrink.
	near(t, "u", mean.U, math.Hypot(0.02581989/2, 0.002), 1e-8)

	// Joints alike by luck are no better known than they were measured.
	alike := []uncert.Quantity{joint(0.13), joint(0.13), joint(0.13), joint(0.13)}
	mean = must[uncert.Quantity](t)(wear.MeanPlay(alike, "scale"))
	near(t, "u of joints alike", mean.U, math.Hypot(0.001/2, 0.002), 1e-12)

	one := must[uncert.Quantity](t)(wear.MeanPlay(plays[:1], "scale"))
	near(t, "u of one joint", one.U, plays[0].U, 1e-15)
}

// The 95 % interval of a chain's growth, from the mean of five joints read
// with one scale of unknown error, covers the truth as often as it says. 4000
// trials have a standard deviation of 0.34 %; the bound is four of them.
func TestMeanPlayCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const trials, truth, newPlay, spread, noise, scale = 4000, 0.130, 0.050, 0.015, 0.004, 0.003
	covered := 0
	for range trials {
		scaleError := 1 + scale*rng.NormFloat64()
		plays := make([]uncert.Quantity, 5)
		for i := range plays {
			v := (truth + spread*rng.NormFloat64() + noise*rng.NormFloat64()) * scaleError
			plays[i] = uncert.Combine(v, "mm", uncert.Budget{{Name: "edges", U: noise}, {Name: "scale", U: scale * math.Abs(v)}})
		}
		mean, err := wear.MeanPlay(plays, "scale")
		if err != nil {
			t.Fatal(err)
		}
		g, err := wear.JointGrowth(mean, exact(newPlay), wear.OneSided())
		if err != nil {
			t.Fatal(err)
		}
		if g.Most.Lower <= truth-newPlay && truth-newPlay <= g.Most.Upper {
			covered++
		}
	}
	near(t, "coverage %", 100*float64(covered)/trials, 95, 4*0.345)
}

func TestGrowthRefusesNonsense(t *testing.T) {
	good, nan := exact(0.1), uncert.Quantity{Value: math.NaN(), Unit: "mm"}
	inches := uncert.Combine(0.1, "in", nil)
	for name, bad := range map[string]uncert.Quantity{"not a number": nan, "inches": inches, "negative": exact(-0.1), "infinite bound": {Value: 1, Unit: "mm", Upper: math.Inf(1)}} {
		if _, err := wear.JointGrowth(bad, good, wear.OneSided()); err == nil {
			t.Errorf("%s play accepted", name)
		}
		if _, err := wear.JointGrowth(good, bad, wear.OneSided()); err == nil {
			t.Errorf("%s new play accepted", name)
		}
	}
	if _, err := wear.MeanPlay(nil); err == nil {
		t.Error("mean of no joints accepted")
	}
	for _, f := range []float64{0.2, 1.3} {
		if _, err := wear.ShareOf(uncert.Combine(f, "", uncert.Budget{{Name: "profile", U: 0.05}})); err == nil {
			t.Errorf("share %g accepted", f)
		}
	}
	g := wear.Figure(good)
	if _, err := g.Joints(0); err == nil {
		t.Error("growth of no joints accepted")
	}
	if _, err := g.PercentOf(0); err == nil {
		t.Error("percent of no length accepted")
	}
	if p, err := g.PercentOf(1); err != nil || p.Most.Unit != "%" {
		t.Errorf("percent: %v %v", p, err)
	} else if _, err := p.PercentOf(1); err == nil {
		t.Error("percent of a percentage accepted")
	}
}

func TestGrowthLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		play := rapid.Float64Range(0, 1).Draw(t, "play")
		fresh := rapid.Float64Range(0, 1).Draw(t, "new play")
		u := rapid.Float64Range(0, 0.1).Draw(t, "u")
		factor := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		pitch := rapid.Float64Range(1, 100).Draw(t, "pitch")
		share := rapid.SampledFrom([]wear.Share{wear.OneSided(), wear.AllRound(), {}}).Draw(t, "share")
		grow := func(a, b uncert.Quantity) wear.Growth {
			g, err := wear.JointGrowth(a, b, share)
			if err != nil {
				t.Fatal(err)
			}
			return g
		}
		same := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9*max(1, math.Abs(want)) {
				t.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		a, b := mm(play, u, "edges"), mm(fresh, u/2, "edges")
		g := grow(a, b)

		scaled := grow(mm(play*factor, u*factor, "edges"), mm(fresh*factor, u/2*factor, "edges"))
		same("growth is linear in play", scaled.Most.Value, factor*g.Most.Value)
		same("so is its uncertainty", scaled.Most.U, factor*g.Most.U)

		swapped := grow(b, a)
		same("swapping new and used changes the sign", swapped.Least.Value, -g.Most.Value)
		same("and swaps the ends", swapped.Most.Value, -g.Least.Value)

		single, err1 := g.PercentOf(pitch)
		double, err2 := g.PercentOf(2 * pitch)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		same("doubling the pitch halves the percentage", double.Most.Value, single.Most.Value/2)
		same("and its bounds", double.Most.Upper, single.Most.Upper/2)

		if g.Least.Value > g.Most.Value {
			t.Fatalf("ends out of order: %v", g)
		}
		if mid := g.Mid(); mid.Value < g.Least.Value-1e-12 || mid.Value > g.Most.Value+1e-12 {
			t.Fatalf("mid %g is outside %g to %g", mid.Value, g.Least.Value, g.Most.Value)
		}
	})
}

// The mean does not depend on the order of the joints.
func TestMeanPlayOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 8).Draw(t, "plays")
		plays := make([]uncert.Quantity, len(values))
		for i, v := range values {
			plays[i] = uncert.Combine(v, "mm", uncert.Budget{{Name: "edges", U: 0.01}, {Name: "scale", U: 0.01 * v}})
		}
		a, err := wear.MeanPlay(plays, "scale")
		if err != nil {
			t.Fatal(err)
		}
		slices.Reverse(plays)
		b, err := wear.MeanPlay(plays, "scale")
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.Value-b.Value) > 1e-12 || math.Abs(a.U-b.U) > 1e-12 {
			t.Fatalf("%v and %v", a, b)
		}
	})
}

func ExampleJointGrowth() {
	play := uncert.Combine(0.146, "mm", uncert.Budget{{Name: "edges", U: 0.002}})
	newPlay := uncert.Combine(0.050, "mm", nil)
	g, err := wear.JointGrowth(play, newPlay, wear.Share{})
	if err != nil {
		panic(err)
	}
	percent, err := g.PercentOf(9.525)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.2f %% to %.2f %%, %s\n", percent.Least.Value, percent.Most.Value, percent.Open)
	// Output: 0.50 % to 1.01 %, shape of the wear not known
}
