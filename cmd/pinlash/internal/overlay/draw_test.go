package overlay

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"git.sr.ht/~sbinet/gg"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

var update = flag.Bool("update", false, "rewrite the golden pictures")

func ring(c geom.Circle, n int) []geom.EdgePoint {
	points := make([]geom.EdgePoint, n)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		normal := r2.Vec{X: cos, Y: sin}
		points[i] = geom.EdgePoint{At: r2.Add(c.Center, r2.Scale(c.R, normal)), Normal: normal, U: 0.1}
		if i%9 == 0 {
			points[i].At = r2.Add(points[i].At, r2.Scale(6, normal))
			points[i].Rejected, points[i].Why = true, "off the circle"
		}
	}
	return points
}

// jointDrawing is a joint of bore radius 150 px, offset (-6, 3) px, above a
// rule of 40 marks 14 px apart, every tenth longer from the fourth on.
func jointDrawing() Drawing {
	bore := geom.Circle{Center: r2.Vec{X: 320, Y: 200}, R: 150}
	pin := geom.Circle{Center: r2.Vec{X: 314, Y: 203}, R: 138}
	rule := geom.Rule{Period: 14, Expected: 40, LongEvery: 10}
	for k := range 40 {
		length := 20.0
		if k%10 == 3 {
			length = 40
		}
		rule.Ticks = append(rule.Ticks, geom.Tick{K: k, At: r2.Vec{X: 40 + 14*float64(k), Y: 430}, AngleRad: math.Pi / 2, Length: length})
	}
	return Drawing{
		Rules:   []geom.Rule{rule},
		Joint:   &geom.JointEdges{BoreFit: bore, PinFit: pin, Bore: ring(bore, 90), Pin: ring(pin, 80)},
		MMPerPx: 0.01,
		Caption: Caption{
			Title: "joint_3.jpg",
			Lines: []string{"", "clearance  0.240  0.236 to 0.244  mm", "play       0.310  0.302 to 0.318  mm"},
			Text:  []string{"The joint rocks 0.310 mm along the line of pull, and this sentence is long enough to be broken into two lines below the photo."},
		},
	}
}

// spanDrawing is a chain of seven heads that falls to the right above a rule,
// with a pitch of every class and one whose growth is not known.
func spanDrawing() Drawing {
	d := jointDrawing()
	d.Joint = nil
	s := &Span{Heads: geom.Heads{Kind: geom.PinHead}}
	for i := range 7 {
		s.Heads.Heads = append(s.Heads.Heads, geom.Head{Center: r2.Vec{X: 60 + 85*float64(i), Y: 240 + 10*float64(i)}, R: 18, Filled: i == 3})
	}
	for i, growth := range []float64{-0.02, 0.31, 0.7, 1.4, 2.6} {
		s.Pitches = append(s.Pitches, Pitch{Label: fmt.Sprintf("%d i %+.2f %%", i, growth), Growth: &growth})
	}
	s.Pitches = append(s.Pitches, Pitch{Label: "5 ? 9.5312 mm"})
	d.Span = s
	return d
}

func metal(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint8(120 + (x*7+y*3)%40)
			img.SetNRGBA(x, y, color.NRGBA{v, v, v, 0xff})
		}
	}
	return img
}

func TestGolden(t *testing.T) {
	refused := Drawing{Caption: Caption{
		Title: strings.Repeat("long/", 40) + "photo.jpg",
		Text:  []string{"Refused (no_scale): no rule was found.", "Put a rule in the plane of the joint and photograph again."},
	}}
	for name, d := range map[string]Drawing{"joint": jointDrawing(), "span": spanDrawing(), "motion": motionDrawing(), "refused": refused} {
		t.Run(name, func(t *testing.T) {
			got, err := Draw(metal(640, 480), d)
			if err != nil {
				t.Fatal(err)
			}
			compare(t, got, filepath.Join("testdata", name+".png"))
		})
	}
}

