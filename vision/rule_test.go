package vision

import (
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// randomScene is a rule such as people photograph, the worse ones included.
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
		s.glare = rng.IntN(2)
	}
	return s
}

// plainScene is an easy rule.
func plainScene() ruleScene {
	return ruleScene{
		w: 800, h: 760, period: 20, marks: 31, angle: 0.3, width: 0.2, length: 3, longEvery: 5,
		middle: r2.Vec{X: 400, Y: 370}, blur: 1.1, noise: 1.5, light: 0.6, dark: 0.06, digits: true, seed: 1,
	}
}

// ruleErrors is how a found rule differs from its scene.
type ruleErrors struct {
	worst, rms float64 // distance of a mark from the true mark's line, pixels
	// scatter is the rms of those distances about their mean, in units of
	// the stated uncertainties: a shift common to all marks is no error of
	// the scale.
	scatter float64
	period  float64 // relative error of the period
}

// compareRule finds the errors of a rule, or says which mark carries a wrong
// number.
func compareRule(s ruleScene, r geom.Rule) (ruleErrors, error) {
	number := func(p r2.Vec) float64 { t, _ := s.onRule(p); return s.number(t) }
	first, last := r.Ticks[0], r.Ticks[len(r.Ticks)-1]
	along := r2.Unit(r2.Sub(last.At, first.At))
	k0 := int(math.Round(number(first.At)))
	sign := 1
	if number(last.At) < float64(k0) {
		sign = -1
	}
	var e ruleErrors
	off := make([]float64, len(r.Ticks))
	var mean, weight float64
	for i, tick := range r.Ticks {
		n := number(tick.At)
		k := int(math.Round(n))
		if k < 0 || k >= s.marks {
			return e, fmt.Errorf("mark %d lies at %.2f, beyond the rule's %d marks", tick.K, n, s.marks)
		}
		if k-k0 != sign*(tick.K-first.K) {
			return e, fmt.Errorf("mark %d is really mark %d", tick.K, sign*(k-k0))
		}
		t, w := s.onRule(tick.At)
		off[i] = r2.Dot(r2.Sub(tick.At, s.pixelOf(t+float64(k)-n, w)), along)
		e.worst = max(e.worst, math.Abs(off[i]))
		e.rms += off[i] * off[i]
		mean += off[i] / (tick.U * tick.U)
		weight += 1 / (tick.U * tick.U)
	}
	mean /= weight
	for i, tick := range r.Ticks {
		z := (off[i] - mean) / tick.U
		e.scatter += z * z
	}
	n := float64(len(r.Ticks))
	e.rms, e.scatter = math.Sqrt(e.rms/n), math.Sqrt(e.scatter/n)

	// The true distance of marks along the found base line, half-way between
	// the first and the last mark.
	target := float64(k0) + float64(sign*(last.K-first.K))/2
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
	e.period = r.Period*rate - 1
	return e, nil
}

// Rules of all kinds: every one that is found must carry right numbers, and
// errors must be what the stated uncertainties say.
func TestFindRuleSweep(t *testing.T) {
	scenes := 40
	if testing.Short() {
		scenes = 15
	}
	var refused, covered, wrongOrder, noOrder int
	var ppm, ratio, scatter []float64
	for seed := range uint64(scenes) {
		s := randomScene(seed)
		found, err := FindRule(s.draw())
		if err != nil {
			refused++
			t.Logf("scene %d (period %.1f, %d marks, blur %.1f, noise %.1f, covered %.2f, glare %d): %v", seed, s.period, s.marks, s.blur, s.noise, s.covered, s.glare, err)
			continue
		}
		e, err := compareRule(s, found.Rule)
		if err != nil {
			t.Errorf("scene %d: %v", seed, err)
			continue
		}
		// Half a pixel would be half-way to a wrong edge.
		if e.worst > 0.3 || e.rms > 0.08 {
			t.Errorf("scene %d (period %.1f, blur %.1f, noise %.1f): marks off by %.3f at worst, %.3f rms", seed, s.period, s.blur, s.noise, e.worst, e.rms)
		}
		if found.Second != nil {
			t.Errorf("scene %d: a second rule of period %.1f was seen", seed, found.Second.Period)
		}
		if found.Bright != (s.dark > s.light) {
			t.Errorf("scene %d: marks taken for bright: %v", seed, found.Bright)
		}
		switch found.LongEvery {
		case s.longEvery:
		case 0:
			noOrder++
		default:
			wrongOrder++
			t.Errorf("scene %d: long marks every %d, want %d", seed, found.LongEvery, s.longEvery)
		}
		ppm = append(ppm, math.Abs(e.period)*1e6)
		ratio = append(ratio, math.Abs(e.period)*found.Period/found.UPeriod)
		scatter = append(scatter, e.scatter)
		if math.Abs(e.period)*found.Period <= 2*found.UPeriod {
			covered++
		}
	}
	slices.Sort(ppm)
	slices.Sort(ratio)
	slices.Sort(scatter)
	n := len(ppm)
	t.Logf("refused %d of %d; period error median %.0f, 95 %% %.0f, worst %.0f ppm; error/uncertainty median %.2f, 95 %% %.2f; scatter of marks/uncertainty median %.2f, 95 %% %.2f; order of long marks not seen in %d",
		refused, scenes, ppm[n/2], ppm[n*95/100], ppm[n-1], ratio[n/2], ratio[n*95/100], scatter[n/2], scatter[n*95/100], noOrder)
	if refused*20 > scenes {
		t.Errorf("refused %d of %d readable rules", refused, scenes)
	}
	if noOrder*10 > scenes {
		t.Errorf("no order of long marks in %d of %d", noOrder, scenes)
	}
	// 2 u cover 95 % of n scenes; three binomial deviations less is allowed.
	if least := 0.95*float64(n) - 3*math.Sqrt(float64(n)*0.95*0.05); float64(covered) < least {
		t.Errorf("%d of %d periods within twice their uncertainty, want %.0f", covered, n, least)
	}
	// Nor may the claim be idle.
	if ratio[n/2] < 0.2 || scatter[n/2] < 0.5 || scatter[n/2] > 1.3 {
		t.Errorf("stated uncertainties are off: period error/u median %.2f, marks %.2f", ratio[n/2], scatter[n/2])
	}
}

