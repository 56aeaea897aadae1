package measure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// SpanOptions says what is known of a span besides the photo. The zero value
// is the documented default.
type SpanOptions struct {
	// PitchMM is the pitch of the new chain. Zero leaves the elongation out.
	PitchMM float64
	// HeightKnown says that the scale lies in the plane of the heads' rims:
	// it was stated to, or was carried there by Scale.InPlane. Otherwise the
	// interval allows for a scale that lies lower or higher by up to a pitch.
	HeightKnown bool
	// WorkingDistanceMM is the distance from the lens to the chain. Zero
	// stands for 300 mm, which shows some ten pitches of a small chain.
	WorkingDistanceMM float64
	// HeadMM is the standard uncertainty of a head's centre about the axis of
	// its pin or bush. Zero stands for 0.005 mm, a head turned or spun true.
	// Heads riveted by hand or hammer are off by 0.02 to 0.1 mm.
	HeadMM float64
}

// What is assumed of a span that the photo does not tell (judgement).
const (
	usualSpanDistanceMM = 300.0
	usualHeadMM         = 0.005
)

// Pitch is the distance of two neighbouring heads.
type Pitch struct {
	Index  int // 0 is the first
	Link   geom.LinkKind
	Length uncert.Quantity // mm
}

// SpanResult has the figures of a chain seen from the side.
type SpanResult struct {
	// Reference is "pin to pin" or "bush to bush".
	Reference string
	Pitches   []Pitch
	// Span is the sum of the pitches, mm: the length along the chain, also of
	// one that sags.
	Span      uncert.Quantity
	MeanPitch uncert.Quantity // mm
	// MeanInner and MeanOuter are the means of the pitches bridged by inner
	// and by outer links, mm; nil when there is none of the kind or the kinds
	// are not known.
	MeanInner, MeanOuter *uncert.Quantity
	// Elongation is Span over the same count of new pitches, minus one, in
	// percent; nil without SpanOptions.PitchMM.
	Elongation *uncert.Quantity
	Checks     []check.Check
	Notes      []string
}