// compare holds a picture against its golden file. Text and lines come out
// alike everywhere but for rounding at their soft edges: at most one pixel in
// a thousand may differ by more than 16 levels.
func compare(t *testing.T, got image.Image, golden string) {
	t.Helper()
	data, err := PNG(got)
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(golden, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(golden)
	if err != nil {
		t.Fatalf("%v (go test -update writes it)", err)
	}
	defer f.Close()
	want, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	if got.Bounds() != want.Bounds() {
		t.Fatalf("size %v, want %v", got.Bounds(), want.Bounds())
	}
	differ := 0
	size := got.Bounds().Size()
	for y := range size.Y {
		for x := range size.X {
			r0, g0, b0, _ := got.At(x, y).RGBA()
			r1, g1, b1, _ := want.At(x, y).RGBA()
			if apart(r0, r1) || apart(g0, g1) || apart(b0, b1) {
				differ++
			}
		}
	}
	if differ*1000 > size.X*size.Y {
		beside := strings.TrimSuffix(golden, ".png") + ".got.png"
		if err := os.WriteFile(beside, data, 0o644); err != nil {
			t.Error(err)
		}
		t.Errorf("%d of %d pixels differ; see %s", differ, size.X*size.Y, beside)
	}
}

func apart(a, b uint32) bool { return max(a, b)-min(a, b) > 16*257 }

// TestPlaces looks for the colours where they must be: a drawing shifted by a
// pixel of the photo, or with pin and bore exchanged, fails.
func TestPlaces(t *testing.T) {
	d := jointDrawing()
	d.Joint.Bore, d.Joint.Pin = nil, nil
	got, err := Draw(image.NewNRGBA(image.Rect(0, 0, 640, 480)), d)
	if err != nil {
		t.Fatal(err)
	}
	zoom := enlargement(640, 480)
	if zoom != 1200.0/640 {
		t.Fatalf("enlargement is %g", zoom)
	}
	for _, c := range []struct {
		name   string
		x, y   float64 // in the photo
		colour color.NRGBA
	}{
		{"right end of the bore", 320 + 150, 200, boreColour},
		{"lower end of the bore", 320, 200 + 150, boreColour},
		{"third mark", 40 + 2*14, 430, scaleColour},
		{"upper end of the fourth, a longer mark", 40 + 3*14, 430 - 0.35*14*2.5 + 0.5, scaleColour},
	} {
		x, y := int((c.x+0.5)*zoom), int((c.y+0.5)*zoom)
		if at := color.NRGBAModel.Convert(got.At(x, y)).(color.NRGBA); !near(at, c.colour) {
			t.Errorf("%s: colour %v at (%d, %d), want %v", c.name, at, x, y, c.colour)
		}
	}
}

func near(a, b color.NRGBA) bool {
	const tol = 40
	d := func(x, y uint8) int { return max(int(x), int(y)) - min(int(x), int(y)) }
	return d(a.R, b.R) < tol && d(a.G, b.G) < tol && d(a.B, b.B) < tol
}

func TestNiceBelow(t *testing.T) {
	for _, c := range []struct{ in, want float64 }{{1, 1}, {1.99, 1}, {2, 2}, {4.9, 2}, {5, 5}, {9.99, 5}, {10, 10}, {37, 20}, {0.3, 0.2}} {
		if got := niceBelow(c.in); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("niceBelow(%g) = %g, want %g", c.in, got, c.want)
		}
	}
}