// The marks' places must come near the Cramer-Rao bound
//
//	var(x) = 1 / (rows * sum (dI/dx)^2 / sigma(I)^2)
//
// which holds for the centre of a symmetric mark whatever else is fitted
// symmetrically. sigma(I) is the light of the noise of one grey level there.
func TestFindRuleReachesBound(t *testing.T) {
	var ratios []float64
	for seed := range uint64(6) {
		s := plainScene()
		s.seed, s.period, s.marks, s.noise, s.blur, s.digits = seed, 22, 30, 4, 1.4, false
		s.angle = 0.2 + 0.1*float64(seed)
		found, err := FindRule(s.draw())
		if err != nil {
			t.Fatal(err)
		}
		e, err := compareRule(s, found.Rule)
		if err != nil {
			t.Fatal(err)
		}
		var information float64
		w := s.width * s.period
		for x := -s.period / 2; x < s.period/2; x++ {
			a, b := (x+w/2)/s.blur, (x-w/2)/s.blur
			light := s.light + (s.dark-s.light)*(cdf(a)-cdf(b))
			slope := (s.dark - s.light) * (math.Exp(-a*a/2) - math.Exp(-b*b/2)) / s.blur / math.Sqrt(2*math.Pi)
			level := raster.SRGB.Encode(light)
			sigma := s.noise / 255 * (raster.SRGB.Light(level+0.005) - raster.SRGB.Light(level-0.005)) / 0.01
			information += slope * slope / (sigma * sigma)
		}
		rows := 0.8 * s.length * s.period // what all marks share, less the ends
		bound := 1 / math.Sqrt(rows*information)
		ratios = append(ratios, e.rms/bound)
		t.Logf("rms %.4f px, bound %.4f", e.rms, bound)
	}
	slices.Sort(ratios)
	// Even weights on uneven noise and the free slope cost some; 1.6 leaves
	// room for both.
	if m := ratios[len(ratios)/2]; m > 1.6 {
		t.Errorf("marks scatter %.2f times the bound", m)
	}
	if ratios[0] < 0.6 {
		t.Errorf("marks better than the bound (%.2f): the test is wrong", ratios[0])
	}
}

func TestFindRuleAtAnyAngle(t *testing.T) {
	for deg := -180.0; deg < 180; deg += 15 {
		s := plainScene()
		s.angle = deg * math.Pi / 180
		found, err := FindRule(s.draw())
		if err != nil {
			t.Errorf("%g deg: %v", deg, err)
			continue
		}
		e, err := compareRule(s, found.Rule)
		if err != nil {
			t.Errorf("%g deg: %v", deg, err)
			continue
		}
		turn := math.Remainder(found.AngleRad-s.angle, math.Pi)
		if len(found.Ticks) != s.marks || e.worst > 0.03 || math.Abs(e.period) > 50e-6 || math.Abs(turn) > 0.003 || found.LongEvery != 5 {
			t.Errorf("%g deg: %d marks of %d, worst %.3f px, period %.0f ppm, turned by %.4f rad, long every %d", deg, len(found.Ticks), s.marks, e.worst, e.period*1e6, turn, found.LongEvery)
		}
		for _, tick := range found.Ticks {
			// Seen straight on, every mark is square to the rule.
			if off := math.Abs(math.Remainder(tick.AngleRad-s.angle-math.Pi/2, math.Pi)); off > 5*tick.UAngle+1e-3 {
				t.Errorf("%g deg: mark %d leans by %.4f rad, u %.4f", deg, tick.K, off, tick.UAngle)
			}
		}
		for k := range s.marks {
			p := s.pixelOf(float64(k)-float64(s.marks-1)/2, s.length/2)
			if !inQuad(found.Outline, p) {
				t.Errorf("%g deg: mark %d lies outside the outline", deg, k)
			}
		}
	}
}

