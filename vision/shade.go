package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// shadow is light lost beside a rim.
type shadow struct {
	share, u float64 // of the light, with its standard uncertainty
	reach    float64 // how far from the rim it is down to half, pixels
}

// shade compares the light on the bush (rim 0) or on the pin's end (1) close to
// its rim with that farther from it, on the side the pin leans on and on the far
// side.
//
// Between a pin and a bush of equal height no light is lost; a pin that
// stands proud shades the bush beside it, and one that lies deep is in the shade
// of the bore, most where they touch, and the farther the higher or deeper.
func shade(g raster.Gray, f subpixel.CrescentFit, rim int, rays []rimRay) shadow {
	lean := r2.Sub(f.Pin.Center, f.Bore.Center)
	if r2.Norm(lean) < 1 || len(f.Sectors) == 0 {
		return shadow{}
	}
	lean = r2.Unit(lean)
	c, blur, dir := facing(f, rim)
	margin := 2.5*blur + 0.3 + f.Bevels[rim].Width
	const near = 3
	reach := 0.2 * c.R
	var touching, far [][]float64 // ln of the light by distance, over that farther away
	for _, p := range rays {
		toward := p.cos*lean.X + p.sin*lean.Y
		if math.Abs(toward) < 0.7 {
			continue
		}
		// A rim does not grow: what lies off it the other way is not where it is.
		worn := dir * max(dir*p.dev, 0)
		line := rayLight(g, c.Center, p.cos, p.sin, c.R+worn+dir*margin, dir, int(reach))
		out := mean(line[len(line)*3/5:])
		if out <= 0 {
			continue
		}
		for k, v := range line {
			line[k] = math.Log(max(v, 1e-4) / out)
		}
		if toward > 0 {
			touching = append(touching, line)
		} else {
			far = append(far, line)
		}
	}
	if len(touching) < 8 || len(far) < 8 {
		return shadow{}
	}
	at := func(lines [][]float64, from, to int) (float64, float64) {
		v := make([]float64, len(lines))
		for i, l := range lines {
			v[i] = mean(l[from:to])
		}
		return centre(v)
	}
	a, ua := at(touching, 0, near)
	b, ub := at(far, 0, near)
	out := shadow{share: b - a, u: math.Hypot(ua, ub)}
	for d := 0; d+2 < len(touching[0]); d++ {
		t, _ := at(touching, d, d+2)
		o, _ := at(far, d, d+2)
		if o-t < out.share/2 {
			break
		}
		out.reach = float64(d) + margin
	}
	return out
}

// facing returns the circle of the bore's rim (0) or the pin's (1), its edge spread, and
// whether its face lies outside (+1) or inside (-1).
func facing(f subpixel.CrescentFit, rim int) (c geom.Circle, blur, dir float64) {
	if rim == 1 {
		return f.Pin, f.BlurPin, -1
	}
	return f.Bore, f.BlurBore, +1
}

// rayLight returns the light along a ray of a centre, n+1 places a pixel apart,
// from a radius outwards (dir +1) or inwards (-1).
func rayLight(g raster.Gray, c r2.Vec, cos, sin, from, dir float64, n int) []float64 {
	line := make([]float64, n+1)
	for k := range line {
		r := from + dir*float64(k)
		line[k] = g.Bilinear(c.X+r*cos, c.Y+r*sin)
	}
	return line
}

func mean(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// rimRay is a direction in which a rim was found, and how far off its circle it lies
// there, pixels: worn, it lies elsewhere.
type rimRay struct{ angle, cos, sin, dev float64 }

// rimRays returns those of the bore's rim (0) or the pin's (1) that oil does not cover.
// Where none was found the face may begin anywhere.
func rimRays(f subpixel.CrescentFit, rim int) (out []rimRay) {
	for _, s := range f.Sectors {
		if !s.Fitted || covered(f, s) {
			continue
		}
		p := rimRay{angle: s.Angle, dev: s.Bore}
		if rim == 1 {
			p = rimRay{angle: s.PinAngle, dev: s.Pin}
		}
		p.sin, p.cos = math.Sincos(p.angle)
		out = append(out, p)
	}
	return out
}

// bevel returns the width of a strip beside the bore's rim (0) or the pin's
// (1), on the side of the face, whose light differs from that of the face
// beyond by more than a tenth, pixels; by more than mostUneven on one side only, where
// a lamp on one side lights the strip otherwise than on the other.
func bevel(g raster.Gray, f subpixel.CrescentFit, rim int, rays []rimRay) float64 {
	const differs, mostUneven, sides = 0.1, 0.4, 6
	width := strip(g, f, rim, differs, rays)
	for k := range sides {
		middle := 2 * math.Pi * float64(k) / sides
		var side []rimRay
		for _, p := range rays {
			if math.Abs(math.Remainder(p.angle-middle, 2*math.Pi)) < math.Pi/sides {
				side = append(side, p)
			}
		}
		width = max(width, strip(g, f, rim, mostUneven, side))
	}
	return width
}

// strip returns the width of a strip beside a rim, along some of its rays, whose
// light differs by a share from that of the face beyond.
func strip(g raster.Gray, f subpixel.CrescentFit, rim int, differs float64, along []rimRay) float64 {
	const sure = 3.0
	c, blur, dir := facing(f, rim)
	from, to := math.Ceil(2*blur+1), math.Ceil(0.1*c.R)
	v := make([]float64, 0, len(along))
	ring := func(d float64) []float64 {
		v = v[:0]
		for _, p := range along {
			r := c.R + dir*d + p.dev
			if x, y := c.Center.X+r*p.cos, c.Center.Y+r*p.sin; g.Inside(x, y) {
				v = append(v, g.Bilinear(x, y))
			}
		}
		return v
	}
	var beyond []float64
	for _, d := range []float64{to, to + 2, to + 4, 1.2 * to, 1.4 * to} {
		beyond = append(beyond, middle(ring(d)))
	}
	face := middle(beyond)
	if face <= 0 {
		return 0
	}
	width := 0.0
	for d := from; d < to; d++ {
		light, u := centre(ring(d))
		if math.Abs(light-face) < max(differs*face, sure*u) {
			break
		}
		width = d
	}
	return width
}

// centre returns the median of v and its standard uncertainty. Neighbouring
// directions share the same scratches: a quarter of them are taken to be
// independent.
func centre(v []float64) (mid, u float64) {
	mid = middle(v)
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - mid)
	}
	return mid, 1.253 * 1.48 * middle(d) / math.Sqrt(float64(len(v))/4)
}

// middle returns the median of v, 0 for none.
func middle(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(v))
	return (s[len(s)/2] + s[(len(s)-1)/2]) / 2
}
