package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/vision/raster"
)

// pattern renders a picture from its light at a place, 3 x 3 samples a pixel.
func pattern(w, h int, noise float64, seed uint64, light func(x, y float64) float64) raster.Gray {
	g := raster.NewGray(w, h)
	for y := range h {
		row := g.Row(y)
		for x := range row {
			var sum float64
			for i := range 9 {
				sum += light(float64(x)+float64(i%3-1)/3, float64(y)+float64(i/3-1)/3)
			}
			row[x] = float32(sum / 9)
		}
	}
	develop8(g, noise, rand.New(rand.NewPCG(seed, 3)))
	return g
}

// wave is the distance from v to the nearest multiple of period.
func wave(v, period float64) float64 { return math.Abs(v - period*math.Round(v/period)) }

func turned(x, y, angle float64) (float64, float64) {
	c, s := math.Cos(angle), math.Sin(angle)
	return x*c + y*s, -x*s + y*c
}

// Things with lines at even distances that are not rules.
func TestFindRuleRefusesPatterns(t *testing.T) {
	lines := func(on bool) float64 {
		if on {
			return 0.08
		}
		return 0.5
	}
	patterns := []struct {
		name  string
		light func(x, y float64) float64
	}{
		{"plain", func(x, y float64) float64 { return 0.4 }},
		{"bricks", func(x, y float64) float64 {
			row := math.Floor(y / 40)
			return lines(wave(y, 40) < 2 || wave(x+45*math.Mod(row, 2), 90) < 2)
		}},
		{"bricks turned", func(x, y float64) float64 {
			x, y = turned(x, y, 0.4)
			row := math.Floor(y / 24)
			return lines(wave(y, 24) < 2 || wave(x+27*math.Mod(row, 2), 54) < 2)
		}},
		{"mesh", func(x, y float64) float64 {
			x, y = turned(x, y, 0.2)
			return lines(wave(x, 24) < 3 || wave(y, 24) < 3)
		}},
		{"coarse mesh", func(x, y float64) float64 {
			x, y = turned(x, y, 0.7)
			return lines(wave(x, 70) < 5 || wave(y, 70) < 5)
		}},
		{"oblong mesh", func(x, y float64) float64 { return lines(wave(x, 30) < 3 || wave(y, 110) < 3) }},
		{"knurl", func(x, y float64) float64 {
			u, _ := turned(x, y, 0.5)
			v, _ := turned(x, y, -0.5)
			return 0.4 + 0.18*math.Cos(u*2*math.Pi/28) + 0.18*math.Cos(v*2*math.Pi/28)
		}},
		{"grating", func(x, y float64) float64 {
			x, _ = turned(x, y, 0.3)
			return lines(wave(x, 20) < 3)
		}},
		{"holes", func(x, y float64) float64 {
			return lines(math.Hypot(wave(x, 50), wave(y, 50)) < 14)
		}},
		{"bar code", func(x, y float64) float64 {
			if y < 300 || y > 600 || x < 200 || x > 1000 {
				return 0.6
			}
			i := int(x-200) / 7
			return lines((i*i*7919+i*104729)%101 < 50)
		}},
		{"lettering", func(x, y float64) float64 {
			// Strokes in groups of three with the gaps of letters and words.
			if wave(y, 60) > 12 {
				return 0.6
			}
			return lines(wave(x, 37) < 2.5 || wave(x+11, 37) < 2.5 || wave(x, 143) < 2.5)
		}},
	}
	for i, p := range patterns {
		t.Run(p.name, func(t *testing.T) {
			g := pattern(1280, 960, 2, uint64(i), p.light)
			if code := refusalCode(t, g); code != check.NoScale && code != check.ScaleUnclear {
				t.Errorf("refused with %q", code)
			}
		})
	}
	for seed := range uint64(3) {
		t.Run("brushed metal", func(t *testing.T) {
			rng := rand.New(rand.NewPCG(seed, 5))
			a, b := newBrushing(rng, rng.Float64()*math.Pi), newBrushing(rng, rng.Float64()*math.Pi)
			g := pattern(1600, 1200, 2, seed, func(x, y float64) float64 {
				if math.Hypot(x-800, y-600) < 350 {
					return 0.35 * (1 + 0.6*a.at(x, y))
				}
				return 0.35 * (1 + 1.2*b.at(x, y))
			})
			if code := refusalCode(t, g); code != check.NoScale {
				t.Errorf("refused with %q, want %q", code, check.NoScale)
			}
		})
	}
}

// Marks of which every distance is so many places are those of a coarser rule.
func TestCommonStep(t *testing.T) {
	for _, tt := range []struct {
		k    []int
		want int
	}{
		{[]int{0, 1, 2, 3}, 1}, {[]int{-80, -78, -72, -70}, 2}, {[]int{3, 9, 12, 18}, 3}, {[]int{0, 2, 4, 7}, 1},
	} {
		var f ruleFit
		for _, k := range tt.k {
			f.marks = append(f.marks, ruleMark{k: k})
		}
		if got := f.commonStep(); got != tt.want {
			t.Errorf("%v: step %d, want %d", tt.k, got, tt.want)
		}
		if tt.want > 1 && f.missing() != 1 {
			t.Errorf("%v: places between were not found missing", tt.k)
		}
	}
}

// Marks of which every second is as faint as the space between two halos are told;
// those that merely get fainter along the rule are not.
func TestMarksUnlikeInTurn(t *testing.T) {
	for _, tt := range []struct {
		name   string
		height func(k int) float64
		alike  bool
	}{
		{"alike", func(int) float64 { return -0.6 }, true},
		{"fainter along the rule", func(k int) float64 { return -0.6 + 0.02*float64(k) }, true},
		{"every second faint", func(k int) float64 { return -0.6 + 0.4*float64(k%2) }, false},
	} {
		f := ruleFit{g: raster.NewGray(400, 40), height: -0.5}
		f.frame.along = r2.Vec{X: 1}
		for k := range 20 {
			var m ruleMark
			m.k, m.Center, m.Height = k, 20+15*float64(k), tt.height(k)
			f.marks = append(f.marks, m)
		}
		if got := f.unlike(); (got <= maxInTurn) != tt.alike {
			t.Errorf("%s: unlike by %.2f of their height", tt.name, got)
		}
	}
}
