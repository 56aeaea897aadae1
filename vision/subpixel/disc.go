package subpixel

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// HeadLook is how the rims of a photo's heads look: a dark line of some width
// between head and plate, blurred by the edge spread (standard deviation),
// both in pixels.
type HeadLook struct{ Width, Blur float64 }

// HeadFit is a pin's head, or the open end of a bush, fitted to the light
// beside its rim.
type HeadFit struct {
	Circle geom.Circle // through the middle of the dark line
	Arc    float64     // degrees of the rim that took part in the circle
	// Step is the median rise of light from the line to the plate, Plate and
	// Inside the median light of the plate beside the line and well inside the
	// head, Noise that of a pixel's residual.
	Step, Plate, Inside, Noise float64
	// Misfit is the mean square of the residuals of the middle sector over what
	// grain of usual strength would leave.
	Misfit float64
}

// lineSector is what one direction from the head's centre shows.
type lineSector struct {
	px    []headPixel
	start [6]float64 // plate, line, head, its slope and bend, place of the line
	angle float64
	line  sectorFit
}

type headPixel struct{ x, y, light float32 }

type sectorFit struct {
	p        [6]float64
	variance float64 // of the place
	misfit   float64
	ok       bool
}

// Grain that is taken for usual, to weigh pixels: standard deviation of the
// light of a plate and of a domed head as a share of it, over a floor. A
// polished dome mirrors the lamps from every scratch.
const (
	grainFloor = 0.01
	grainPlate = 0.05
	grainHead  = 0.2
	// Inside the line, light above this share of the plate's is a lamp
	// mirrored in the dome, and says nothing of the rim.
	highlight = 1.5
)

// FitHead fits the rim of a head that is about where start says.
//
// A head meets the plate around it in a thin dark line: the steep foot of the
// dome, the joint, and its shadow. In each sector of the rim the light is
//
//	I = H(d) outside-in up to the line, D in it, P beyond, blurred
//
// with the plate's light P and the line's light D free in each sector, H a
// parabola of the distance d from the circle for the dome, which is bright on
// one side and dark on the other, and the place of the line. The places of the
// sectors then give the circle by a robust fit, and the whole is repeated about
// the new circle until nothing moves. Width and blur of the line are those of
// look, common to all heads of a photo.
func FitHead(g raster.Gray, start geom.Circle, look HeadLook) (HeadFit, bool) {
	return fitHead(g, start, look, (*rim).circle)
}

// FitHeadOfSize is FitHead for a head whose radius is known to be that of
// start: of one that is half hidden the centre alone is looked for.
func FitHeadOfSize(g raster.Gray, start geom.Circle, look HeadLook) (HeadFit, bool) {
	return fitHead(g, start, look, (*rim).shift)
}

// HeadMisfit returns how badly the light about a head, or about where it is to
// be, fits a rim of that look: FitHead's Misfit, from every second sector by
// itself.
func HeadMisfit(g raster.Gray, start geom.Circle, look HeadLook) (misfit float64, ok bool) {
	inner, outer := look.band(start.R)
	sectors := gatherHead(g, start, inner+startReach, outer+startReach)
	r := newRim(len(sectors))
	c, ok := nearLine(sectors, &r, start, look, outer, (*rim).circle)
	if !ok {
		return 0, false
	}
	plate := plateLight(sectors, c, look.Width/2+look.Blur, outer)
	var misfits []float64
	for i := 0; i < len(sectors); i += 2 {
		s := &sectors[i]
		if s.fit(c, look, inner, outer, plate, firstLine(plate)); s.line.ok {
			misfits = append(misfits, s.line.misfit)
		}
	}
	return middle(misfits), 4*len(misfits) > len(sectors)
}

// circleFit fits growth and shift (a, x, y) to a rim, with the covariance of
// (x, y, a) and the scatter of the residuals.
type circleFit func(*rim) (p [3]float64, cov [3][3]float64, spread float64, ok bool)

// shift fits the shift of a circle that may not grow.
func (r *rim) shift() (p [3]float64, cov [3][3]float64, spread float64, ok bool) {
	w := make([]float64, len(r.dev))
	excess := math.Inf(1)
	for range 10 {
		excess = r.weigh(0, p[1], p[2], excess, w)
		m := normal{n: 2}
		for i, wi := range w {
			if wi > 0 {
				q := math.Sqrt(wi) / r.sd[i]
				j := [maxParams]float64{q * r.cos[i], q * r.sin[i]}
				m.add(&j, q*r.residual(i, 0, p[1], p[2]))
			}
		}
		x, inv, solved := m.solve()
		if !solved || m.count < 6 {
			return p, cov, 0, false
		}
		p[1] += x[0]
		p[2] += x[1]
		for i := range 2 {
			for k := range 2 {
				cov[i][k] = inv[i][k]
			}
		}
	}
	var res []float64
	for i, seen := range r.ok {
		if seen {
			res = append(res, math.Abs(r.residual(i, 0, p[1], p[2])))
		}
	}
	return p, cov, 1.48 * middle(res), true
}

