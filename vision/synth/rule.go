package synth

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
)

// Rule is a graduated rule. Its marks stand on a base line through Origin in
// direction AngleRad and reach to the right of that direction as one looks
// along it on a screen (towards AngleRad + 90 degrees).
type Rule struct {
	Origin   r2.Vec // foot of mark 0
	AngleRad float64
	Period   float64 // distance of neighbouring marks at Origin, pixels
	Marks    int     // 0 leaves the rule out
	// LineWidth is the width of a mark; Short, Mid and Long are the lengths
	// of ordinary, every MidEvery-th and every LongEvery-th mark. A mark k is
	// longer when k + First divides.
	LineWidth, Short, Mid, Long float64
	MidEvery, LongEvery         int
	First                       int // the number that mark 0 stands for
	// DigitHeight is the height of the numbers under the long marks; 0 leaves
	// them out.
	DigitHeight float64
	// The body reaches Edge before the base line, Width behind it and End
	// beyond the outer marks.
	Edge, Width, End float64
	Body             Face
	Ink              float64 // light out of marks and digits
	// PerspectiveAlong and PerspectiveAcross are the relative change of the
	// period per pixel along the rule and across it.
	PerspectiveAlong, PerspectiveAcross float64
	Covered                             []Dirt
}

// Dirt hides the marks From to To, both included, and half a division beyond.
type Dirt struct {
	From, To int
	Level    float64
}

// Foot returns where mark k stands on the base line, before any tilt of the
// camera.
func (r Rule) Foot(k int) r2.Vec { return r.at(float64(k)*r.Period, 0) }

// at returns the place of the point a along and b across the rule. With
// w = 1 - PerspectiveAlong a/2 - PerspectiveAcross b it is seen at (a, b)/w,
// so that to first order lengths along the rule grow by PerspectiveAlong a +
// PerspectiveAcross b.
func (r Rule) at(a, b float64) r2.Vec {
	w := 1 - r.PerspectiveAlong*a/2 - r.PerspectiveAcross*b
	a, b = a/w, b/w
	d := direction(r.AngleRad)
	return r2.Add(r.Origin, r2.Vec{X: a*d.X - b*d.Y, Y: a*d.Y + b*d.X})
}

// rectangle returns the contour of a rectangle in the rule's coordinates.
func (r Rule) rectangle(a0, b0, a1, b1 float64) []r2.Vec {
	return []r2.Vec{r.at(a0, b0), r.at(a1, b0), r.at(a1, b1), r.at(a0, b1)}
}

// body returns the outline of the rule.
func (r Rule) body() [][]r2.Vec {
	last := float64(r.Marks-1) * r.Period
	return [][]r2.Vec{r.rectangle(-r.End, -r.Edge, last+r.End, r.Width)}
}

// ink returns the outlines of all marks and digits.
func (r Rule) ink() [][]r2.Vec {
	var all [][]r2.Vec
	for k := range r.Marks {
		a, length := float64(k)*r.Period, r.Short
		number := k + r.First
		switch {
		case divides(r.LongEvery, number):
			length = r.Long
			if r.DigitHeight > 0 {
				all = append(all, r.digits(strconv.Itoa(number), a)...)
			}
		case divides(r.MidEvery, number):
			length = r.Mid
		}
		all = append(all, r.rectangle(a-r.LineWidth/2, 0, a+r.LineWidth/2, length))
	}
	return all
}

func divides(m, n int) bool { return m > 0 && n%m == 0 }

// digits returns the outlines of a number centred under the mark at a.
func (r Rule) digits(number string, a float64) [][]r2.Vec {
	const advance, thick = 0.78, 0.13 // shares of the height
	h := r.DigitHeight
	a -= h * (advance*float64(len(number)-1) + digitWidth) / 2
	top := r.Long + 0.35*h
	var all [][]r2.Vec
	for _, c := range number {
		for _, line := range strokes[c] {
			for i := 1; i < len(line); i++ {
				p, q := r2.Scale(h, line[i-1]), r2.Scale(h, line[i])
				all = append(all, r.stroke(a, top, p, q, thick*h/2))
			}
		}
		a += advance * h
	}
	return all
}

// stroke returns the outline of a line from p to q with square ends.
func (r Rule) stroke(a, b float64, p, q r2.Vec, half float64) []r2.Vec {
	u := r2.Scale(half, r2.Unit(r2.Sub(q, p)))
	v := r2.Vec{X: -u.Y, Y: u.X}
	u = r2.Scale(0.2, u) // enough to close the outside of a curve
	p, q = r2.Sub(p, u), r2.Add(q, u)
	corners := []r2.Vec{r2.Add(p, v), r2.Sub(p, v), r2.Sub(q, v), r2.Add(q, v)}
	for i, c := range corners {
		corners[i] = r.at(a+c.X, b+c.Y)
	}
	return corners
}

// dirt returns the outline of a patch that hides marks.
func (r Rule) dirt(d Dirt) []r2.Vec {
	a0, a1 := (float64(d.From)-0.5)*r.Period, (float64(d.To)+0.5)*r.Period
	const n = 48
	pts := make([]r2.Vec, n)
	for i := range pts {
		p := direction(2 * math.Pi * float64(i) / n)
		// A rounded box: nearly straight sides, so that every mark is hidden
		// over its whole length.
		u := math.Copysign(math.Pow(math.Abs(p.X), 0.3), p.X)
		v := math.Copysign(math.Pow(math.Abs(p.Y), 0.3), p.Y)
		pts[i] = r.at((a0+a1)/2+u*(a1-a0)/2, r.Long/2+v*(r.Long/2+r.Edge))
	}
	return pts
}
