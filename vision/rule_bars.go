package vision

import (
	"math"
	"slices"

	"pinlash/vision/raster"
)

// The search for a rule works on the picture at half size. Scan lines run
// across it, every scanStep-th row and every scanStep-th column; where a line
// meets a bar, dark or bright, it makes a stroke, and strokes that continue
// each other from line to line make a bar. Only then is anything periodic
// looked for, so a direction never has to be guessed.
const (
	scanStep = 2
	// maxStroke is the widest stroke along a scan line in half-size pixels:
	// half of the largest period, seen at 45 degrees.
	maxStroke = 43
	// minBarStrokes is the least number of strokes that make a bar: with three
	// a straight line has one stroke to be checked by.
	minBarStrokes = 3
	// maxBarSlope is a little over 1, so that a bar at 45 degrees is seen
	// whole by the rows or by the columns.
	maxBarSlope = 1.25
	// leastDepth is the least depth of a stroke as a share of the light
	// beside it. Engraved marks show 0.3 and more, printed ones 0.7.
	leastDepth = 0.15
	// noiseDepth is the least depth of a stroke in units of the pixel noise.
	noiseDepth = 5
)

// ruleStroke is where one scan line crosses a bar.
type ruleStroke struct {
	x, width, depth float32 // along the line, half-size pixels; light
	bar             int32   // index of its bar, -1 when none
}

// ruleStrokes are the strokes of one direction of scan lines and one polarity,
// line after line: those of line j are all[first[j]:first[j+1]].
type ruleStrokes struct {
	all   []ruleStroke
	first []int32
}

func (s *ruleStrokes) line(j int) []ruleStroke { return s.all[s.first[j]:s.first[j+1]] }

func (s *ruleStrokes) clear() {
	s.all = s.all[:0]
	s.first = append(s.first[:0], 0)
}

// ruleBar is a straight bar x = x0 + slope (y - y0), y0 being the middle of
// the lines it was seen on. x runs along the scan lines, y across them, both
// in half-size pixels.
type ruleBar struct {
	x0, y0, slope float64
	angle         float64 // atan slope
	secant        float64 // length of the bar per scan line's distance
	yMin, yMax    float64
	width, depth  float64 // width across the bar; light
}

// at returns the x of the bar's line at y.
func (b *ruleBar) at(y float64) float64 { return b.x0 + b.slope*(y-b.y0) }

// growingBar has the sums of a bar's strokes. Its y counts scan lines.
type growingBar struct {
	sxx, sxy, syy float64 // of the distances from the first stroke
	sx, sy        float64
	x0, ahead     float32 // first stroke; where the next one should be
	slope         float32
	width, depth  float32 // sums
	line0, last   int32
	n             int32
}

func (b *growingBar) add(line int, s *ruleStroke) {
	if b.n == 0 {
		b.x0, b.line0 = s.x, int32(line)
	}
	dx, dy := float64(s.x-b.x0), float64(int32(line)-b.line0)
	b.n++
	b.sx += dx
	b.sy += dy
	b.sxx += dx * dx
	b.sxy += dx * dy
	b.syy += dy * dy
	b.width += s.width
	b.depth += s.depth
	b.last = int32(line)
	b.ahead = s.x
	if b.n > 1 {
		n := float64(b.n)
		slope := (b.sxy - b.sx*b.sy/n) / (b.syy - b.sy*b.sy/n)
		b.slope = float32(slope)
		b.ahead = b.x0 + float32(b.sx/n+slope*(dy+1-b.sy/n))
	}
}

// closed returns the bar's line, and whether it is long and straight enough.
func (b *growingBar) closed() (ruleBar, bool) {
	if b.n < minBarStrokes {
		return ruleBar{}, false
	}
	n := float64(b.n)
	slope := (b.sxy - b.sx*b.sy/n) / (b.syy - b.sy*b.sy/n)
	rms := math.Sqrt(math.Max(0, b.sxx-b.sx*b.sx/n-slope*(b.sxy-b.sx*b.sy/n)) / n)
	r := ruleBar{
		x0: float64(b.x0) + b.sx/n, y0: scanStep * (float64(b.line0) + b.sy/n), slope: slope / scanStep,
		yMin: scanStep * float64(b.line0), yMax: scanStep * float64(b.last),
		depth: float64(b.depth) / n,
	}
	r.secant = math.Sqrt(1 + r.slope*r.slope)
	r.width = float64(b.width) / n / r.secant
	if rms > 0.35+0.05*r.width || math.Abs(r.slope) > maxBarSlope {
		return ruleBar{}, false
	}
	r.angle = math.Atan(r.slope)
	return r, true
}

