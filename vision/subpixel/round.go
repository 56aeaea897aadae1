package subpixel

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// RoundFit is a single round edge, fitted to the light on both sides of it.
type RoundFit struct {
	Circle geom.Circle
	Arc    float64 // degrees of the rim that took part in the circle
	Blur   float64 // edge spread, pixels
	// Inside and Outside are the median light on the two sides, Noise that of
	// a pixel's residual.
	Inside, Outside, Noise float64
	Clipped                float64 // share of the directions lost to saturation
	// Misfit is by how much the light close to the rim strays from a single
	// step, beyond the grain farther off, as a share of the step: a line along
	// the rim is no step.
	Misfit float64
}

// Step returns the step of light at the rim.
func (f RoundFit) Step() float64 { return math.Abs(f.Outside - f.Inside) }

// roundSector is what one direction from the centre shows of a round edge.
type roundSector struct {
	px              []ringPixel
	clipped         int // pixels left out because they are saturated
	angle           float64
	inside, outside float64
	place, variance float64 // of the edge, from the circle, pixels
	lnBlur, rms     float64
	misfit          float64 // of the light close to the edge, root mean square
	ok              bool
}

// ringPixel is the light of a pixel and its distance from the circle.
type ringPixel struct{ d, light float64 }

// mostClipped is the share of saturated pixels from which on a sector is not
// used: the bright side of its edge is then cut off, which shows the edge too
// far on the dark side.
const mostClipped = 0.05

// Unknowns of a sector.
const (
	pInside = iota
	pOutside
	pPlace
	pLnBlur
	roundParams
)

// FitRound fits the circle of a round edge that is good to a spread or two at
// the start. In each sector of some twelve pixels of rim the light is
//
//	I = inside + (outside-inside) P((d-place)/s)
//
// with P the normal distribution function and d the distance from the circle.
// Levels and place are free in each sector; the edge spread s is the median of
// all. The places then give the circle by a robust fit, so that glare and dirt
// over up to half of the rim cannot pull it, and the whole is repeated about
// the new circle until nothing moves. As the 50 % contour of a blurred disc
// lies s²/(2R) inside its rim, the radius returned is corrected for that.
func FitRound(g raster.Gray, start geom.Circle, blur float64) (RoundFit, bool) {
	f := RoundFit{Circle: start, Blur: blur}
	var sectors []roundSector
	var r rim
	var p [3]float64
	const passes = 12
	for pass := range passes {
		if !f.sane(g, start) {
			return f, false
		}
		sectors = f.gather(g)
		for i := range sectors {
			sectors[i].fit(f.Blur)
		}
		f.sift(sectors)
		r = newRim(len(sectors))
		var lnBlurs []float64
		for i, s := range sectors {
			r.set(i, s.angle, s.place, s.variance, s.ok)
			if s.ok {
				lnBlurs = append(lnBlurs, s.lnBlur)
			}
		}
		var ok bool
		if p, f.Circle.Cov, _, ok = r.circle(); !ok {
			return f, false
		}
		f.Circle.R += p[0]
		f.Circle.Center = r2.Add(f.Circle.Center, r2.Vec{X: p[1], Y: p[2]})
		grow := middle(lnBlurs)
		f.Blur *= math.Exp(grow)
		if pass > 0 && math.Abs(p[0])+math.Abs(p[1])+math.Abs(p[2])+math.Abs(grow) < 0.003 {
			break
		}
	}
	f.figures(sectors, &r, p)
	f.Circle.R += f.Blur * f.Blur / (2 * f.Circle.R)
	return f, true
}

// sane keeps a fit that runs away from eating memory.
func (f *RoundFit) sane(g raster.Gray, start geom.Circle) bool {
	size := float64(max(g.W, g.H))
	return f.Circle.R > 4 && f.Circle.R < size && math.Abs(f.Circle.R-start.R) < 0.2*start.R &&
		r2.Norm(r2.Sub(f.Circle.Center, start.Center)) < 0.2*start.R &&
		f.Blur > 0.2 && f.Blur < 0.2*f.Circle.R
}

// gather collects the pixels beside the circle by sector.
func (f *RoundFit) gather(g raster.Gray) []roundSector {
	n := sectorsFor(f.Circle.R)
	out := make([]roundSector, n)
	band := max(bandSpreads*f.Blur, bandPixels)
	c, reach, least := f.Circle.Center, f.Circle.R+band, max(f.Circle.R-band, 0)
	share := int(4*math.Pi*f.Circle.R*band/float64(n)) + 8
	for i := range out {
		out[i].px = make([]ringPixel, 0, share)
		out[i].angle = 2 * math.Pi * (float64(i) + 0.5) / float64(n)
	}
	x0, x1 := max(0, int(math.Ceil(c.X-reach))), min(g.W-1, int(c.X+reach))
	y0, y1 := max(0, int(math.Ceil(c.Y-reach))), min(g.H-1, int(c.Y+reach))
	for y := y0; y <= y1; y++ {
		row := g.Row(y)
		dy := float64(y) - c.Y
		for x := x0; x <= x1; x++ {
			dx := float64(x) - c.X
			d2 := dx*dx + dy*dy
			if d2 > reach*reach || d2 < least*least {
				continue
			}
			s := &out[min(int(turn(dx, dy)*float64(n)), n-1)]
			if g.Clip > 0 && row[x] >= g.Clip {
				s.clipped++
				continue
			}
			s.px = append(s.px, ringPixel{math.Sqrt(d2) - f.Circle.R, float64(row[x])})
		}
	}
	return out
}

