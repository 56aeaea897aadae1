package subpixel

import (
	"math"

	"pinlash/vision/raster"
)

// Sharpening is what a camera did to make its pictures look crisp: it added
// Amount times the difference between the encoded picture and a blurred copy
// of it. On encoded values this moves the half-light point of an edge towards
// the dark side, so that every gap looks too narrow.
type Sharpening struct {
	Amount, AmountU float64
	Sigma           float64 // of the blurred copy, pixels
	// Crisp says that it was seen on edges too sharp for a lens out of focus,
	// beside a gap too wide for one rim's halo to meet the other's.
	Crisp bool
}

const (
	// Amounts of one and more on edges softer than softEdge, pixels, come from a
	// lens out of focus, whose blur has no tails, and not from cameras; in gaps
	// narrower than haloGap edge spreads they are chance.
	softEdge = 0.9
	haloGap  = 10.0
	// mostSharpening is where the search ends, or nearly.
	mostSharpening = 1.8
)

// Found says whether sharpening is there beyond doubt.
func (s Sharpening) Found() bool {
	most := 1.0
	if s.Crisp {
		most = mostSharpening
	}
	return s.Amount > 0.06 && s.Amount < most && s.Amount > 4*s.AmountU
}

// response is the mean encoded light across a rim, by distance from it,
// positive on the bright side, as a share of that of the bright side, whose
// light is level.
type response struct {
	at, light []float64
	level     float64
}

const (
	responseFrom = -4.0
	responseTo   = bandPixels // no farther than the pixels that were fitted
	responseStep = 0.25
)

// Sharpening looks for the camera's sharpening in the mean profile across
// each rim, which it undershoots and overshoots in the way of no lens. Both
// rims must show it.
func (f CrescentFit) Sharpening(curve raster.Curve) Sharpening {
	rims := f.responses(curve)
	for _, r := range rims {
		if len(r.at) < 24 {
			return Sharpening{}
		}
	}
	best, bestSum := Sharpening{}, math.Inf(1)
	for _, sigma := range []float64{0.8, 1.1, 1.5} {
		both, sum, ok := f.fitSharpening(rims[:], sigma, curve)
		if ok && sum < bestSum {
			best, bestSum = both, sum
		}
	}
	if !best.Found() {
		return best
	}
	// A polished or broken edge can look like an overshoot, but hardly the
	// same on pin and bore.
	for i := range rims {
		one, _, ok := f.fitSharpening(rims[i:i+1], best.Sigma, curve)
		if !ok || math.Abs(one.Amount-best.Amount) > max(0.5*best.Amount, 4*one.AmountU) {
			return Sharpening{Sigma: best.Sigma}
		}
	}
	return best
}

// responses takes the median over the sectors of the mean profile across each
// rim, bore first: oil and glints on some sectors must not speak for all.
func (f CrescentFit) responses(curve raster.Curve) [2]response {
	const bins = int((responseTo - responseFrom) / responseStep)
	var light, place [2][bins][]float64
	var levels [2][]float64
	encode := encodeTable(curve)
	for i, sp := range f.pixels {
		s := f.Sectors[i]
		width := s.Width()
		if !s.BoreUsed || !s.PinUsed || width < 4*max(f.BlurBore, f.BlurPin) {
			continue
		}
		var n, d, v [2][bins]float64
		add := func(rim int, at, l float64) {
			k := int((at - responseFrom) / responseStep)
			if at < responseFrom || k >= bins || at < -width/2 {
				return
			}
			n[rim][k]++
			d[rim][k] += at
			v[rim][k] += encode(l)
		}
		for _, p := range sp.px {
			add(0, float64(p.bore)-s.Bore, float64(p.light))
			add(1, s.Pin-float64(p.pin), float64(p.light))
		}
		level := [2]float64{encode(s.BushLight), encode(s.PinLight)}
		levels[0], levels[1] = append(levels[0], s.BushLight), append(levels[1], s.PinLight)
		for r := range n {
			for k, c := range n[r] {
				if c > 0 {
					place[r][k] = append(place[r][k], d[r][k]/c)
					light[r][k] = append(light[r][k], v[r][k]/c/level[r])
				}
			}
		}
	}
	var out [2]response
	for r := range light {
		out[r].level = max(middle(levels[r]), 0.01)
		for k := range light[r] {
			if len(light[r][k]) < 12 {
				continue
			}
			out[r].at = append(out[r].at, middle(place[r][k]))
			out[r].light = append(out[r].light, middle(light[r][k]))
		}
	}
	return out
}