// The fan of the marks of a rule seen at a slant gives the change of scale
// across it.
func TestFindRuleSeesFan(t *testing.T) {
	s := plainScene()
	s.w, s.h, s.middle, s.marks, s.angle, s.tiltAcross = 1100, 700, r2.Vec{X: 550, Y: 300}, 45, 0.1, 0.06
	found, err := FindRule(s.draw())
	if err != nil {
		t.Fatal(err)
	}
	first, last := found.Ticks[0], found.Ticks[len(found.Ticks)-1]
	length := r2.Norm(r2.Sub(last.At, first.At))
	got := math.Abs(math.Remainder(last.AngleRad-first.AngleRad, math.Pi)) / length * 1000
	u := 1000 * math.Hypot(first.UAngle, last.UAngle) / length
	if math.Abs(got-s.tiltAcross) > 4*u {
		t.Errorf("marks fan by %.4f rad in 1000 px, want %.4f, u %.4f", got, s.tiltAcross, u)
	}
}

func TestFindRuleNumbersOverGap(t *testing.T) {
	for _, n := range []int{3, 10, 18} {
		s := plainScene()
		s.w, s.middle, s.marks, s.tilt = 1100, r2.Vec{X: 550, Y: 300}, 47, 0.02
		s.hidden = [2]int{16, 16 + n}
		found, err := FindRule(s.draw())
		if err != nil {
			t.Errorf("%d marks hidden: %v", n, err)
			continue
		}
		if _, err := compareRule(s, found.Rule); err != nil {
			t.Errorf("%d marks hidden: %v", n, err)
		}
		if len(found.Ticks) != s.marks-n || found.Expected != s.marks {
			t.Errorf("%d marks hidden: found %d of %d", n, len(found.Ticks), found.Expected)
		}
	}
}

// The finest marks count, however faint: a rule must not be read at twice its
// division.
func TestFindRuleReadsFinestMarks(t *testing.T) {
	for _, faint := range []float64{0.2, 0.4, 0.6, 0.75} {
		s := plainScene()
		s.faint, s.longEvery = faint, 0
		found, err := FindRule(s.draw())
		if err != nil {
			t.Logf("every other mark fainter by %g: %v", faint, err)
			continue
		}
		if math.Abs(found.Period/s.period-1) > 1e-3 {
			t.Errorf("every other mark fainter by %g: period %.3f, want %.3f", faint, found.Period, s.period)
		}
	}
}

// Two rules in one photo are both found, whether they agree or not.
func TestFindRuleTwoRules(t *testing.T) {
	a, b := plainScene(), plainScene()
	a.w, a.h, b.w, b.h = 800, 800, 800, 800
	a.angle, a.middle = 0.05, r2.Vec{X: 400, Y: 150}
	b.angle, b.middle, b.period, b.seed = -0.1, r2.Vec{X: 400, Y: 550}, 21.6, 2
	g, lower := a.draw(), b.draw()
	copy(g.Pix[400*800:], lower.Pix[400*800:])
	found, err := FindRule(g)
	if err != nil {
		t.Fatal(err)
	}
	if found.Second == nil {
		t.Fatal("the second rule was not found")
	}
	got := []float64{found.Period, found.Second.Period}
	slices.Sort(got)
	if math.Abs(got[0]/20-1) > 1e-4 || math.Abs(got[1]/21.6-1) > 1e-4 {
		t.Errorf("periods %v, want 20 and 21.6", got)
	}
}

func TestFindRuleRefusals(t *testing.T) {
	few := plainScene()
	few.marks = 6
	hidden := plainScene()
	hidden.marks, hidden.hidden = 30, [2]int{7, 24}
	for _, c := range []struct {
		name  string
		scene ruleScene
		says  []string
	}{
		{"six marks", few, []string{"6", "8"}},
		{"more hidden than shown", hidden, []string{checkShare, "0.433", "0.5"}},
	} {
		_, err := FindRule(c.scene.draw())
		var r *check.Refusal
		if !errors.As(err, &r) || r.Code != check.ScaleUnclear {
			t.Errorf("%s: got %v, want %s", c.name, err, check.ScaleUnclear)
			continue
		}
		for _, s := range c.says {
			if !strings.Contains(r.Message, s) {
				t.Errorf("%s: message %q does not give %q", c.name, r.Message, s)
			}
		}
	}
}

