package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

const (
	// ruleMinPeriod and ruleMaxPeriod bound the distance of neighbouring marks
	// in pixels.
	ruleMinPeriod, ruleMaxPeriod = 6, 130
	// minRun is the least number of equally spaced bars worth a closer look.
	minRun = 5
	// leastEvidence is what seven bars have that are spaced as by chance.
	leastEvidence = 5
	// widestMark is the greatest width of a mark as a share of the period.
	// Wider ones are the gaps between marks of the other polarity. A run's
	// bars look a little wider than they are.
	widestMark, widestBar = 0.55, 0.6
	// evenShare of a run's bars at every second, third or fifth place only
	// say that the places between are none.
	evenShare = 0.8
	// leastSlant is the slope from which on bars are also looked for square to
	// a bar: 14 degrees.
	leastSlant = 0.25
)

// ruleRun is a row of equally spaced parallel bars: what a rule looks like
// from afar. Unlike ruleBar it is in pixels of the full picture.
type ruleRun struct {
	bars   []runBar
	period float64 // across the bars, pixels
	width  float64 // of a bar
	// evidence grows with the number of bars and with how much evener they
	// are spaced than they had to be.
	evidence float64
	bright   bool
}

// runBar is one bar of a run.
type runBar struct {
	k    int
	a, b r2.Vec // its ends
}

// findRuns returns the rows of equally spaced bars in the picture, those of
// most evidence first.
func findRuns(g raster.Gray) []ruleRun {
	half := g.Half()
	noise := pixelNoise(half)
	var runs []ruleRun
	var scan barScan
	for _, turned := range []bool{false, true} {
		if turned {
			scan.strokes(columns(half), 1, noise)
		} else {
			scan.strokes(half, scanStep, noise)
		}
		for _, s := range []*ruleStrokes{&scan.dark, &scan.bright} {
			bars := scan.link(s)
			growRuns(s, bars, func(links []link) {
				if period, width, evidence := evenness(links, bars); width <= widestBar*period && evidence >= leastEvidence {
					r := fullSizeRun(links, bars, turned)
					r.period, r.width, r.evidence, r.bright = 2*period, 2*width, evidence, s == &scan.bright
					runs = append(runs, r)
				}
			})
		}
	}
	slices.SortStableFunc(runs, func(a, b ruleRun) int { return cmp.Compare(b.evidence, a.evidence) })
	return runs
}

// link is a bar of a run and its number.
type link struct {
	bar int32
	k   int
}

// nextBar is a candidate for the next bar to the right.
type nextBar struct {
	bar   int32
	votes int16
}

// growRuns calls found with the longest chains of bars in which each is the
// next one's neighbour at the same distance. The chain is good until found
// returns.
func growRuns(s *ruleStrokes, bars []ruleBar, found func([]link)) {
	next, gap := neighbours(s, bars)
	pred := make([]int32, len(bars))
	for i := range pred {
		pred[i] = -1
	}
	for a, b := range next {
		if b >= 0 && next[b] >= 0 && math.Abs(gap[a]-gap[b]) <= gapTolerance(gap[a]) {
			pred[b] = int32(a)
		}
	}
	var run []link
	used := make([]bool, len(bars))
	for start := range bars {
		if next[start] < 0 || pred[start] >= 0 && !used[pred[start]] || used[start] {
			continue
		}
		run = append(run[:0], link{int32(start), 0})
		period, k := gap[start], 0
		for b := int32(start); next[b] >= 0; b = next[b] {
			step := math.Round(gap[b] / period)
			if step < 1 || math.Abs(gap[b]-step*period) > gapTolerance(period) {
				break
			}
			k += int(step)
			used[b] = true
			run = append(run, link{next[b], k})
			// Follow slow changes, as of a rule seen at a slant.
			period += 0.2 * (gap[b]/step - period)
		}
		if run = withoutStrays(run); len(run) >= minRun {
			found(run)
		}
	}
}

