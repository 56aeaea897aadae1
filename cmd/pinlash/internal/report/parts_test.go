package report

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
)

func TestShorten(t *testing.T) {
	for _, c := range []struct{ name, want string }{
		{"a.jpg", "a.jpg"},
		{strings.Repeat("ü", 10), strings.Repeat("ü", 10)},
		{"folder/of/photos.jpg", "…hotos.jpg"},
		{"\x1b[2J", `"\x1b[2J"`},
		{"", ""},
	} {
		if got := shorten(c.name, 10); got != c.want {
			t.Errorf("%q is cut to %q, want %q", c.name, got, c.want)
		}
	}
}

func TestGrouped(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 950: "950", 4000: "4000", 40000: "40\u202f000", 1234567.5: "1\u202f234\u202f567.5"} {
		if got := grouped(v); got != want {
			t.Errorf("%g prints as %q, want %q", v, got, want)
		}
	}
}

func TestProbability(t *testing.T) {
	for p, want := range map[float64]string{0: "under 0.1 %", 0.00099: "under 0.1 %", 0.0123: "1.2 %", 0.5: "50 %", 0.95: "95.0 %", 0.9995: "over 99.9 %", 1: "over 99.9 %"} {
		if got := probability(p); got != want {
			t.Errorf("%g prints as %q, want %q", p, got, want)
		}
	}
}

func TestJointNumber(t *testing.T) {
	for name, want := range map[string]float64{"1": 1, "012": 12, "J7": 7, "j-3": 3, "": noNumber, "left": noNumber, "-5": 5, "99999999999": noNumber, "1.5": noNumber} {
		if got := jointNumber(name); got != want {
			t.Errorf("joint %q is number %g, want %g", name, got, want)
		}
	}
}

func TestChainMap(t *testing.T) {
	var in Input
	add := func(r record.Record) { in.Lines = append(in.Lines, read(t, r)) }
	for _, j := range []struct {
		number string
		play   float64
	}{{"4", 0.2}, {"2", 0.1}, {"2", 0.14}, {"9", 0.05}} {
		add(joint("j"+j.number+".jpg", j.play, record.Levels{Joint: j.number}))
	}
	add(refusedPhoto("bad.jpg", record.Levels{Joint: "8"}))
	b := newBuilder(in)
	m := b.chains[0].Map
	var got []string
	for _, c := range m.Cells {
		text := c.Label
		switch {
		case c.Gap:
			text += " gap"
		case c.Refused:
			text += " refused"
		default:
			text += " " + c.Value + " r" + c.R
		}
		if c.Largest {
			text += " largest"
		}
		got = append(got, text)
	}
	// Joint 2 is the mean of its two photos; the settings say 12 joints.
	want := "[1 gap 2 0.1200 r10.2 3 gap 4 0.2000 r15.0 largest 5–7 gap 8 refused 9 0.0500 r6.0 10–12 gap]"
	if fmt.Sprint(got) != want {
		t.Errorf("got %v\nwant %v", got, want)
	}
}

func TestHistogram(t *testing.T) {
	noise := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 300; n += 7 {
		values := make([]float64, n)
		for i := range values {
			values[i] = 0.1 + 0.01*noise.NormFloat64()
		}
		h, sum := binned(values), 0
		for _, c := range h.counts {
			sum += c
		}
		if sum != n || len(h.counts) > 4*int(math.Sqrt(float64(n)))+2 {
			t.Errorf("%d values: %d in %d steps of %g", n, sum, len(h.counts), h.width)
		}
	}
	if h := binned([]float64{0.1, 0.1, 0.1}); len(h.counts) != 1 || h.counts[0] != 3 || !(h.width > 0) {
		t.Errorf("equal values: %+v", h)
	}
	if h := binned([]float64{0, 1, 1.5, 3.9}); fmt.Sprint(h) != "{0 2 [3 1]}" {
		t.Errorf("got %v", h)
	}
}

func TestRoundStep(t *testing.T) {
	for v, want := range map[float64]float64{1: 1, 1.1: 2, 0.03: 0.05, 6: 10, 0.1: 0.1, 70: 100} {
		if got := roundStep(v); math.Abs(got-want) > 1e-12*want {
			t.Errorf("the step for %g is %g, want %g", v, got, want)
		}
	}
}

// TestWearPlot looks where a bore worn at one place is drawn: outward there.
func TestWearPlot(t *testing.T) {
	bins := make([]measure.WearBin, 36)
	for i := range bins {
		bins[i] = measure.WearBin{AngleDeg: float64(10 * i), BoreU: 0.0001, PinU: 0.0001}
	}
	bins[9].Bore = 0.02 // at 90 deg, which is down in the photo
	r := record.Record{Kind: record.Joint, Profile: record.NewProfile(bins)}
	svg := string((&builder{}).wearPlot(&r).SVG)
	var bore string
	for _, path := range regexp.MustCompile(`<path d="([^"]*)" style="([^"]*)"`).FindAllStringSubmatch(svg, -1) {
		if strings.Contains(path[2], "var(--accent)") {
			bore = path[1]
		}
	}
	lowest, at := math.Inf(1), 0.0
	for _, p := range regexp.MustCompile(`[ML](-?[\d.]+),(-?[\d.]+)`).FindAllStringSubmatch(bore, -1) {
		x, _ := strconv.ParseFloat(p[1], 64)
		y, _ := strconv.ParseFloat(p[2], 64)
		if y < lowest { // y grows upwards in the drawing
			lowest, at = y, x
		}
	}
	if math.Abs(at-wearSide/2) > 0.1 || math.Abs(lowest-(wearSide/2-boreRing-wearReach)) > 0.1 {
		t.Errorf("the worn place is drawn at %g, %g in %.300s", at, lowest, bore)
	}
	if n := strings.Count(bore, "L"); n != 36 {
		t.Errorf("the rim has %d lines, want it closed with 36", n)
	}
	if got := (&builder{}).wearPlot(&record.Record{}).SVG; got != "" {
		t.Error("a joint without a profile has a picture of it")
	}
}