func fitHead(g raster.Gray, start geom.Circle, look HeadLook, circle circleFit) (HeadFit, bool) {
	c := start
	inner, outer := look.band(start.R)
	sectors := gatherHead(g, c, inner+startReach, outer+startReach)
	r := newRim(len(sectors))
	var fit HeadFit
	for range 2 {
		near, ok := nearLine(sectors, &r, c, look, outer, circle)
		if !ok {
			return fit, false
		}
		c = near
	}
	const passes = 8
	var dark usualLight
	for pass := range passes {
		plate := plateLight(sectors, c, look.Width/2+look.Blur, outer)
		if plate <= 0 {
			return fit, false
		}
		if pass == 0 {
			dark = firstLine(plate)
		}
		for i := range sectors {
			s := &sectors[i]
			s.fit(c, look, inner, outer, plate, dark)
			r.set(i, s.angle, s.line.p[5], max(s.line.variance, leastU*leastU), s.line.ok)
		}
		dark = usualLight{lineLight(sectors), usualLine * plate}
		p, cov, _, ok := circle(&r)
		if !ok || math.Abs(p[0]) > 3+look.Blur {
			return fit, false
		}
		move := math.Abs(p[0]) + math.Abs(p[1]) + math.Abs(p[2])
		c.Center = r2.Add(c.Center, r2.Vec{X: p[1], Y: p[2]})
		c.R += p[0]
		if r2.Norm(r2.Sub(c.Center, start.Center)) > 0.35*start.R || math.Abs(c.R-start.R) > 0.35*start.R {
			return fit, false
		}
		for i := range sectors {
			s := &sectors[i]
			s.start[5] -= p[0] + p[1]*r.cos[i] + p[2]*r.sin[i]
		}
		c.Cov = cov
		if pass > 0 && move < 0.01 || pass == passes-1 {
			fit = headFigures(sectors, &r, p)
			c.Inliers, c.RMS = fit.Circle.Inliers, fit.Circle.RMS
			grow := fit.Circle.Cov[0][0]
			for i := range c.Cov {
				for k := range c.Cov {
					c.Cov[i][k] *= grow
				}
			}
			fit.Circle, fit.Plate, fit.Inside = c, plate, insideLight(g, c, inner)
			break
		}
	}
	return fit, true
}

// strayLine is how far beyond a blur the line may lie off the circle in one
// sector, pixels: farther off it is something else.
const strayLine = 0.8

// startReach is how far a start may lie off, pixels.
const startReach = 4.0

// nearLine returns the circle through the places where light rises most from
// the line to the plate, moved in by half the line: good to half a pixel, from
// a start good to startReach.
func nearLine(sectors []lineSector, r *rim, c geom.Circle, look HeadLook, outer float64, circle circleFit) (geom.Circle, bool) {
	const step = 0.5
	plate := plateLight(sectors, c, look.Width/2+look.Blur, outer+startReach)
	side := max(int((look.Width+look.Blur)/step), 3)
	n := int(2*startReach/step) + 2*side
	first := -float64(n) * step / 2
	for i := range sectors {
		s := &sectors[i]
		sum, count := make([]float64, n+1), make([]float64, n+1)
		for _, q := range s.px {
			d := math.Hypot(float64(q.x)-c.Center.X, float64(q.y)-c.Center.Y) - c.R
			if k := int(math.Floor((d - first) / step)); k >= 0 && k < n {
				// What is brighter than the plate is a lamp mirrored in the dome.
				sum[k+1] += min(float64(q.light), plate)
				count[k+1]++
			}
		}
		for k := range n {
			sum[k+1] += sum[k]
			count[k+1] += count[k]
		}
		mean := func(a, b int) float64 { return (sum[b] - sum[a]) / max(count[b]-count[a], 1) }
		best, at := 0.0, 0
		for k := side; k <= n-side; k++ {
			if rise := mean(k, k+side) - mean(k-side, k); rise > best {
				best, at = rise, k
			}
		}
		r.set(i, s.angle, first+float64(at)*step-look.Width/2, step, best > 0.04*plate)
	}
	p, _, _, ok := circle(r)
	if !ok || math.Abs(p[0])+math.Hypot(p[1], p[2]) > startReach+1 {
		return c, false
	}
	c.Center = r2.Add(c.Center, r2.Vec{X: p[1], Y: p[2]})
	c.R += p[0]
	return c, true
}

