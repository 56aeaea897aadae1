package vision

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// ruleScene describes a generated photo of a rule. Marks are rectangles
// blurred by a Gaussian, so their places are exact; noise is added to the
// encoded 8-bit values as a camera would.
type ruleScene struct {
	w, h       int
	period     float64 // pixels in the middle
	marks      int
	angle      float64 // radians, direction of the rule
	width      float64 // of a mark, share of the period
	length     float64 // of a short mark, periods
	longEvery  int
	halves     bool    // every other mark is shorter still, as the half millimetres of a rule are
	middle     r2.Vec  // pixel of the middle of the rule's base line
	blur       float64 // pixels
	noise      float64 // grey levels of 255
	dark       float64 // light of the marks
	light      float64 // light of the rule
	tilt       float64 // relative change of the period from end to end
	tiltAcross float64 // relative change of the period per 1000 px across the rule
	covered    float64 // share of the rule's length hidden under spots
	glare      int     // saturating spots on the rule
	oil        int     // drops that darken what is under them and glint
	gradient   float64 // relative change of light over the picture
	digits     bool
	brushed    bool    // lines in the metal round about
	faint      float64 // how much fainter every other mark is, 0 to 1
	hidden     [2]int  // marks from the first up to the second are covered
	seed       uint64
}

func (s ruleScene) rng() *rand.Rand { return rand.New(rand.NewPCG(s.seed, 7)) }

// onRule returns the rule's own coordinates of a pixel, in divisions along and
// across: t = 0 is the middle, marks are at whole t (an odd count) or at half
// t (an even count); their base is at w = 0 and they reach to w = length.
func (s ruleScene) onRule(p r2.Vec) (t, w float64) {
	d := r2.Sub(p, s.middle)
	c, n := math.Cos(s.angle), math.Sin(s.angle)
	x, y := d.X*c+d.Y*n, -d.X*n+d.Y*c
	// A plane seen at a slant: (x, y) = period (t, w) / (1 + a t + b w).
	a := -s.tilt / 2 / float64(s.marks-1)
	b := -s.tiltAcross / 1000 * s.period
	// period t - a x t - b x w = x; period w - a y t - b y w = y.
	det := (s.period-a*x)*(s.period-b*y) - (b*x)*(a*y)
	t = (x*(s.period-b*y) + b*x*y) / det
	w = ((s.period-a*x)*y + a*y*x) / det
	return t, w
}

// pixelOf is the inverse of onRule.
func (s ruleScene) pixelOf(t, w float64) r2.Vec {
	a := -s.tilt / 2 / float64(s.marks-1)
	b := -s.tiltAcross / 1000 * s.period
	d := 1 + a*t + b*w
	x, y := s.period*t/d, s.period*w/d
	c, n := math.Cos(s.angle), math.Sin(s.angle)
	return r2.Vec{X: s.middle.X + x*c - y*n, Y: s.middle.Y + x*n + y*c}
}

// number returns t as the number of a mark, the first one being 0.
func (s ruleScene) number(t float64) float64 { return t + float64(s.marks-1)/2 }

func (s ruleScene) markLength(k int) float64 {
	if s.halves {
		if k%2 != 0 {
			return s.length
		}
		k, s.length = k/2, 1.4*s.length
	}
	switch {
	case s.longEvery > 0 && k%(2*s.longEvery) == 0:
		return 2 * s.length
	case s.longEvery > 0 && k%s.longEvery == 0:
		return 1.5 * s.length
	}
	return s.length
}