// withoutStrays leaves out the few bars of a run that stand between the even
// places of the others. A run may begin with the stroke of a figure half a
// division, by chance, from the first mark: the marks are then numbered by
// twos, and further strokes may fit.
func withoutStrays(run []link) []link {
	for _, parts := range []int{2, 3, 5} {
		class := make([]int, parts)
		most := 0
		for _, l := range run {
			class[l.k%parts]++
			if class[l.k%parts] > class[most] {
				most = l.k % parts
			}
		}
		if class[most] < minRun || float64(class[most]) < evenShare*float64(len(run)) {
			continue
		}
		kept := run[:0]
		for _, l := range run {
			if l.k%parts == most {
				kept = append(kept, link{l.bar, l.k / parts})
			}
		}
		return withoutStrays(kept)
	}
	return run
}

// gapTolerance is how much two distances of neighbouring bars may differ, in
// half-size pixels.
func gapTolerance(gap float64) float64 { return 0.08*gap + 0.5 }

// neighbours returns for every bar the next similar bar to its right, or -1,
// and the distance across the bars.
func neighbours(s *ruleStrokes, bars []ruleBar) (next []int32, gap []float64) {
	votes := make([][4]nextBar, len(bars))
	for j := range len(s.first) - 1 {
		row := s.line(j)
		for i := range row {
			a := row[i].bar
			if a < 0 {
				continue
			}
			far := row[i].x + float32(ruleMaxPeriod/2*bars[a].secant)
			for n := i + 1; n < len(row) && row[n].x <= far; n++ {
				if b := row[n].bar; b >= 0 && b != a && similar(&bars[a], &bars[b]) {
					vote(&votes[a], b)
					break
				}
			}
		}
	}
	voteSquare(bars, votes)
	next, gap = make([]int32, len(bars)), make([]float64, len(bars))
	for a := range bars {
		next[a] = -1
		for _, v := range votes[a] {
			if v.votes < 2 {
				continue
			}
			d := barDistance(&bars[a], &bars[v.bar])
			if d >= ruleMinPeriod/2 && d <= ruleMaxPeriod/2 && (next[a] < 0 || d < gap[a]) {
				next[a], gap[a] = v.bar, d
			}
		}
	}
	return next, gap
}

// barMap says which slanted bar lies where, in cells of scanStep half-size
// pixels; 0 is none, i+1 the bar i.
type barMap struct {
	w, h int
	bar  []int32
}

// slanted says whether bars beside this one may share too few scan lines with
// it to be seen as its neighbours there.
func (b *ruleBar) slanted() bool { return math.Abs(b.slope) > leastSlant }

// mapSlanted draws the slanted bars two cells wide, so that no line across
// them slips through.
func mapSlanted(bars []ruleBar) barMap {
	var m barMap
	for i := range bars {
		if b := &bars[i]; b.slanted() {
			m.w = max(m.w, int(max(b.at(b.yMin), b.at(b.yMax))/scanStep)+2)
			m.h = max(m.h, int(b.yMax/scanStep)+1)
		}
	}
	m.bar = make([]int32, m.w*m.h)
	for i := range bars {
		b := &bars[i]
		if !b.slanted() {
			continue
		}
		for y := b.yMin; y <= b.yMax; y += scanStep {
			x := max(0, int(b.at(y)/scanStep-0.5))
			at := int(y/scanStep)*m.w + x
			m.bar[at], m.bar[at+1] = int32(i+1), int32(i+1)
		}
	}
	return m
}

// voteSquare looks from each slanted bar square to it for the next similar
// bar: marks hardly longer than their distance share no scan line at a slant.
func voteSquare(bars []ruleBar, votes [][4]nextBar) {
	m := mapSlanted(bars)
	for a := range bars {
		b := &bars[a]
		if !b.slanted() {
			continue
		}
		for _, part := range [...]float64{0.1, 0.3, 0.5, 0.7, 0.9} {
			y0 := b.yMin + part*(b.yMax-b.yMin)
			if c := m.nextSimilar(bars, a, b.at(y0), y0); c >= 0 {
				vote(&votes[a], c)
			}
		}
	}
}