// leastU is the least standard uncertainty of a sector's place, pixels: what
// compression leaves.
const leastU = 0.03

// band returns how far inside and outside of the circle light is fitted.
func (l HeadLook) band(r float64) (inner, outer float64) {
	inner = l.Width/2 + max(6.5*l.Blur, 4)
	outer = l.Width/2 + max(3.9*l.Blur, 2.5)
	return min(inner, 0.45*r), outer
}

// gatherHead collects the pixels about a circle by sector, some nine pixels of
// rim each.
func gatherHead(g raster.Gray, c geom.Circle, inner, outer float64) []lineSector {
	n := min(max(int(2*math.Pi*c.R/9), 16), 48)
	out := make([]lineSector, n)
	share := int(2*math.Pi*c.R*(inner+outer)/float64(n)) + 8
	for i := range out {
		out[i].px = make([]headPixel, 0, share)
		out[i].angle = 2 * math.Pi * float64(i) / float64(n)
	}
	reach, least := c.R+outer, max(c.R-inner, 0)
	clip := g.Clip
	if clip == 0 {
		clip = float32(math.Inf(1))
	}
	x0, x1 := max(0, int(math.Ceil(c.Center.X-reach))), min(g.W-1, int(c.Center.X+reach))
	y0, y1 := max(0, int(math.Ceil(c.Center.Y-reach))), min(g.H-1, int(c.Center.Y+reach))
	for y := y0; y <= y1; y++ {
		row := g.Row(y)
		dy := float64(y) - c.Center.Y
		for x := x0; x <= x1; x++ {
			dx := float64(x) - c.Center.X
			d2 := dx*dx + dy*dy
			if d2 > reach*reach || d2 < least*least || row[x] >= clip {
				continue
			}
			k := int((math.Atan2(dy, dx)/(2*math.Pi)+1)*float64(n)+0.5) % n
			out[k].px = append(out[k].px, headPixel{float32(x), float32(y), row[x]})
		}
	}
	return out
}

// plateLight returns the median light between from and to outside the circle.
func plateLight(sectors []lineSector, c geom.Circle, from, to float64) float64 {
	var v []float64
	for _, s := range sectors {
		for i := 0; i < len(s.px); i += 3 {
			q := s.px[i]
			d := math.Hypot(float64(q.x)-c.Center.X, float64(q.y)-c.Center.Y) - c.R
			if d > from && d < to {
				v = append(v, float64(q.light))
			}
		}
	}
	return middle(v)
}

// lineLight returns the median light of the line.
func lineLight(sectors []lineSector) float64 {
	var v []float64
	for _, s := range sectors {
		if s.line.ok {
			v = append(v, s.line.p[1])
		}
	}
	return middle(v)
}

// insideLight returns the median light of the head within its rim.
func insideLight(g raster.Gray, c geom.Circle, inner float64) float64 {
	var v []float64
	reach := max(c.R-inner/2, 0.5*c.R)
	for y := int(c.Center.Y - reach); y <= int(c.Center.Y+reach); y += 2 {
		for x := int(c.Center.X - reach); x <= int(c.Center.X+reach); x += 2 {
			if x < 0 || y < 0 || x >= g.W || y >= g.H || math.Hypot(float64(x)-c.Center.X, float64(y)-c.Center.Y) > reach {
				continue
			}
			v = append(v, float64(g.At(x, y)))
		}
	}
	return middle(v)
}

// lineParams is the number of unknowns of a sector.
const lineParams = 6

// How far the light of a sector usually strays, as shares of the plate's light:
// that of the line from the middle of all sectors, and the dome's slope, a
// pixel, and bend, a pixel squared, from none. Standard deviations, tried on
// rendered and generated heads of 9 to 45 px radius; a sector of a large head
// shows all three far better.
const (
	usualLine  = 0.12
	usualSlope = 0.3
	usualBend  = 0.15
)

// usualStray is how far off the circle the line usually is in one sector,
// pixels. It slows the circle's way to the line and does not move its end.
const usualStray = 0.7

// usualLight is a light with its standard deviation.
type usualLight struct{ light, spread float64 }