// barScan finds bars; it keeps its memory from one direction of scan lines to
// the next.
type barScan struct {
	dark, bright ruleStrokes
	turns        []turn
	growing      []growingBar
	number       []int32
	bars         []ruleBar
}

// strokes finds the dark and the bright strokes of the rows 0, step, 2 step,
// ... of lines.
func (s *barScan) strokes(lines raster.Gray, step int, noise float32) {
	s.dark.clear()
	s.bright.clear()
	for y := 0; y < lines.H; y += step {
		row := lines.Row(y)
		s.turns = turningPoints(s.turns[:0], row, noiseDepth*noise)
		for t := 1; t+1 < len(s.turns); t++ {
			stroke, ok := strokeAt(row, s.turns[t-1], s.turns[t], s.turns[t+1])
			switch {
			case !ok:
			case s.turns[t].v < s.turns[t-1].v:
				s.dark.all = append(s.dark.all, stroke)
			default:
				s.bright.all = append(s.bright.all, stroke)
			}
		}
		s.dark.first = append(s.dark.first, int32(len(s.dark.all)))
		s.bright.first = append(s.bright.first, int32(len(s.bright.all)))
	}
}

type turn struct {
	i int
	v float32
}

// turningPoints appends the alternating highs and lows of row that differ
// from their neighbours by more than floor and by more than leastDepth of the
// higher one.
func turningPoints(turns []turn, row []float32, floor float32) []turn {
	below := func(high float32) float32 { return high - max(floor, leastDepth*high) }
	above := func(low float32) float32 { return max(low+floor, low/(1-leastDepth)) }
	if len(row) == 0 {
		return turns
	}
	at, v := 0, row[0]
	rising := true
	limit := below(v)
	for i, x := range row {
		if rising {
			if x > v {
				at, v = i, x
				limit = below(v)
			} else if x < limit {
				turns = append(turns, turn{at, v})
				rising, at, v = false, i, x
				limit = above(v)
			}
			continue
		}
		if x < v {
			at, v = i, x
			limit = above(v)
		} else if x > limit {
			turns = append(turns, turn{at, v})
			rising, at, v = true, i, x
			limit = below(v)
		}
	}
	return append(turns, turn{at, v})
}

// strokeAt measures the stroke at turning point t between its neighbours: the
// middle and the distance of the two places at half its depth.
func strokeAt(row []float32, before, t, after turn) (ruleStroke, bool) {
	depth := min(before.v, after.v) - t.v
	if t.v > before.v {
		depth = max(before.v, after.v) - t.v
	}
	half := t.v + depth/2
	l := t.i
	for l > before.i && (row[l]-half)*depth < 0 {
		l--
	}
	r := t.i
	for r < after.i && (row[r]-half)*depth < 0 {
		r++
	}
	if r-l > maxStroke || l == t.i || r == t.i {
		return ruleStroke{}, false
	}
	left := float32(l) + (half-row[l])/(row[l+1]-row[l])
	right := float32(r) - (half-row[r])/(row[r-1]-row[r])
	return ruleStroke{x: (left + right) / 2, width: right - left, depth: float32(math.Abs(float64(depth))), bar: -1}, true
}