func cdf(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// inked returns the share of mark at a place on the rule.
func (s ruleScene) inked(t, w float64) float64 {
	n := s.number(t)
	k := int(math.Round(n))
	if k < 0 || k >= s.marks {
		return 0
	}
	b := s.blur / s.period
	d := n - float64(k)
	if math.Abs(d) > s.width/2+5*b {
		return 0
	}
	if s.hidden[0] <= k && k < s.hidden[1] {
		return 0
	}
	strength := 1.0
	if k%2 == 1 {
		strength -= s.faint
	}
	across := cdf((d+s.width/2)/b) - cdf((d-s.width/2)/b)
	return strength * across * (cdf(w/b) - cdf((w-s.markLength(k))/b))
}

// bed is how far the rule reaches across: the longest marks and the figures.
func (s ruleScene) bed() float64 {
	if s.halves {
		return 1.4*2.3*s.length + 4
	}
	return 2.3*s.length + 4
}

// digit says whether a place is on a figure of the rule: a made-up one of
// seven bars, below each mark of the longest kind.
func (s ruleScene) digit(t, w float64) bool {
	every := 2 * max(1, s.longEvery)
	if s.halves {
		every *= 2
	}
	n := s.number(t)
	k := every * int(math.Round(n/float64(every)))
	x, y := (n-float64(k))/1.6+0.5, (w-s.bed()+4)/2.4
	if x < 0 || x > 1 || y < 0 || y > 1 {
		return false
	}
	bars := uint(k*37+11) | 1<<uint(k%7)
	edge := func(v, at float64) bool { return math.Abs(v-at) < 0.1 }
	switch {
	case edge(y, 0.1):
		return bars&1 != 0
	case edge(y, 0.5):
		return bars&2 != 0
	case edge(y, 0.9):
		return bars&4 != 0
	case edge(x, 0.1):
		return y < 0.5 && bars&8 != 0 || y > 0.5 && bars&16 != 0
	case edge(x, 0.9):
		return y < 0.5 && bars&32 != 0 || y > 0.5 && bars&64 != 0
	}
	return false
}

// draw renders the scene.
func (s ruleScene) draw() raster.Gray {
	rng := s.rng()
	g := raster.NewGray(s.w, s.h)
	type spot struct {
		at r2.Vec
		r  float64
	}
	half := float64(s.marks-1) / 2
	onMarks := func() r2.Vec {
		return s.pixelOf((2*rng.Float64()-1)*half, s.length*rng.Float64())
	}
	var spots, glares, drops []spot
	for hidden := 0.0; hidden < s.covered*float64(s.marks); {
		r := min((1+2*rng.Float64())*s.length/2, s.covered*float64(s.marks)/2+0.5) * s.period
		spots = append(spots, spot{onMarks(), r})
		hidden += 2 * r / s.period
	}
	for range s.glare {
		glares = append(glares, spot{onMarks(), s.period * s.length})
	}
	for range s.oil {
		drops = append(drops, spot{onMarks(), s.period * s.length * (0.5 + rng.Float64())})
	}
	grain := newBrushing(rng, s.angle+0.5)
	alongGrain := newBrushing(rng, s.angle)
	bed := s.bed()
	for y := range s.h {
		row := g.Row(y)
		for x := range row {
			p := r2.Vec{X: float64(x), Y: float64(y)}
			t, w := s.onRule(p)
			v := 0.12
			if w > -0.7*s.length && w < bed && math.Abs(t) < half+6 {
				v = s.light
				if s.brushed {
					v *= 1 + 0.25*alongGrain.at(p.X, p.Y)
				}
				ink := s.inked(t, w)
				if s.digits && s.digit(t, w) {
					ink = 1
				}
				v += ink * (s.dark - v)
			} else if s.brushed {
				v = 0.35 * (1 + 1.2*grain.at(p.X, p.Y))
			}
			for _, c := range spots {
				if r2.Norm(r2.Sub(p, c.at)) < c.r {
					v = 0.2*s.light + 0.05*v
				}
			}
			for _, c := range drops {
				if d := r2.Scale(1/c.r, r2.Sub(p, c.at)); r2.Norm(d) < 1 {
					glint := r2.Norm(r2.Add(d, r2.Vec{X: 0.4, Y: 0.4})) / 0.15
					v = 0.45*v + 0.8*math.Exp(-glint*glint)
				}
			}
			for _, c := range glares {
				d := r2.Norm(r2.Sub(p, c.at)) / c.r
				v += 1.5 * math.Exp(-d*d/2)
			}
			v *= 1 + s.gradient*(float64(x)/float64(s.w)-0.5)
			row[x] = float32(max(0, v))
		}
	}
	develop8(g, s.noise, rng)
	return g
}

// develop8 sends light through an 8-bit sRGB file with noise in its levels.
func develop8(g raster.Gray, noise float64, rng *rand.Rand) {
	table := raster.SRGB.Table(256)
	for i, v := range g.Pix {
		level := 255*raster.SRGB.Encode(min(1, float64(v))) + noise*rng.NormFloat64()
		g.Pix[i] = table[int(max(0, min(255, math.Round(level))))]
	}
}

// brushing is the grain of brushed metal: random lines of all depths along one
// direction, from -1 to 1.
type brushing struct {
	along r2.Vec
	lines [4096]float64
	cut   [4096]float64
}

func newBrushing(rng *rand.Rand, angle float64) *brushing {
	b := &brushing{along: r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}}
	for i := range b.lines {
		b.lines[i] = rng.Float64()*rng.Float64()*2 - 0.5
		b.cut[i] = rng.Float64() * 400
	}
	return b
}

func (b *brushing) at(x, y float64) float64 {
	across := -x*b.along.Y + y*b.along.X
	// Lines at uneven distances.
	at := across/1.7 + 3*math.Sin(across/37) + 1.5*math.Sin(across/7.3) + 2000
	i := int(math.Floor(at))
	f := at - float64(i)
	value := func(i int) float64 {
		i = (i%4096 + 4096) % 4096
		// Scratches begin and end.
		piece := int(math.Floor((x*b.along.X + y*b.along.Y + b.cut[i]) / 150))
		return b.lines[(i*31+piece*17%4096+4096)%4096] * 0.8
	}
	return value(i)*(1-f) + value(i+1)*f
}