func TestFindRuleOnScraps(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{0, 0}, {1, 1}, {3, 2}, {2, 40}, {40, 2}, {17, 19}, {120, 90}} {
		g := raster.NewGray(size[0], size[1])
		for i := range g.Pix {
			g.Pix[i] = rng.Float32()
		}
		if code := refusalCode(t, g); code != check.NoScale {
			t.Errorf("%v: refused with %q", size, code)
		}
	}
}

func TestFindRuleLeavesPicture(t *testing.T) {
	g := plainScene().draw()
	before := slices.Clone(g.Pix)
	if _, err := FindRule(g); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(before, g.Pix) {
		t.Error("the picture was changed")
	}
}

// refusalCode searches g, which shows no rule, and returns the code of the
// refusal.
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

// rulePhoto is what truth.json says about the scale of a photo.
type rulePhoto struct {
	Files  []string
	Expect string
	Scale  *struct {
		First  [2]float64 `json:"first_tick_px"`
		Period float64    `json:"px_per_division"`
		Angle  float64    `json:"angle_deg"`
		Marks  int        `json:"ticks_visible"`
		Every  int        `json:"longer_every"`
	}
}

// The rendered photos agree with their stated truth to about a tenth of a
// pixel at an edge; a mark has two edges.
func TestFindRulePhotos(t *testing.T) {
	folder := filepath.Join("..", "testdata", "photos")
	text, err := os.ReadFile(filepath.Join(folder, "truth.json"))
	if errors.Is(err, os.ErrNotExist) {
		t.Skip("no photos in testdata")
	}
	if err != nil {
		t.Fatal(err)
	}
	var truth struct{ Images []rulePhoto }
	if err := json.Unmarshal(text, &truth); err != nil {
		t.Fatal(err)
	}
	for _, photo := range truth.Images {
		for i, name := range photo.Files {
			g := lumaOf(t, filepath.Join(folder, name))
			if photo.Scale == nil {
				if strings.Contains(name, "two_scales") {
					found, err := FindRule(g)
					if err != nil || found.Second == nil || math.Abs(found.Period/found.Second.Period-1.08) > 1e-3 && math.Abs(found.Second.Period/found.Period-1.08) > 1e-3 {
						t.Errorf("%s: two rules, one 1.08 times the other, not found: %v", name, err)
					}
				} else if code := refusalCode(t, g); code != check.NoScale {
					t.Errorf("%s: refused with %q", name, code)
				}
				continue
			}
			found, err := FindRule(g)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			want := photo.Scale
			if d := math.Abs(found.Period/want.Period - 1); d > 30e-6 && d > 3*found.UPeriod/found.Period {
				t.Errorf("%s: period %.4f, want %.4f", name, found.Period, want.Period)
			}
			if found.Expected < want.Marks-2 || found.Expected > want.Marks+2 || found.Second != nil {
				t.Errorf("%s: %d marks, want %d", name, found.Expected, want.Marks)
			}
			if found.LongEvery != want.Every && found.LongEvery != 0 {
				t.Errorf("%s: long marks every %d, want %d", name, found.LongEvery, want.Every)
			}
			if i > 0 {
				continue // places are stated for the first photo of a pair
			}
			c, s := math.Cos(want.Angle*math.Pi/180), math.Sin(want.Angle*math.Pi/180)
			for _, tick := range found.Ticks {
				along := (tick.At.X-want.First[0])*c + (tick.At.Y-want.First[1])*s
				if off := math.Abs(math.Remainder(along, want.Period)); off > 0.1 {
					t.Errorf("%s: mark %d is off by %.3f px", name, tick.K, off)
				}
			}
		}
	}
}

func lumaOf(t *testing.T, path string) raster.Gray {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	m, err := jpeg.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	picture, ok := m.(*image.YCbCr)
	if !ok {
		t.Fatalf("%s is no colour JPEG", path)
	}
	g := raster.NewGray(picture.Rect.Dx(), picture.Rect.Dy())
	table := raster.SRGB.Table(256)
	for y := range g.H {
		row := g.Row(y)
		for x := range row {
			row[x] = table[picture.Y[y*picture.YStride+x]]
		}
	}
	g.Clip = table[254]
	return g
}

func BenchmarkFindRule(b *testing.B) {
	s := plainScene()
	s.w, s.h, s.middle = 2560, 1920, r2.Vec{X: 1280, Y: 900}
	s.marks, s.period, s.brushed = 90, 24, true
	g := s.draw()
	b.SetBytes(int64(len(g.Pix)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FindRule(g); err != nil {
			b.Fatal(err)
		}
	}
}
