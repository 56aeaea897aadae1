package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// Pair is two photos of a joint seen from the side: an upper link with a pin
// end that stays, and a lower link that moves. The camera moves too.
//
// All is given as the first photo shows it, in pixels.
type Pair struct {
	W, H     int
	Joint    r2.Vec  // middle of the pin end
	PinR     float64 // radius of the pin end
	PlateR   float64 // radius of the plates' ends and half their width
	Pitch    float64 // distance to the bush of the lower link
	AngleRad float64 // of the chain: direction of the lower link
	// Pull is how far the lower link goes, and SwingRad by how much it then
	// turns about the joint. A photo between the two is at a share of both.
	Pull     r2.Vec
	SwingRad float64
	// Shift, TurnRad and Zoom are the camera's movement about the middle of
	// the photo. The lower link, farther from the lens, follows the shift
	// less by the share Parallax, what is behind by three times that.
	Shift         r2.Vec
	TurnRad, Zoom float64
	Parallax      float64
	// Texture is the standard deviation of the brushed faces, a share of
	// their light.
	Texture float64
	// NoOutline leaves out pin end, seam and bush: nothing but texture tells
	// the links apart.
	NoOutline bool
	// Rule is the distance of the marks of the rule at the lower border; 0
	// leaves it out.
	Rule float64
	// Camera's blur softens the outlines; its other faults are as in a Scene.
	// Glare stays where it is in the photo.
	Camera Camera
	Seed   uint64
}

// Photo returns the photo in which the lower link has gone the share pulled of
// its way and the camera the share moved of its, read back into linear light.
// Photos of other takes differ in noise.
func (p Pair) Photo(pulled, moved float64, take uint64) (raster.Gray, error) {
	s := Scene{W: p.W, H: p.H, Camera: p.Camera, Seed: p.Seed*1000 + take}
	g := p.light(pulled, moved)
	s.lit(g)
	for _, spot := range p.Camera.Glare {
		spot.add(g)
	}
	s.expose(g)
	img, err := s.stored(g)
	if err != nil {
		return raster.Gray{}, err
	}
	return s.read(img), nil
}

// Photos returns the links pushed together and pulled apart.
func (p Pair) Photos() (together, apart raster.Gray, err error) {
	if together, err = p.Photo(0, 0, 1); err != nil {
		return together, apart, err
	}
	apart, err = p.Photo(1, 1, 2)
	return together, apart, err
}

// placed is a rigid movement in the plane: a turn with zoom and a shift.
type placed struct{ a, b, x, y float64 }

func (m placed) at(p r2.Vec) r2.Vec {
	return r2.Vec{X: m.a*p.X - m.b*p.Y + m.x, Y: m.b*p.X + m.a*p.Y + m.y}
}

// about returns the movement that turns by angle, grows by zoom and shifts.
func about(c r2.Vec, angle, zoom float64, shift r2.Vec) placed {
	sin, cos := math.Sincos(angle)
	m := placed{a: (1 + zoom) * cos, b: (1 + zoom) * sin}
	q := r2.Sub(r2.Add(c, shift), m.at(c))
	m.x, m.y = q.X, q.Y
	return m
}

// back returns the movement back.
func (m placed) back() placed {
	n := m.a*m.a + m.b*m.b
	k := placed{a: m.a / n, b: -m.b / n}
	q := k.at(r2.Vec{X: m.x, Y: m.y})
	k.x, k.y = -q.X, -q.Y
	return k
}

// light draws the scene.
func (p Pair) light(pulled, moved float64) raster.Gray {
	mid := r2.Vec{X: float64(p.W-1) / 2, Y: float64(p.H-1) / 2}
	camera := func(behind float64) placed {
		return about(mid, moved*p.TurnRad, moved*p.Zoom, r2.Scale(moved*(1-behind), p.Shift)).back()
	}
	upper, lower, ground := camera(0), camera(p.Parallax), camera(3*p.Parallax)
	link := about(p.Joint, pulled*p.SwingRad, 0, r2.Scale(pulled, p.Pull)).back()
	faces := p.faces()
	g := raster.NewGray(p.W, p.H)
	for y := range g.H {
		row := g.Row(y)
		for x := range row {
			at := r2.Vec{X: float64(x), Y: float64(y)}
			row[x] = faces.light(upper.at(at), link.at(lower.at(at)), ground.at(at))
		}
	}
	return g
}

