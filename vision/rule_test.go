package vision

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// randomScene is a rule such as people photograph.
func randomScene(seed uint64) ruleScene {
	rng := rand.New(rand.NewPCG(seed, 99))
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s := ruleScene{w: 1280, h: 960, seed: seed}
	s.period = math.Exp(between(math.Log(8), math.Log(120)))
	s.angle = between(-math.Pi, math.Pi)
	s.length = between(2.2, 5)
	if s.period > 40 {
		s.length = between(1.5, 2.5)
	}
	s.width = between(0.12, 0.3)
	s.blur = between(0.6, min(3, s.period/6))
	s.longEvery = []int{5, 5, 2, 4, 0}[rng.IntN(5)]
	s.marks = max(10, min(200, int(between(0.5, 1)*1100/s.period)))
	s.middle = r2.Vec{X: 640 + between(-60, 60), Y: 480 + between(-60, 60)}
	s.noise = between(0.5, 6)
	s.light, s.dark = between(0.35, 0.8), between(0.02, 0.12)
	if rng.IntN(4) == 0 {
		s.light, s.dark = s.dark, s.light
	}
	s.tilt = between(-0.02, 0.02)
	s.tiltAcross = between(-0.02, 0.02)
	s.gradient = between(-0.5, 0.5)
	s.digits = rng.IntN(2) == 0
	s.brushed = rng.IntN(2) == 0
	if s.marks >= 30 {
		s.covered = between(0, 0.2)
		s.glare = rng.IntN(3)
	}
	return s
}

// ruleErrors compares a found rule with its scene: the worst and the rms
// distance of a mark from the true mark's line and the relative error of the
// period in the middle. It fails when a mark carries a wrong number.
func ruleErrors(s ruleScene, r geom.Rule) (worst, rms, period, z float64, err error) {
	number := func(p r2.Vec) float64 { t, _ := s.onRule(p); return s.number(t) }
	var at0 int
	sign := 1
	for i, tick := range r.Ticks {
		n := number(tick.At)
		k := int(math.Round(n))
		if k < 0 || k >= s.marks {
			return 0, 0, 0, 0, fmt.Errorf("mark %d lies at %.2f, beyond the rule's %d marks", tick.K, n, s.marks)
		}
		if i == 0 {
			at0 = k
			if number(r.Ticks[1].At) < n {
				sign = -1
			}
		} else if k-at0 != sign*(tick.K-r.Ticks[0].K) {
			return 0, 0, 0, 0, fmt.Errorf("mark %d is really mark %d", tick.K, k-at0)
		}
		t, w := s.onRule(tick.At)
		d := r2.Norm(r2.Sub(tick.At, s.pixelOf(t+float64(k)-n, w)))
		worst = max(worst, d)
		rms += d * d
		z += d * d / (tick.U * tick.U)
	}
	n := len(r.Ticks)
	// The true distance of marks along the found base line, where the rule
	// states its period: at the middle mark.
	first, last := r.Ticks[0], r.Ticks[n-1]
	along := r2.Unit(r2.Sub(last.At, first.At))
	mid := float64(first.K+last.K) / 2
	target := float64(at0) + float64(sign)*(mid-float64(first.K))
	lo, hi := first.At, last.At
	for range 60 {
		m := r2.Scale(0.5, r2.Add(lo, hi))
		if float64(sign)*(number(m)-target) < 0 {
			lo = m
		} else {
			hi = m
		}
	}
	const step = 0.01
	rate := math.Abs(number(r2.Add(lo, r2.Scale(step, along)))-number(r2.Sub(lo, r2.Scale(step, along)))) / (2 * step)
	return worst, math.Sqrt(rms / float64(n)), r.Period*rate - 1, math.Sqrt(z / float64(n)), nil
}

func TestFindRuleSweep(t *testing.T) {
	const scenes = 60
	var missed, wrongOrder int
	var ppm, pz, tz []float64
	for seed := range uint64(scenes) {
		s := randomScene(seed)
		found, err := FindRule(s.draw())
		if err != nil {
			missed++
			t.Logf("scene %d (period %.1f, %d marks, blur %.1f, noise %.1f, covered %.2f): %v", seed, s.period, s.marks, s.blur, s.noise, s.covered, err)
			continue
		}
		worst, rms, period, z, err := ruleErrors(s, found.Rule)
		if err != nil {
			t.Errorf("scene %d: %v", seed, err)
			continue
		}
		t.Logf("scene %d p %.1f blur %.1f noise %.1f: %d/%d/%d worst %.3f rms %.3f ppm %.0f u %.0f z %.2f btw %.2f second %v bright %v", seed, s.period, s.blur, s.noise, len(found.Ticks), found.Expected, s.marks, worst, rms, period*1e6, found.UPeriod/found.Period*1e6, z, found.Checks[7].Value, found.Second != nil, found.Bright)
		if found.Second != nil {
			t.Errorf("scene %d: a second rule of period %.1f was seen", seed, found.Second.Period)
		}
		if found.LongEvery != s.longEvery {
			wrongOrder++
			t.Logf("scene %d: long marks every %d, want %d", seed, found.LongEvery, s.longEvery)
		}
		ppm = append(ppm, math.Abs(period)*1e6)
		pz = append(pz, math.Abs(period)*found.Period/found.UPeriod)
		tz = append(tz, z)
	}
	slices.Sort(ppm)
	slices.Sort(pz)
	slices.Sort(tz)
	n := len(ppm)
	t.Logf("missed %d of %d; period error median %.0f, 95 %% %.0f, worst %.0f ppm; error/uncertainty median %.2f, 95 %% %.2f; marks %.2f, %.2f; order wrong %d",
		missed, scenes, ppm[n/2], ppm[n*95/100], ppm[n-1], pz[n/2], pz[n*95/100], tz[n/2], tz[n*95/100], wrongOrder)
}

func refusalCode(t *testing.T, g raster.Gray) check.Code {
	t.Helper()
	found, err := FindRule(g)
	if err == nil {
		t.Errorf("found a rule of period %.2f with %d marks", found.Period, len(found.Ticks))
		return ""
	}
	var r *check.Refusal
	if !errors.As(err, &r) {
		t.Fatalf("error %v is no refusal", err)
	}
	return r.Code
}
