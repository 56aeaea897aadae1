package synth

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Chain is a chain seen from the side: pins riveted into outer plates that lie
// over the inner ones.
type Chain struct {
	Pins       []r2.Vec // centres of the heads along the chain; none leaves it out
	FirstInner bool     // the first link is an inner one
	HeadR      float64  // radius of a head
	// PlateR is the radius of a plate's round ends, Waist its half height in
	// the middle of the link.
	PlateR, Waist float64
	Outer, Inner  Face
	// LineWidth and LineLevel are those of the dark foot of a head and of the
	// shadow along the edge of the outer plates; a level is a share of the
	// plate's. ShadowWidth 0 leaves the edges of the outer plates without one.
	LineWidth, LineLevel float64
	ShadowWidth          float64
	Dome                 Dome
	// Tails lets an inner plate run on beyond an outer link at the end, with
	// its bush open there when BushHoleR is set.
	Tails     bool
	BushHoleR float64
	// Open are the joints without a pin, from one end or all: their bushes are
	// open. Where both joints of an outer link are open its near plate is off,
	// and the far one lies under the inner plates.
	Open []int
	Bush Bush
	// Hidden has the numbers of heads under a patch of dirt.
	Hidden []int
}

// Bush is the look of an open bush: a ring about a dark hole, flush in its
// inner plate, or in its roller where RollerR is set and the near inner plates
// are off too.
type Bush struct {
	HoleR, RingR, RollerR float64
	Ring, Roller          Face
	Dark                  float64 // light out of the hole
	SeamWidth             float64 // dark line around the ring
}

// Dome is the look of a head: dark metal with a ring-shaped mirror image of
// the lamps, moved off the centre.
type Dome struct {
	Level     float64 // light of the metal
	Highlight float64 // light of the mirrored lamps
	// Ring and Width are the radius and the standard deviation across of the
	// ring as shares of the head's radius.
	Ring, Width float64
	// Shift moves the ring of each head towards Towards, by this share of the
	// head's radius for each thousand pixels of distance, but not so far that
	// the lamps would be mirrored in the steep foot of the dome.
	Shift   float64
	Towards r2.Vec
	Grain   float64 // standard deviation of the light, share
}

// Pitches returns the distances of neighbouring pins in pixels.
func (c Chain) Pitches() []float64 {
	var p []float64
	for i := 1; i < len(c.Pins); i++ {
		p = append(p, r2.Norm(r2.Sub(c.Pins[i], c.Pins[i-1])))
	}
	return p
}

// tails returns the far ends of the inner plates beyond the outer links at the
// ends of the chain, which lie a pitch beyond the last pin.
func (c Chain) tails() [][2]r2.Vec {
	n := len(c.Pins)
	var t [][2]r2.Vec
	if !c.Tails || n < 2 {
		return t
	}
	beyond := func(a, b r2.Vec) [2]r2.Vec { return [2]r2.Vec{b, r2.Add(b, r2.Sub(b, a))} }
	if !c.FirstInner {
		t = append(t, beyond(c.Pins[1], c.Pins[0]))
	}
	if (n%2 == 0) != c.FirstInner {
		t = append(t, beyond(c.Pins[n-2], c.Pins[n-1]))
	}
	return t
}

// plate returns the outline of a plate about two pins, grown by more.
func (c Chain) plate(a, b r2.Vec, more, step float64) []r2.Vec {
	way := r2.Sub(b, a)
	pitch := r2.Norm(way)
	u := r2.Scale(1/pitch, way)
	v := r2.Vec{X: -u.Y, Y: u.X}
	r := c.PlateR + more
	half := func(t float64) float64 { // at the distance t from a, between the pins
		s := math.Cos(math.Pi * t / pitch)
		return c.Waist + more + (c.PlateR-c.Waist)*s*s
	}
	var pts []r2.Vec
	put := func(x, y float64) { pts = append(pts, r2.Add(a, r2.Add(r2.Scale(x, u), r2.Scale(y, v)))) }
	arcs := int(math.Ceil(math.Pi * r / step))
	sides := int(math.Ceil(pitch / step))
	for i := range arcs { // round the end at b
		sin, cos := math.Sincos(math.Pi * (float64(i)/float64(arcs) - 0.5))
		put(pitch+r*cos, r*sin)
	}
	for i := range sides {
		t := pitch * (1 - float64(i)/float64(sides))
		put(t, half(t))
	}
	for i := range arcs {
		sin, cos := math.Sincos(math.Pi * (float64(i)/float64(arcs) + 0.5))
		put(r*cos, r*sin)
	}
	for i := range sides {
		t := pitch * float64(i) / float64(sides)
		put(t, -half(t))
	}
	return pts
}