// pairFaces draws the faces of a Pair.
type pairFaces struct {
	p                          Pair
	soft                       float64 // standard deviation of an outline
	along                      r2.Vec  // direction of the chain
	upper, lower, ground, bush shade
}

func (p Pair) faces() pairFaces {
	brushed := func(level, across float64, seed uint64) shade {
		f := Face{Level: level, Finish: Finish{Amplitude: p.Texture, AngleRad: p.AngleRad + 0.1, Along: 12 * across, Across: across}}
		return f.shade(p.Seed + seed)
	}
	f := pairFaces{
		p: p, soft: math.Max(p.Camera.Blur, 0.5), along: direction(p.AngleRad),
		upper: brushed(0.30, 3, 1), lower: brushed(0.22, 3, 2),
	}
	f.ground = Face{Level: 0.05, Finish: Finish{Amplitude: 0.05, Along: 5, Across: 5}}.shade(p.Seed + 3)
	f.bush = Face{Level: 0.4, Finish: Finish{Amplitude: p.Texture, Along: 4, Across: 4}}.shade(p.Seed + 4)
	return f
}

// light returns the light of the point that is u on the upper link and the
// rule, l on the lower link, g on what is behind.
func (f pairFaces) light(u, l, g r2.Vec) float32 {
	p := f.p
	reach := 4 * f.soft // of an outline
	over := func(under, face float32, outside float64) float32 {
		if outside > reach {
			return under
		}
		if outside < -reach {
			return face
		}
		share := float32(0.5 * math.Erfc(outside/f.soft/math.Sqrt2))
		return under + (face-under)*share
	}
	e := r2.Sub(u, p.Joint)
	end := capsule(e, r2.Scale(-1, f.along), 2*float64(p.W)) - p.PlateR
	var v float32
	// What the upper link hides or leaves free need not be drawn.
	if end >= -reach {
		v = f.under(l, g, over)
		if !p.NoOutline {
			v = over(v, 0.02, end-2)
		}
	}
	if end <= reach {
		v = over(v, f.upper.at2(u), end)
	}
	if !p.NoOutline {
		head := length(e) - p.PinR
		v = over(v, 0.05, head-2)
		v = over(v, 0.5, head)
	}
	if p.Rule > 0 {
		top := float64(p.H) - 2.2*p.Rule
		v = over(v, 0.6, top-u.Y)
		mark := math.Abs(u.X - p.Rule*math.Round(u.X/p.Rule))
		v = over(v, 0.03, max(mark-1.5, top-u.Y, u.Y-top-1.5*p.Rule))
	}
	return v
}

// under returns the light of the lower link and of what is behind it.
func (f pairFaces) under(l, g r2.Vec, over func(under, face float32, outside float64) float32) float32 {
	p := f.p
	d := r2.Sub(l, p.Joint)
	side := capsule(d, f.along, 2*float64(p.W)) - 0.9*p.PlateR
	var v float32
	if side >= -4*f.soft {
		v = f.ground.at2(g)
	}
	if side > 4*f.soft {
		return v
	}
	face := f.lower.at2(l)
	if !p.NoOutline {
		ring := length(r2.Sub(d, r2.Scale(p.Pitch, f.along)))
		if ring < 0.75*p.PlateR+4*f.soft {
			face = over(face, f.bush.at2(l), ring-0.75*p.PlateR)
		}
		face = over(face, 0.01, ring-0.5*p.PlateR)
	}
	return over(v, face, side)
}

// length is r2.Norm without its care for numbers that no picture has.
func length(d r2.Vec) float64 { return math.Sqrt(d.X*d.X + d.Y*d.Y) }

// capsule returns the distance of d from the stretch of the given length that
// begins at the origin.
func capsule(d, along r2.Vec, far float64) float64 {
	t := max(0, min(far, r2.Dot(d, along)))
	return length(r2.Sub(d, r2.Scale(t, along)))
}

// at2 returns the light of the face at a point.
func (s *shade) at2(p r2.Vec) float32 {
	if s.amplitude == 0 {
		return s.level
	}
	return s.level * max(0, 1+s.amplitude*s.pattern(p.X, p.Y))
}