// TestUpright holds the turned picture against the meaning of the tag: which
// displayed corners the first row and the first column of the file belong to.
func TestUpright(t *testing.T) {
	file := image.NewGray(image.Rect(0, 0, 3, 2))
	copy(file.Pix, []uint8{1, 2, 3, 4, 5, 6})
	for orientation, want := range map[int][]uint8{
		1: {1, 2, 3, 4, 5, 6},
		2: {3, 2, 1, 6, 5, 4},
		3: {6, 5, 4, 3, 2, 1},
		4: {4, 5, 6, 1, 2, 3},
		5: {1, 4, 2, 5, 3, 6},
		6: {4, 1, 5, 2, 6, 3},
		7: {6, 3, 5, 2, 4, 1},
		8: {3, 6, 2, 5, 1, 4},
	} {
		img := upright(file, orientation)
		var got []uint8
		for y := range img.Bounds().Dy() {
			for x := range img.Bounds().Dx() {
				got = append(got, color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
			}
		}
		if !bytes.Equal(got, want) {
			t.Errorf("orientation %d: %v, want %v", orientation, got, want)
		}
	}
}

// TestNothingFound draws what a photo in which nothing was found leaves.
func TestNothingFound(t *testing.T) {
	for _, d := range []Drawing{{}, {Joint: &geom.JointEdges{}}, {Rules: []geom.Rule{{}}}, {Motion: &Motion{}}, {Motion: &Motion{Track: []TrackPoint{{Left: true}}}}, {MMPerPx: 1e-9}, {MMPerPx: 1e9}} {
		if _, err := Draw(metal(300, 500), d); err != nil {
			t.Error(err)
		}
	}
	if _, err := Draw(image.NewNRGBA(image.Rectangle{}), Drawing{}); err == nil {
		t.Error("a picture without pixels was drawn on")
	}
}

func TestPaletteIndexBeyondPalette(t *testing.T) {
	p := image.NewPaletted(image.Rect(0, 0, 2, 1), color.Palette{color.White})
	p.Pix[1] = 200
	got := plain(p)
	if at := color.GrayModel.Convert(got.At(0, 0)); at != (color.Gray{255}) {
		t.Errorf("first pixel %v", at)
	}
	if at := color.GrayModel.Convert(got.At(1, 0)); at != (color.Gray{0}) {
		t.Errorf("pixel beyond the palette %v", at)
	}
}

// TestSpanClasses: a growth at a border belongs to the class above it, and no
// two classes share a line when colours are left out.
func TestSpanClasses(t *testing.T) {
	for _, c := range []struct {
		growth float64
		want   int
	}{{-3, 0}, {0.0999, 0}, {0.1, 1}, {0.5, 2}, {1, 3}, {1.999, 3}, {2, 4}, {90, 4}} {
		if got := classOf(Pitch{Growth: &c.growth}); got.below != classes[c.want].below {
			t.Errorf("growth of %g %% is drawn as %q, want %q", c.growth, className(c.want), got.colour)
		}
	}
	for i, a := range append(classes, unknownGrowth) {
		for _, b := range append(classes, unknownGrowth)[i+1:] {
			if a.width == b.width && slices.Equal(a.dash, b.dash) {
				t.Errorf("two classes are alike in grey: %+v and %+v", a, b)
			}
		}
	}
}

// TestLabelsHaveRoom: beside the upper border the labels stand below the chain,
// though the rule is there.
func TestLabelsHaveRoom(t *testing.T) {
	d := spanDrawing()
	p, err := newPen(1200, 900, 1200.0/640)
	if err != nil {
		t.Fatal(err)
	}
	p.Context = gg.NewContext(1, 1)
	if above := p.placeLabels(*d.Span, d.Rules); above.side != -1 {
		t.Errorf("labels stand on the side of the rule: %+v", above)
	}
	for i := range d.Span.Heads.Heads {
		d.Span.Heads.Heads[i].Center.Y = 30
	}
	if below := p.placeLabels(*d.Span, d.Rules); below.side != 1 {
		t.Errorf("labels leave the photo: %+v", below)
	}
}

// TestInches: the scale bar is a round length in inches of 25.4 mm, and the
// legend keeps clear of figures that take more room than usual.
func TestInches(t *testing.T) {
	p, err := newPen(640, 480, 1)
	if err != nil {
		t.Fatal(err)
	}
	d := jointDrawing()
	d.Inch = true
	bar := p.legend(d)[0]
	if bar.name != "0.01 in" || math.Abs(bar.width-0.01*25.4/d.MMPerPx) > 1e-9 {
		t.Errorf("scale bar of %s is %.2f px long", bar.name, bar.width)
	}
	usual := p.layOut(d).beside
	d.Caption.Lines = append(d.Caption.Lines, strings.Repeat("0", 60))
	ruler := gg.NewContext(1, 1)
	ruler.SetFontFace(p.fonts.mono)
	width, _ := ruler.MeasureString(strings.Repeat("0", 60))
	if beside := p.layOut(d).beside; usual != legendAt*640 || beside < margin*p.fonts.size+width {
		t.Errorf("legend begins at %.0f, and beside figures %.0f px wide at %.0f", usual, width, beside)
	}
}