// chain paints the chain.
func (p *painter) chain(c Chain, step float64) {
	links := len(c.Pins) - 1
	inner := func(i int) bool { return (i%2 == 0) == c.FirstInner }
	open := func(i int) bool { return slices.Contains(c.Open, i) }
	bare := func(i int) bool { return open(i) && open(i+1) } // a link without its near outer plates
	far := Face{Level: 0.5 * c.Inner.Level, Finish: c.Inner.Finish}
	for i := range links {
		if !inner(i) && bare(i) {
			p.over(far, c.plate(c.Pins[i], c.Pins[i+1], 0, step))
		}
	}
	for i := range links {
		if inner(i) && bare(i) && c.Bush.RollerR > 0 {
			p.over(far, c.plate(c.Pins[i], c.Pins[i+1], 0, step))
			continue
		}
		if inner(i) {
			if c.ShadowWidth > 0 && bare(i) {
				p.over(Face{Level: c.LineLevel * c.Inner.Level}, c.plate(c.Pins[i], c.Pins[i+1], c.ShadowWidth, step))
			}
			p.over(c.Inner, c.plate(c.Pins[i], c.Pins[i+1], 0, step))
		}
	}
	for _, t := range c.tails() {
		p.over(c.Inner, c.plate(t[0], t[1], 0, step))
		if c.BushHoleR > 0 {
			p.over(Face{Level: 1.2 * c.Inner.Level}, disc(t[1], 1.5*c.BushHoleR, step))
			p.over(Face{Level: c.LineLevel * 0.1 * c.Inner.Level}, disc(t[1], c.BushHoleR, step))
		}
	}
	dark := Face{Level: c.LineLevel * c.Outer.Level}
	for i := range links {
		if !inner(i) && !bare(i) {
			if c.ShadowWidth > 0 {
				p.over(dark, c.plate(c.Pins[i], c.Pins[i+1], c.ShadowWidth, step))
			}
			p.over(c.Outer, c.plate(c.Pins[i], c.Pins[i+1], 0, step))
		}
	}
	for i, at := range c.Pins {
		if open(i) {
			p.bush(c, at, step)
			continue
		}
		p.inside(c.Outer, dark, disc(at, c.HeadR, step))
		p.dome(c, at, step)
	}
	for _, i := range c.Hidden {
		p.over(Face{Level: 0.5 * c.Outer.Level, Finish: Finish{Amplitude: 0.3, Along: 9, Across: 7}}, disc(c.Pins[i], 1.25*c.HeadR, step))
	}
}

// bush paints the open bush at a place.
func (p *painter) bush(c Chain, at r2.Vec, step float64) {
	b := c.Bush
	seam := Face{Level: c.LineLevel * c.Inner.Level}
	if b.RollerR > 0 {
		p.over(b.Roller, disc(at, b.RollerR, step))
	}
	p.over(seam, disc(at, b.RingR+b.SeamWidth, step))
	p.over(b.Ring, disc(at, b.RingR, step))
	p.over(Face{Level: b.Dark}, disc(at, b.HoleR, step))
}

// dome paints the head at a place, within its dark foot.
func (p *painter) dome(c Chain, at r2.Vec, step float64) {
	d := c.Dome
	to := r2.Sub(d.Towards, at)
	shift := min(d.Shift*r2.Norm(to)/1000, max(0.9-d.Ring-1.5*d.Width, 0)) * c.HeadR
	if n := r2.Norm(to); n > 0 {
		to = r2.Scale(shift/n, to)
	}
	lamps := r2.Add(at, to)
	k := p.cover
	k.fill(p.s.project([][]r2.Vec{disc(at, c.HeadR-c.LineWidth, step)})...)
	for y := k.y0; y < k.y1; y++ {
		out := p.out.Row(y)[k.x0:k.x1]
		for i, share := range k.row(y) {
			if share == 0 {
				continue
			}
			x := k.x0 + i
			z := (r2.Norm(r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, lamps))/c.HeadR - d.Ring) / d.Width
			light := d.Level + d.Highlight*math.Exp(-z*z/2)
			light *= max(0, 1+d.Grain*float64(lattice(float64(x)/1.7, float64(y)/1.7, p.s.Seed)))
			out[i] += (float32(light) - out[i]) * share
		}
	}
}