// nextSimilar goes from (x, y) on the bar a to the right, square to the bar,
// and returns the first similar one, or -1.
func (m barMap) nextSimilar(bars []ruleBar, a int, x, y float64) int32 {
	dx, dy := 1/bars[a].secant, -bars[a].slope/bars[a].secant
	for range ruleMaxPeriod / 2 {
		x, y = x+dx, y+dy
		i, j := int(x/scanStep), int(y/scanStep)
		if x < 0 || y < 0 || i >= m.w || j >= m.h {
			break
		}
		if b := m.bar[j*m.w+i] - 1; b >= 0 && int(b) != a && similar(&bars[a], &bars[b]) {
			return b
		}
	}
	return -1
}

func vote(list *[4]nextBar, bar int32) {
	for i := range list {
		if list[i].votes > 0 && list[i].bar == bar {
			list[i].votes++
			return
		}
	}
	for i := range list {
		if list[i].votes == 0 {
			list[i] = nextBar{bar, 1}
			return
		}
	}
}

// similar says whether two bars may be marks of one rule: parallel, of like
// width and depth.
func similar(a, b *ruleBar) bool {
	if a.depth > 2*b.depth || b.depth > 2*a.depth {
		return false
	}
	if w := math.Abs(a.width - b.width); w > 0.3*min(a.width, b.width)+0.5 {
		return false
	}
	shorter := min(a.yMax-a.yMin, b.yMax-b.yMin)
	return math.Abs(a.angle-b.angle) <= 0.05+1/shorter
}

// barDistance returns the distance of two bars across their direction, taken
// in the middle of the lines they share.
func barDistance(a, b *ruleBar) float64 {
	y := (max(a.yMin, b.yMin) + min(a.yMax, b.yMax)) / 2
	return (b.at(y) - a.at(y)) * 2 / (a.secant + b.secant)
}

// evenness returns the period and the usual width of a run's bars, half-size
// pixels, and the evidence that it is even by more than chance.
func evenness(run []link, bars []ruleBar) (period, width, evidence float64) {
	gaps, widths := make([]float64, 0, len(run)), make([]float64, 0, len(run))
	for i, l := range run {
		widths = append(widths, bars[l.bar].width)
		if i > 0 {
			gaps = append(gaps, barDistance(&bars[run[i-1].bar], &bars[l.bar])/float64(l.k-run[i-1].k))
		}
	}
	slices.Sort(gaps)
	slices.Sort(widths)
	period, width = gaps[len(gaps)/2], widths[len(widths)/2]
	for i := range gaps {
		gaps[i] = math.Abs(gaps[i] - period)
	}
	slices.Sort(gaps)
	// Gaps by chance fill the tolerance evenly and have half of it as their
	// median deviation; bars are placed to a fortieth of a pixel at best.
	off := max(0.025, gaps[len(gaps)/2])
	evidence = float64(len(run)) * (0.1 + math.Log(max(1, gapTolerance(period)/2/off)))
	return period, width, evidence
}

// fullSizeRun returns the run's bars in pixels of the full picture.
func fullSizeRun(run []link, bars []ruleBar, turned bool) ruleRun {
	full := func(x, y float64) r2.Vec {
		if turned {
			x, y = y, x
		}
		return r2.Vec{X: 2*x + 0.5, Y: 2*y + 0.5}
	}
	r := ruleRun{bars: make([]runBar, len(run))}
	for i, l := range run {
		b := &bars[l.bar]
		r.bars[i] = runBar{k: l.k, a: full(b.at(b.yMin), b.yMin), b: full(b.at(b.yMax), b.yMax)}
	}
	return r
}

// perBar is the evidence of one bar.
func (r ruleRun) perBar() float64 { return r.evidence / float64(len(r.bars)) }

// divided returns the run as part of a rule with so many marks to each of its
// gaps.
func (r ruleRun) divided(parts int) ruleRun {
	r.bars = slices.Clone(r.bars)
	for i := range r.bars {
		r.bars[i].k *= parts
	}
	r.period /= float64(parts)
	return r
}