// encodeTable returns curve.Encode as a quick look-up.
func encodeTable(curve raster.Curve) func(float64) float64 {
	const n = 1024
	t := make([]float64, n+2)
	for i := range t {
		// Equal steps of the root keep the steep dark end accurate.
		x := float64(i) / n
		t[i] = curve.Encode(x * x)
	}
	return func(light float64) float64 {
		u := math.Sqrt(max(0, min(light, 1))) * n
		i := int(u)
		return t[i] + (t[i+1]-t[i])*(u-float64(i))
	}
}

// fitSharpening fits a sharpened Gaussian edge to the responses: level, place
// and edge spread of each and one common amount.
func (f CrescentFit) fitSharpening(rims []response, sigma float64, curve raster.Curve) (Sharpening, float64, bool) {
	n := 3*len(rims) + 1
	p := make([]float64, n)
	for i := range rims {
		p[3*i], p[3*i+1], p[3*i+2] = 1, 0, max(0.5, min(f.BlurBore, f.BlurPin))
	}
	p[n-1] = 0.1
	model := func(p []float64, rim int) []float64 {
		level := rims[rim].level
		return sharpenedEdge(rims[rim].at, level, p[3*rim], p[3*rim+1], p[3*rim+2], f.Dark/level, p[n-1], sigma, curve)
	}
	var amountU, sum float64
	for range 6 {
		m := normal{n: n}
		for r := range rims {
			base := model(p, r)
			var derivative [maxParams][]float64
			for q := range p {
				if q != n-1 && q/3 != r {
					continue
				}
				const h = 1e-3
				moved := append([]float64(nil), p...)
				moved[q] += h
				d := model(moved, r)
				for i := range d {
					d[i] = (d[i] - base[i]) / h
				}
				derivative[q] = d
			}
			for i := range base {
				var j [maxParams]float64
				for q := range derivative {
					if derivative[q] != nil {
						j[q] = derivative[q][i]
					}
				}
				m.add(&j, rims[r].light[i]-base[i])
			}
		}
		x, inv, ok := m.solve()
		if !ok {
			return Sharpening{}, 0, false
		}
		for q := range p {
			p[q] += clamp(x[q], 0.3)
		}
		for i := range rims {
			p[3*i+2] = max(p[3*i+2], 0.3)
		}
		p[n-1] = max(-0.5, min(p[n-1], 2))
		sum = m.sumsq
		free := float64(m.count - n)
		// Neighbouring bins of a textured face err together: allow for runs
		// of four.
		amountU = 2 * math.Sqrt(sum/free*inv[n-1][n-1])
	}
	crisp := min(f.BlurBore, f.BlurPin) < softEdge && f.Gap > haloGap*max(f.BlurBore, f.BlurPin)
	return Sharpening{Amount: p[n-1], AmountU: amountU, Sigma: sigma, Crisp: crisp}, sum, true
}