// firstLine is what the light of the line may be as long as no sector tells.
func firstLine(plate float64) usualLight { return usualLight{0.5 * plate, 0.3 * plate} }

// fit fits the light of one sector, from where it was left before; line is what
// the light of the line usually is.
func (s *lineSector) fit(c geom.Circle, look HeadLook, inner, outer, plate float64, line usualLight) {
	type lit struct{ d, light, weight float64 }
	px := make([]lit, 0, len(s.px))
	half := look.Width / 2
	for _, q := range s.px {
		d := math.Hypot(float64(q.x)-c.Center.X, float64(q.y)-c.Center.Y) - c.R
		if d < -inner || d > outer {
			continue
		}
		light, grain := float64(q.light), grainPlate
		if d < -half {
			if light > highlight*plate {
				continue
			}
			grain = grainHead
		}
		px = append(px, lit{d, light, 1 / (grainFloor + grain*light)})
	}
	s.line = sectorFit{}
	if len(px) < 15 {
		return
	}
	p := s.start
	b := look.Blur
	var inv [maxParams][maxParams]float64
	const steps = 8
	for step := range steps {
		m := normal{n: lineParams}
		for _, q := range px {
			x1, x2 := q.d-p[5]+half, q.d-p[5]-half
			a1, f1 := edge(x1 / b)
			a2, f2 := edge(x2 / b)
			f1, f2 = f1/b, f2/b
			// The dome's parabola, cut off at the line and blurred.
			h0 := 1 - a1
			h1 := x1*h0 - b*b*f1
			h2 := (x1*x1+b*b)*h0 - b*b*x1*f1
			v := p[0]*a2 + p[1]*(a1-a2) + p[2]*h0 + p[3]*h1 + p[4]*h2
			j := [maxParams]float64{a2, a1 - a2, h0, h1, h2}
			if step > 0 || p[0] != 0 {
				j[5] = -(p[0]*f2 + p[1]*(f1-f2) - p[2]*f1 + p[3]*h0 + 2*p[4]*h1)
			}
			for i := range lineParams {
				j[i] *= q.weight
			}
			m.add(&j, (q.light-v)*q.weight)
		}
		// What is usual keeps a sector that shows little from running away.
		prior := func(at int, value, spread float64) {
			j := [maxParams]float64{}
			j[at] = 1 / spread
			m.add(&j, (value-p[at])/spread)
		}
		prior(1, line.light, line.spread)
		prior(3, 0, usualSlope*plate)
		prior(4, 0, usualBend*plate)
		if step > 0 {
			prior(5, 0, usualStray)
		}
		// Where the dome is all highlight its parabola is not seen.
		for i := range lineParams {
			m.a[i][i] += 1e-5
		}
		x, cov, ok := m.solve()
		if !ok {
			return
		}
		inv = cov
		s.line.misfit = m.sumsq / float64(max(len(px)-lineParams, 1))
		for i := range 5 {
			p[i] += x[i]
		}
		p[5] += max(-0.4, min(0.4, x[5]))
		if math.Abs(p[5]) > strayLine+b {
			s.start = [6]float64{}
			return
		}
		if step > 0 && math.Abs(x[5]) < 0.003 {
			break
		}
	}
	s.start = p
	s.line.p = p
	s.line.variance = inv[5][5] * s.line.misfit
	s.line.ok = p[1] < p[0]
}

// headFigures sums up the sectors about the fitted circle. Its Circle carries
// the count and scatter of the sectors, and in Cov[0][0] by how much their
// covariance grows because neighbours err alike.
func headFigures(sectors []lineSector, r *rim, p [3]float64) HeadFit {
	var f HeadFit
	w := make([]float64, len(sectors))
	excess := r.weigh(p[0], p[1], p[2], math.Inf(1), w)
	var steps, noise, misfits []float64
	used := 0
	for i, s := range sectors {
		if !s.line.ok {
			continue
		}
		misfits = append(misfits, s.line.misfit)
		steps = append(steps, s.line.p[0]-s.line.p[1])
		noise = append(noise, math.Sqrt(s.line.misfit)*(grainFloor+grainPlate*s.line.p[0]))
		if w[i] > 0 {
			used++
		}
	}
	f.Step, f.Noise, f.Misfit = middle(steps), middle(noise), middle(misfits)
	f.Arc = 360 * float64(used) / float64(len(sectors))
	f.Circle.RMS, f.Circle.Inliers = r.rms(p[0], p[1], p[2], w)
	grow := r.growth(p[0], p[1], p[2], excess, w)
	f.Circle.Cov[0][0] = grow * grow
	return f
}