// link joins strokes of successive scan lines to bars. One line may be
// missing. Strokes get the index of their bar, or -1. The bars are good until
// the next call.
func (s *barScan) link(strokes *ruleStrokes) []ruleBar {
	s.growing = s.growing[:0]
	for j := range len(strokes.first) - 1 {
		row := strokes.line(j)
		for back := 1; back <= 2 && back <= j; back++ {
			s.linkLine(row, strokes.line(j-back), j, back)
		}
		for i := range row {
			if row[i].bar < 0 {
				row[i].bar = int32(len(s.growing))
				s.growing = append(s.growing, growingBar{})
				s.growing[row[i].bar].add(j, &row[i])
			}
		}
	}
	s.number, s.bars = s.number[:0], s.bars[:0]
	for i := range s.growing {
		b, ok := s.growing[i].closed()
		if !ok {
			s.number = append(s.number, -1)
			continue
		}
		s.number = append(s.number, int32(len(s.bars)))
		s.bars = append(s.bars, b)
	}
	for i := range strokes.all {
		strokes.all[i].bar = s.number[strokes.all[i].bar]
	}
	return s.bars
}

// linkLine continues the bars that end on the line prev, back lines before
// line j, with the free strokes of row.
func (s *barScan) linkLine(row, prev []ruleStroke, j, back int) {
	const reach = 2*scanStep*maxBarSlope + 1.5
	p := 0
	for i := range row {
		stroke := &row[i]
		if stroke.bar >= 0 {
			continue
		}
		for p < len(prev) && prev[p].x < stroke.x-reach {
			p++
		}
		best, at := float32(math.Inf(1)), int32(-1)
		for q := p; q < len(prev) && prev[q].x <= stroke.x+reach; q++ {
			b := &s.growing[prev[q].bar]
			if int(b.last) != j-back {
				continue
			}
			tolerance := float32(1.2)
			if b.n == 1 {
				tolerance = scanStep * maxBarSlope * float32(back)
			}
			off := stroke.x - b.ahead - float32(back-1)*b.slope
			if off < 0 {
				off = -off
			}
			if off > tolerance || off >= best {
				continue
			}
			// Compare with the bar's means without dividing.
			n := float32(b.n)
			wide := stroke.width*n - b.width
			if wide < 0 {
				wide = -wide
			}
			if wide > 0.35*b.width+0.8*n || stroke.depth*n > 2*b.depth || b.depth > 2*stroke.depth*n {
				continue
			}
			best, at = off, prev[q].bar
		}
		if at >= 0 {
			stroke.bar = at
			s.growing[at].add(j, stroke)
		}
	}
}

// columns returns every scanStep-th column of half as rows.
func columns(half raster.Gray) raster.Gray {
	out := raster.NewGray(half.H, half.W/scanStep)
	const block = 16 // rows at a time, so that each line of cache is filled once
	for y0 := 0; y0 < half.H; y0 += block {
		y1 := min(y0+block, half.H)
		for j := range out.H {
			to := out.Pix[j*out.W+y0 : j*out.W+y1]
			from := y0*half.W + scanStep*j
			for i := range to {
				to[i] = half.Pix[from]
				from += half.W
			}
		}
	}
	return out
}

// pixelNoise estimates the noise of the smoothest tenth of a picture: short
// pieces of rows, each judged by the median of its second differences in that
// one of four directions in which it is smoothest, so that brushed metal does
// not pass for noise.
func pixelNoise(g raster.Gray) float32 {
	const piece, taken = 96, 31
	var noise []float32
	var d [taken]float32
	for y := 8; y+8 < g.H; y += max(1, g.H/24) {
		for x := 8; x+piece+8 < g.W; x += piece + g.W/16 {
			least, light := float32(math.Inf(1)), float32(0)
			for _, next := range [4]int{1, g.W, g.W + 1, g.W - 1} {
				for i := range d {
					p := y*g.W + x + 3*i
					d[i] = float32(math.Abs(float64(g.Pix[p-next] - 2*g.Pix[p] + g.Pix[p+next])))
					light += g.Pix[p]
				}
				slices.Sort(d[:])
				least = min(least, d[taken/2])
			}
			// Clipped pieces show no noise.
			if least > 0 && (g.Clip == 0 || light < 0.95*g.Clip*4*taken) {
				noise = append(noise, least)
			}
		}
	}
	if len(noise) == 0 {
		return 0
	}
	slices.Sort(noise)
	// |N(0,6)| has its median at 0.6745 sqrt(6).
	return noise[len(noise)/10] / float32(0.6745*math.Sqrt(6))
}
