package measure

import (
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// plainScale reads mmPerPx with a relative standard uncertainty everywhere.
func plainScale(mmPerPx, relative float64) calib.Scale {
	return calib.Scale{
		MMPerPx: uncert.Combine(mmPerPx, "mm/px", uncert.Budget{{Name: "rule", U: relative * mmPerPx}}),
		Origin:  r2.Vec{X: 960, Y: 540}, W: 1920, H: 1080, Source: "points",
	}
}

// row puts heads at the given pitches in pixels along a direction, each known
// to u pixels.
func row(angle, u float64, firstInner bool, pitches ...float64) geom.Heads {
	h := geom.Heads{Kind: geom.PinHead}
	at := r2.Vec{X: 300, Y: 400}
	sin, cos := math.Sincos(angle)
	add := func() {
		h.Heads = append(h.Heads, geom.Head{Center: at, R: 30, Cov: [2][2]float64{{u * u, 0}, {0, u * u}}})
	}
	add()
	for i, p := range pitches {
		at = r2.Add(at, r2.Vec{X: p * cos, Y: p * sin})
		add()
		kind := geom.OuterLink
		if (i%2 == 0) == firstInner {
			kind = geom.InnerLink
		}
		h.Links = append(h.Links, kind)
	}
	return h
}

func mustSpan(t *testing.T, h geom.Heads, s calib.Scale, o SpanOptions) SpanResult {
	t.Helper()
	r, err := Span(h, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.9g, want %.9g within %g", name, got, want, tol)
	}
}

const spanTol = 1e-9

func TestSpanFigures(t *testing.T) {
	// 8 mm outer pitches, inner ones worn to 8.08 mm, 0.05 mm/px.
	h := row(0.3, 0.05, false, 160, 161.6, 160, 161.6)
	r := mustSpan(t, h, plainScale(0.05, 0), SpanOptions{PitchMM: 8, HeightKnown: true})
	near(t, "span", r.Span.Value, 32.16, spanTol)
	near(t, "mean pitch", r.MeanPitch.Value, 8.04, spanTol)
	near(t, "mean inner", r.MeanInner.Value, 8.08, spanTol)
	near(t, "mean outer", r.MeanOuter.Value, 8, spanTol)
	near(t, "elongation", r.Elongation.Value, 0.5, spanTol)
	if r.Elongation.Unit != "%" || r.Span.Unit != "mm" || r.Reference != "pin to pin" || len(r.Pitches) != 4 {
		t.Errorf("units %q %q, reference %q, %d pitches", r.Elongation.Unit, r.Span.Unit, r.Reference, len(r.Pitches))
	}
	if p := r.Pitches[1]; p.Index != 1 || p.Link != geom.InnerLink {
		t.Errorf("second pitch is %d, %q", p.Index, p.Link)
	}
	// u(e) = 100 u(L)/(n p) and u(mean) = u(L)/n.
	near(t, "u of elongation", r.Elongation.U, 100*r.Span.U/32, spanTol)
	near(t, "u of mean pitch", r.MeanPitch.U, r.Span.U/4, spanTol)
}

// On a straight chain the heads between cancel: edges and heads leave root two
// of one head on any span, and on the mean of k pitches apart root(2/k).
func TestSpanOfIndependentHeads(t *testing.T) {
	h := row(0.7, 0.1, false, 160, 161, 160, 161, 160, 161)
	o := SpanOptions{HeightKnown: true, WorkingDistanceMM: 1e9, HeadMM: 0.02}
	r := mustSpan(t, h, plainScale(0.05, 0), o)
	one := math.Hypot(0.1*0.05, 0.02)
	near(t, "u of span", r.Span.U, math.Sqrt2*one, 1e-6)
	near(t, "u of a pitch", r.Pitches[2].Length.U, math.Sqrt2*one, 1e-6)
	near(t, "u of mean inner", r.MeanInner.U, math.Sqrt(2.0/3)*one, 1e-6)
}

// What comes from the scale is common to all pitches and grows with length.
func TestSpanScaleIsCommon(t *testing.T) {
	const relative = 1e-3
	h := row(0, 0, true, 160, 160, 160, 160, 160)
	r := mustSpan(t, h, plainScale(0.05, relative), SpanOptions{HeightKnown: true, HeadMM: 1e-9, WorkingDistanceMM: 1e9})
	near(t, "u of span", r.Span.U, relative*40, 1e-6)
	near(t, "u of mean outer", r.MeanOuter.U, relative*8, 1e-6)
}

// Length is that of the polyline: of a chain hanging through it is longer than
// the chord by (8/3)(f/L)² (parabola of sag f).
func TestSpanAlongASag(t *testing.T) {
	const n, pitch, sag = 12, 120.0, 30.0
	h := geom.Heads{Kind: geom.PinHead}
	length := n * pitch
	for i := range n + 1 {
		x := float64(i) * pitch
		h.Heads = append(h.Heads, geom.Head{Center: r2.Vec{X: 100 + x, Y: 300 + 4*sag*x*(length-x)/(length*length)}})
		if i > 0 {
			h.Links = append(h.Links, geom.UnknownLink)
		}
	}
	r := mustSpan(t, h, plainScale(1, 0), SpanOptions{HeightKnown: true})
	excess := 8.0 / 3 * math.Pow(sag/length, 2)
	// A polyline of n links keeps 1 - 1/n² of a parabola's excess.
	near(t, "excess over the chord", r.Span.Value/length-1, excess*(1-1.0/(n*n)), 0.01*excess)
	if r.MeanInner != nil || r.MeanOuter != nil || r.Elongation != nil {
		t.Error("means by link or an elongation without knowing links or pitch")
	}
}

// A rule three millimetres below the heads, 420 mm from the lens, makes the
// chain look 0.72 % longer: W/(W-h). Unstated, the interval must hold the
// truth and a note must say why; stated, the figure itself does.
func TestSpanRuleBelowTheHeads(t *testing.T) {
	const w, below = 420.0, 3.0
	seen := 8 / 0.05 * w / (w - below)
	h := row(0, 0.05, false, seen, seen, seen, seen)
	s := plainScale(0.05, 1e-4)
	r := mustSpan(t, h, s, SpanOptions{})
	if r.Span.Lower > 32 || r.Span.Upper < 32 {
		t.Errorf("span %.3f to %.3f mm does not hold 32", r.Span.Lower, r.Span.Upper)
	}
	if !slices.ContainsFunc(r.Notes, func(n string) bool { return strings.Contains(n, "--same-plane") }) {
		t.Errorf("notes %q do not name the way out", r.Notes)
	}
	level, err := s.InPlane(calib.Plane{Offset: below, WorkingDistance: w})
	if err != nil {
		t.Fatal(err)
	}
	q := mustSpan(t, h, level, SpanOptions{HeightKnown: true, WorkingDistanceMM: w})
	near(t, "span in the plane of the heads", q.Span.Value, 32, 1e-6)
	if q.Span.U > r.Span.U/5 {
		t.Errorf("stating the height left u at %.4f of %.4f mm", q.Span.U, r.Span.U)
	}
	if slices.ContainsFunc(q.Notes, func(n string) bool { return strings.Contains(n, "--same-plane") }) {
		t.Errorf("notes %q though the height was stated", q.Notes)
	}
}

// Turning the row in a flat scale changes nothing, and reading it from the
// other end only the order.
func TestSpanLaws(t *testing.T) {
	o := SpanOptions{PitchMM: 8, HeightKnown: true}
	s := plainScale(0.05, 1e-4)
	a := mustSpan(t, row(0, 0.1, false, 160, 162, 159, 163), s, o)
	for _, angle := range []float64{0.4, math.Pi / 2, 2, -1} {
		b := mustSpan(t, row(angle, 0.1, false, 160, 162, 159, 163), s, o)
		near(t, "turned span", b.Span.Value, a.Span.Value, spanTol)
		near(t, "turned u", b.Span.U, a.Span.U, spanTol)
		near(t, "turned pitch", b.Pitches[2].Length.Value, a.Pitches[2].Length.Value, spanTol)
	}
	h := row(0, 0.1, false, 160, 162, 159, 163)
	slices.Reverse(h.Heads)
	slices.Reverse(h.Links)
	b := mustSpan(t, h, s, o)
	near(t, "reversed span", b.Span.Value, a.Span.Value, spanTol)
	near(t, "reversed inner mean", b.MeanInner.Value, a.MeanInner.Value, spanTol)
	near(t, "reversed first pitch", b.Pitches[0].Length.Value, a.Pitches[3].Length.Value, spanTol)
}

func TestSpanOfBushes(t *testing.T) {
	h := row(0, 0.1, false, 160, 160, 160)
	h.Kind = geom.BushEnd
	if r := mustSpan(t, h, plainScale(0.05, 0), SpanOptions{}); r.Reference != "bush to bush" {
		t.Errorf("reference %q", r.Reference)
	}
}

// What the ends are taken for, and what was left off, is said.
func TestSpanNotesOfTheEnds(t *testing.T) {
	for _, c := range []struct {
		kind    geom.HeadKind
		unclear bool
		leftOff int
		want    string
	}{
		{geom.BushEnd, false, 0, "hollow pins look the same"},
		{geom.BushEnd, true, 0, "taken for bushes, and if they are not the reference is wrong"},
		{geom.PinHead, true, 0, "taken for pins, and if they are not the reference is wrong"},
		{geom.PinHead, false, 1, "joints at 1 of the two ends of the row show no pin end"},
		{geom.PinHead, false, 0, ""},
	} {
		h := row(0, 0.1, false, 160, 160, 160)
		h.Kind, h.Unclear, h.LeftOff = c.kind, c.unclear, c.leftOff
		notes := strings.Join(mustSpan(t, h, plainScale(0.05, 0), SpanOptions{HeightKnown: true}).Notes, "\n")
		if !strings.Contains(notes, c.want) {
			t.Errorf("%+v: notes %q", c, notes)
		}
		if plain := !strings.Contains(notes, "taken for") && !strings.Contains(notes, "left off"); plain != (c.want == "") {
			t.Errorf("%+v: notes %q", c, notes)
		}
	}
}

func TestSpanSlackChain(t *testing.T) {
	h := row(0, 0.1, false, 160, 160, 160, 160)
	for i := 3; i < 5; i++ {
		h.Heads[i].Center.Y += 40 * float64(i-2)
	}
	r := mustSpan(t, h, plainScale(0.05, 0), SpanOptions{HeightKnown: true})
	if c := r.Checks[0]; c.OK || math.Abs(c.Value-math.Atan2(40, 160)*180/math.Pi) > 1e-6 {
		t.Errorf("check %+v", c)
	}
}

func TestSpanWrongUse(t *testing.T) {
	s := plainScale(0.05, 0)
	good := row(0, 0.1, false, 160, 160)
	short, same := good, row(0, 0.1, false, 160, 0)
	short.Links = short.Links[:1]
	for name, c := range map[string]struct {
		h geom.Heads
		o SpanOptions
	}{
		"no heads":          {geom.Heads{}, SpanOptions{}},
		"links missing":     {short, SpanOptions{}},
		"heads on another":  {same, SpanOptions{}},
		"pitch below zero":  {good, SpanOptions{PitchMM: -1}},
		"heads below zero":  {good, SpanOptions{HeadMM: -1}},
		"distance negative": {good, SpanOptions{WorkingDistanceMM: -3}},
	} {
		if _, err := Span(c.h, s, c.o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