// Span turns the heads along a chain into millimetres.
//
// The pitches are distances of neighbouring heads. What all of them share, the
// scale and the height of the heads over it, enters span and means in full;
// the place of a head inside the span enters the two pitches beside it with
// opposite signs and leaves their sum but for the bend of the chain there.
func Span(h geom.Heads, s calib.Scale, o SpanOptions) (SpanResult, error) {
	n := len(h.Heads) - 1
	if n < 1 || len(h.Links) != n {
		return SpanResult{}, fmt.Errorf("measure: span of %d heads and %d links", len(h.Heads), len(h.Links))
	}
	if o.PitchMM < 0 || o.WorkingDistanceMM < 0 || o.HeadMM < 0 {
		return SpanResult{}, errors.New("measure: a span's pitch, distance or head uncertainty is below zero")
	}
	for i := range h.Links {
		if r2.Norm(r2.Sub(h.Heads[i+1].Center, h.Heads[i].Center)) == 0 {
			return SpanResult{}, fmt.Errorf("measure: heads %d and %d of a span lie on each other", i, i+1)
		}
	}
	h, s = flatHeads(h, s)
	c := newChain(h, s, o)
	r := SpanResult{Reference: reference(h.Kind)}
	var inner, outer []int
	for i := range n {
		r.Pitches = append(r.Pitches, Pitch{Index: i, Link: h.Links[i], Length: c.sum([]int{i}, 1)})
		switch h.Links[i] {
		case geom.InnerLink:
			inner = append(inner, i)
		case geom.OuterLink:
			outer = append(outer, i)
		case geom.UnknownLink: // counts in the span alone
		}
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	r.Span = c.sum(all, 1)
	r.MeanPitch = c.sum(all, float64(n))
	r.MeanInner, r.MeanOuter = c.mean(inner), c.mean(outer)
	if o.PitchMM > 0 {
		e := percent(r.Span, float64(n)*o.PitchMM)
		r.Elongation = &e
	}
	r.Checks, r.Notes = c.checks(), c.notes()
	return r, nil
}

func reference(k geom.HeadKind) string {
	if k == geom.BushEnd {
		return "bush to bush"
	}
	return "pin to pin"
}

// percent returns by how much the length exceeds the new one.
func percent(length uncert.Quantity, newLength float64) uncert.Quantity {
	b := make(uncert.Budget, len(length.Budget))
	for i, t := range length.Budget {
		t.U *= 100 / newLength
		b[i] = t
	}
	return uncert.Combine(100*(length.Value/newLength-1), "%", b)
}

// chain is a span on its way from pixels to millimetres.
type chain struct {
	heads  geom.Heads
	o      SpanOptions
	length []float64     // of the pitches, mm
	way    []r2.Vec      // unit vectors from head to head, photo
	size   []float64     // length of a pixel along each pitch, mm
	scale  uncert.Budget // relative parts that all lengths share
	bends  float64       // largest turn from one pitch to the next, rad
}

func newChain(h geom.Heads, s calib.Scale, o SpanOptions) chain {
	c := chain{heads: h, o: o}
	if c.o.WorkingDistanceMM == 0 {
		c.o.WorkingDistanceMM = usualSpanDistanceMM
	}
	if c.o.HeadMM == 0 {
		c.o.HeadMM = usualHeadMM
	}
	for i := range h.Links {
		a, b := h.Heads[i].Center, h.Heads[i+1].Center
		d := r2.Sub(b, a)
		px := r2.Norm(d)
		mm := s.Distance(a, b, 0).Value
		c.length = append(c.length, mm)
		c.way = append(c.way, r2.Scale(1/px, d))
		c.size = append(c.size, mm/px)
		if i > 0 {
			turn := math.Acos(min(r2.Dot(c.way[i-1], c.way[i]), 1))
			c.bends = max(c.bends, turn)
		}
	}
	// The scale's own parts, as they are for the whole span.
	chord := s.Distance(h.Heads[0].Center, h.Heads[len(h.Heads)-1].Center, 0)
	for _, t := range chord.Budget {
		if t.U > 0 {
			c.scale = append(c.scale, uncert.Term{Name: t.Name, U: t.U / chord.Value, DF: t.DF})
		}
	}
	name, u := c.height()
	c.scale = append(c.scale, uncert.Term{Name: name, U: u})
	return c
}

// height returns the relative standard uncertainty of a length for the height
// of the heads over the scale.
func (c chain) height() (string, float64) {
	if c.o.HeightKnown {
		return "rims of the heads level with the scale", levelWithinMM / c.o.WorkingDistanceMM
	}
	return "height of the heads over the scale not stated", c.unstatedMM() / math.Sqrt(3) / c.o.WorkingDistanceMM
}

// unstatedMM is by how much the scale may lie lower or higher than the heads
// when nobody says: a rule laid on the bench beside the chain lies lower by
// the chain's width over its pins, about a pitch (judgement).
func (c chain) unstatedMM() float64 {
	mean := 0.0
	for _, l := range c.length {
		mean += l / float64(len(c.length))
	}
	return mean
}

// sum returns the sum of the named pitches over count.
func (c chain) sum(pitches []int, count float64) uncert.Quantity {
	in := make([]bool, len(c.length))
	total := 0.0
	for _, i := range pitches {
		in[i] = true
		total += c.length[i]
	}
	var edges, centres float64
	for k, h := range c.heads.Heads {
		// How the sum moves with the head, mm per pixel and per mm.
		var px, mm r2.Vec
		if k > 0 && in[k-1] {
			px, mm = r2.Add(px, r2.Scale(c.size[k-1], c.way[k-1])), r2.Add(mm, c.way[k-1])
		}
		if k < len(in) && in[k] {
			px, mm = r2.Sub(px, r2.Scale(c.size[k], c.way[k])), r2.Sub(mm, c.way[k])
		}
		edges += px.X*px.X*h.Cov[0][0] + 2*px.X*px.Y*h.Cov[0][1] + px.Y*px.Y*h.Cov[1][1]
		centres += r2.Norm2(mm)
	}
	b := uncert.Budget{
		{Name: "light and texture along the rims", U: math.Sqrt(max(edges, 0)) / count},
		{Name: "heads beside the axes of their " + plural(c.heads.Kind), U: c.o.HeadMM * math.Sqrt(centres) / count},
	}
	for _, t := range c.scale {
		b = append(b, uncert.Term{Name: t.Name, U: t.U * total / count, DF: t.DF})
	}
	return uncert.Combine(total/count, "mm", b)
}

// mean returns the mean of the named pitches, nil for none.
func (c chain) mean(pitches []int) *uncert.Quantity {
	if len(pitches) == 0 {
		return nil
	}
	q := c.sum(pitches, float64(len(pitches)))
	return &q
}

func plural(k geom.HeadKind) string {
	if k == geom.BushEnd {
		return "bushes"
	}
	return "pins"
}

// maxTurn is the turn from one link to the next up to which a chain counts as
// pulled tight; a sag of 5 degrees at the ends turns far less from link to
// link.
const maxTurn = 5 * math.Pi / 180

func (c chain) checks() []check.Check {
	return []check.Check{check.AtMost("turn between links", c.bends*180/math.Pi, maxTurn*180/math.Pi)}
}

func (c chain) notes() []string {
	var n []string
	if !c.o.HeightKnown {
		n = append(n, fmt.Sprintf("it was not said whether the scale lies in the plane of the heads: the intervals allow for up to %.0f mm lower or higher at %.0f mm from the lens; --same-plane or --plane-offset with --working-distance narrows them", c.unstatedMM(), c.o.WorkingDistanceMM))
	}
	n = append(n, fmt.Sprintf("heads are taken to lie within %.3g mm (one standard uncertainty) of the axes of their %s; riveted heads can be off by 0.02 to 0.1 mm each", c.o.HeadMM, plural(c.heads.Kind)))
	switch {
	case c.heads.Unclear:
		n = append(n, fmt.Sprintf("the ends along the chain are darker than pin heads and lighter than open bushes usually are: they are taken for %s, and if they are not the reference is wrong", plural(c.heads.Kind)))
	case c.heads.Kind == geom.BushEnd:
		n = append(n, "the ends along the chain are dark inside and taken for open bushes; hollow pins look the same, and from pin to pin wear shows in the other links")
	}
	if c.heads.LeftOff > 0 {
		n = append(n, fmt.Sprintf("joints at %d of the two ends of the row show no %s end as the others do and were left off: pins and bushes are not mixed in one span", c.heads.LeftOff, c.heads.Kind))
	}
	filled := 0
	for _, h := range c.heads.Heads {
		if h.Filled {
			filled++
		}
	}
	if filled > 0 {
		n = append(n, fmt.Sprintf("%d of %d heads were found only by looking where their neighbours say they must be", filled, len(c.heads.Heads)))
	}
	if c.bends > maxTurn {
		n = append(n, fmt.Sprintf("the chain turns by up to %.1f degrees from link to link: it was not pulled tight", c.bends*180/math.Pi))
	}
	return n
}