// sharpenedEdge returns the encoded light, relative to that of the level, of
// a Gaussian edge after sharpening, at the given distances.
func sharpenedEdge(at []float64, level, gain, place, spread, dark, amount, sigma float64, curve raster.Curve) []float64 {
	const step = 0.25
	lo, hi := responseFrom-8, responseTo+8
	n := int((hi - lo) / step)
	v := make([]float64, n)
	unit := curve.Encode(level)
	for i := range v {
		c, _ := edge((lo + float64(i)*step - place) / spread)
		v[i] = curve.Encode(level*gain*(dark+(1-dark)*c)) / unit
	}
	reach := int(3 * sigma / step)
	kernel := make([]float64, reach+1)
	total := 0.0
	for i := range kernel {
		kernel[i] = math.Exp(-0.5 * math.Pow(float64(i)*step/sigma, 2))
		total += kernel[i]
		if i > 0 {
			total += kernel[i]
		}
	}
	out := make([]float64, len(at))
	sharp := func(i int) float64 {
		i = max(reach, min(i, n-1-reach))
		b := kernel[0] * v[i]
		for k := 1; k <= reach; k++ {
			b += kernel[k] * (v[i-k] + v[i+k])
		}
		return max(0, v[i]+amount*(v[i]-b/total))
	}
	for q, d := range at {
		u := (d - lo) / step
		i := int(u)
		a, b := sharp(i), sharp(i+1)
		out[q] = a + (b-a)*(u-float64(i))
	}
	return out
}

// Undo returns the part of g around circle reach pixels wide with the
// sharpening taken back, and leaves the rest as it is. The filter
//
//	v - a (v - G v),  a = k/(1+k),  spread of G = sigma sqrt(1+k)
//
// is the inverse 1/(1 + k (1 - G)) of the sharpening to second order at long
// waves and exact at short ones.
func (s Sharpening) Undo(g raster.Gray, curve raster.Curve, x0, y0, x1, y1 int) raster.Gray {
	x0, y0 = max(x0, 0), max(y0, 0)
	x1, y1 = min(x1, g.W), min(y1, g.H)
	w, h := x1-x0, y1-y0
	out := raster.Gray{W: g.W, H: g.H, Clip: g.Clip, Pix: append([]float32(nil), g.Pix...)}
	if w <= 0 || h <= 0 {
		return out
	}
	encode := encodeTable(curve)
	v := make([]float32, w*h)
	for y := range h {
		row := g.Row(y0 + y)[x0:x1]
		for x, l := range row {
			v[y*w+x] = float32(encode(float64(l)))
		}
	}
	a := float32(s.Amount / (1 + s.Amount))
	blurred := gaussian(v, w, h, s.Sigma*math.Sqrt(1+s.Amount))
	const levels = 4096
	table := curve.Table(levels + 1)
	for y := range h {
		row := out.Row(y0 + y)[x0:x1]
		for x := range row {
			i := y*w + x
			if g.Clip > 0 && row[x] >= g.Clip {
				continue
			}
			u := max(0, min(v[i]-a*(v[i]-blurred[i]), 1)) * levels
			k := min(int(u), levels-1)
			row[x] = table[k] + (table[k+1]-table[k])*(u-float32(k))
		}
	}
	return out
}

// gaussian returns v, a picture of w x h, blurred with spread sigma.
func gaussian(v []float32, w, h int, sigma float64) []float32 {
	reach := int(math.Ceil(3 * sigma))
	kernel := make([]float32, reach+1)
	var total float32
	for i := range kernel {
		kernel[i] = float32(math.Exp(-0.5 * math.Pow(float64(i)/sigma, 2)))
		total += kernel[i]
		if i > 0 {
			total += kernel[i]
		}
	}
	for i := range kernel {
		kernel[i] /= total
	}
	mid := make([]float32, len(v))
	for y := range h {
		row, to := v[y*w:(y+1)*w], mid[y*w:(y+1)*w]
		for x := range to {
			s := kernel[0] * row[x]
			for k := 1; k <= reach; k++ {
				s += kernel[k] * (row[max(x-k, 0)] + row[min(x+k, w-1)])
			}
			to[x] = s
		}
	}
	out := make([]float32, len(v))
	for y := range h {
		to := out[y*w : (y+1)*w]
		for x, c := range mid[y*w : (y+1)*w] {
			to[x] = kernel[0] * c
		}
		for k := 1; k <= reach; k++ {
			up, down := mid[max(y-k, 0)*w:], mid[min(y+k, h-1)*w:]
			for x := range to {
				to[x] += kernel[k] * (up[x] + down[x])
			}
		}
	}
	return out
}