func TestPictures(t *testing.T) {
	noise := rand.New(rand.NewPCG(5, 5))
	grainy := image.NewGray(image.Rect(0, 0, 1600, 1200))
	for i := range grainy.Pix {
		grainy.Pix[i] = uint8(noise.IntN(256))
	}
	// The hardest picture there is, at the room that each of 200 has.
	p, err := embedded(grainy, allBytes/200)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(p.URL) * 3 / 4; n > allBytes/200*12/10 {
		t.Errorf("noise takes %d bytes of %d", n, allBytes/200)
	}
	small, err := embedded(image.NewNRGBA(image.Rect(5, 5, 25, 15)), mostBytes)
	if err != nil || small.W != 20 || small.H != 10 {
		t.Errorf("a small picture comes as %d x %d, %v", small.W, small.H, err)
	}
	// A pixel outside its palette ends the whole program if it gets as far as
	// package imaging's workers; before them it can be caught.
	broken := image.NewPaletted(image.Rect(0, 0, 2000, 1500), color.Palette{color.White})
	broken.Pix[7] = 9
	defer func() {
		if recover() == nil {
			t.Error("a broken palette went by unseen")
		}
	}()
	_, _ = embedded(broken, mostBytes)
}

func TestPicturesRefused(t *testing.T) {
	var huge bytes.Buffer
	if err := png.Encode(&huge, image.NewGray(image.Rect(0, 0, 8000, 8000))); err != nil {
		t.Fatal(err)
	}
	folder := fstest.MapFS{
		"text.png": {Data: []byte("no picture")}, "huge.png": {Data: huge.Bytes()}, "half.png": {Data: grain(t, 50, 50, 1)[:200]},
		"folder.png/x": {Data: nil}, "bad.gif": {Data: []byte("GIF89a")},
	}
	for name, want := range map[string]string{
		"gone.png": "not in the folder", "../up.png": "does not lie in the folder", "/etc/passwd": "does not lie", "text.png": "unknown format",
		"huge.png": "8000 x 8000 pixels", "half.png": "not enough pixel data", "folder.png": "not a plain file", "bad.gif": "EOF",
	} {
		var s shown
		if err := s.add(folder, name, mostBytes); err == nil || !strings.Contains(err.Error(), want) || s.Stills != nil {
			t.Errorf("%s: %v, want %q", name, err, want)
		}
	}
}

func TestBothStates(t *testing.T) {
	states, err := bothStates(blink(t))
	if err != nil {
		t.Fatal(err)
	}
	at := func(i, x, y int) uint8 { return color.GrayModel.Convert(states[i].At(x, y)).(color.Gray).Y }
	// The second frame covers a part and leaves the rest of the first.
	if at(0, 30, 30) != 0 || at(1, 30, 30) != 255 || at(1, 5, 5) != 0 {
		t.Errorf("states are %d, %d, %d", at(0, 30, 30), at(1, 30, 30), at(1, 5, 5))
	}
}

// TestContrast holds the page's colours to 4.5 for text and 3 for lines (WCAG
// 2.2, 1.4.3 and 1.4.11) in both schemes.
func TestContrast(t *testing.T) {
	light, dark, found := strings.Cut(style, "prefers-color-scheme: dark")
	if !found {
		t.Fatal("no dark scheme")
	}
	dark, _, _ = strings.Cut(dark, "* {")
	for name, css := range map[string]string{"light": light, "dark": dark} {
		colour := map[string]float64{}
		for _, m := range regexp.MustCompile(`--([a-z]+): #([0-9a-f]{6})`).FindAllStringSubmatch(css, -1) {
			v, _ := strconv.ParseUint(m[2], 16, 32)
			colour[m[1]] = luminance(uint8(v>>16), uint8(v>>8), uint8(v))
		}
		for _, ground := range []string{"paper", "panel"} {
			for ink, want := range map[string]float64{"ink": 7, "soft": 4.5, "accent": 4.5, "past": 4.5, "within": 4.5, "close": 4.5, "rule": 3} {
				a, b := colour[ground], colour[ink]
				if ratio := (max(a, b) + 0.05) / (min(a, b) + 0.05); ratio < want && !(ink == "rule" && ground == "panel") {
					t.Errorf("%s: %s on %s has %.2f, want %.1f", name, ink, ground, ratio, want)
				}
			}
		}
	}
}

func luminance(rgb ...uint8) float64 {
	var sum float64
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v := float64(rgb[i]) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		sum += weight * v
	}
	return sum
}