// fit fits the light of the sector by Gauss-Newton.
func (s *roundSector) fit(blur float64) {
	if len(s.px) < 24 || float64(s.clipped) > mostClipped*float64(s.clipped+len(s.px)) {
		return
	}
	s.guess(blur)
	var inv [maxParams][maxParams]float64
	const rounds = 6
	for round := range rounds {
		m := normal{n: roundParams}
		if round == 0 {
			m.n = pLnBlur // once the place is about right
		}
		b := blur * math.Exp(s.lnBlur)
		for _, q := range s.px {
			z := (q.d - s.place) / b
			cdf, pdf := edge(z)
			rise := s.outside - s.inside
			j := [maxParams]float64{1 - cdf, cdf, -rise * pdf / b, -rise * pdf * z}
			m.add(&j, q.light-s.inside-rise*cdf)
		}
		x, cov, ok := m.solve()
		if !ok {
			return
		}
		inv = cov
		s.inside += x[pInside]
		s.outside += x[pOutside]
		s.place += clamp(x[pPlace], 1.5*blur)
		s.lnBlur = clamp(s.lnBlur+clamp(x[pLnBlur], 0.3), 1)
		s.rms = math.Sqrt(m.sumsq / float64(m.count-m.n))
		if round > 1 && math.Abs(x[pPlace]) < 0.002 && math.Abs(x[pLnBlur]) < 0.002 {
			break
		}
	}
	s.misfit = s.strays(blur * math.Exp(s.lnBlur))
	s.variance = s.rms * s.rms * inv[pPlace][pPlace]
	s.ok = s.variance > 0 && math.Abs(s.place) < max(bandSpreads*blur, bandPixels)
}

// strays returns by how much the residuals close to the edge exceed those
// farther off, root mean square.
func (s *roundSector) strays(blur float64) float64 {
	var near, far, n, m float64
	for _, q := range s.px {
		z := (q.d - s.place) / blur
		cdf, _ := edge(z)
		res := q.light - s.inside - (s.outside-s.inside)*cdf
		if math.Abs(z) < 2.5 {
			near += res * res
			n++
		} else {
			far += res * res
			m++
		}
	}
	return math.Sqrt(max(near/max(n, 1)-far/max(m, 1), 0))
}

// guess sets the levels to those of the outer pixels on either side.
func (s *roundSector) guess(blur float64) {
	var in, out float64
	for _, q := range s.px {
		switch {
		case q.d < -1.5*blur:
			s.inside += q.light
			in++
		case q.d > 1.5*blur:
			s.outside += q.light
			out++
		}
	}
	s.inside /= max(in, 1)
	s.outside /= max(out, 1)
}

// sift takes the levels of the two sides from all sectors, and leaves out those
// whose step goes the other way, is faint, or fits badly: glare and dirt.
func (f *RoundFit) sift(sectors []roundSector) {
	var in, out, rms []float64
	clipped := 0
	for _, s := range sectors {
		if float64(s.clipped) > mostClipped*float64(s.clipped+len(s.px)) {
			clipped++
		}
		if s.ok {
			in, out, rms = append(in, s.inside), append(out, s.outside), append(rms, s.rms)
		}
	}
	f.Clipped = float64(clipped) / float64(len(sectors))
	f.Inside, f.Outside, f.Noise = middle(in), middle(out), middle(rms)
	step := f.Outside - f.Inside
	for i := range sectors {
		s := &sectors[i]
		s.ok = s.ok && (s.outside-s.inside)*step > faintest*step*step &&
			s.rms < max(4*f.Noise, 0.05*math.Abs(step))
	}
}

// linesAlike is by how much the scatter of the sectors shows the uncertainty too
// small: the lines of a ground face run along the rim on two sides and move long
// stretches of it alike. Over generated gauges of all kinds it is 1.4.
const linesAlike = 1.5

// figures sums up the sectors about the circle that p moved to.
func (f *RoundFit) figures(sectors []roundSector, r *rim, p [3]float64) {
	w := make([]float64, len(sectors))
	excess := r.weigh(p[0], p[1], p[2], math.Inf(1), w)
	f.Circle.RMS, f.Circle.Inliers = r.rms(p[0], p[1], p[2], w)
	f.Arc = 360 * float64(f.Circle.Inliers) / float64(len(sectors))
	var misfits []float64
	for _, s := range sectors {
		if s.ok {
			misfits = append(misfits, s.misfit)
		}
	}
	f.Misfit = middle(misfits) / max(f.Step(), 1e-9)
	grow := linesAlike * r.growth(p[0], p[1], p[2], excess, w)
	for i := range f.Circle.Cov {
		for k := range f.Circle.Cov {
			f.Circle.Cov[i][k] *= grow * grow
		}
	}
}
