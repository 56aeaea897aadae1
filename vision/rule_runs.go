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
	// widestMark is the greatest width of a mark as a share of the period.
	// Wider ones are the gaps between marks of the other polarity. A run's
	// bars look a little wider than they are.
	widestMark, widestBar = 0.55, 0.6
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
	k      int
	a, b   r2.Vec // its ends
	length float64
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
			for _, links := range growRuns(s, bars) {
				r := fullSizeRun(links, bars, turned, s == &scan.bright)
				if r.width <= widestBar*r.period {
					runs = append(runs, r)
				}
			}
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

// growRuns finds the longest chains of bars in which each is the next one's
// neighbour at the same distance.
func growRuns(s *ruleStrokes, bars []ruleBar) [][]link {
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
	var runs [][]link
	used := make([]bool, len(bars))
	for start := range bars {
		if next[start] < 0 || pred[start] >= 0 && !used[pred[start]] || used[start] {
			continue
		}
		run := []link{{int32(start), 0}}
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
		if len(run) >= minRun {
			runs = append(runs, run)
		}
	}
	return runs
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
			secant := math.Sqrt(1 + bars[a].slope*bars[a].slope)
			far := row[i].x + float32(ruleMaxPeriod/2*secant)
			for n := i + 1; n < len(row) && row[n].x <= far; n++ {
				if b := row[n].bar; b >= 0 && b != a && similar(&bars[a], &bars[b]) {
					vote(&votes[a], b)
					break
				}
			}
		}
	}
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
	shorter := min(a.yMax-a.yMin, b.yMax-b.yMin)
	if math.Abs(math.Atan(a.slope)-math.Atan(b.slope)) > 0.05+1/shorter {
		return false
	}
	if w := math.Abs(a.width - b.width); w > 0.3*min(a.width, b.width)+0.5 {
		return false
	}
	return a.depth <= 2*b.depth && b.depth <= 2*a.depth
}

// barDistance returns the distance of two bars across their direction, taken
// in the middle of the lines they share.
func barDistance(a, b *ruleBar) float64 {
	y := (max(a.yMin, b.yMin) + min(a.yMax, b.yMax)) / 2
	slope := (a.slope + b.slope) / 2
	return (b.at(y) - a.at(y)) / math.Sqrt(1+slope*slope)
}

func fullSizeRun(run []link, bars []ruleBar, turned, bright bool) ruleRun {
	full := func(x, y float64) r2.Vec {
		if turned {
			x, y = y, x
		}
		return r2.Vec{X: 2*x + 0.5, Y: 2*y + 0.5}
	}
	r := ruleRun{bright: bright}
	var gaps, widths []float64
	for i, l := range run {
		b := &bars[l.bar]
		a, e := full(b.at(b.yMin), b.yMin), full(b.at(b.yMax), b.yMax)
		r.bars = append(r.bars, runBar{k: l.k, a: a, b: e, length: r2.Norm(r2.Sub(e, a))})
		widths = append(widths, 2*b.width)
		if i > 0 {
			gaps = append(gaps, 2*barDistance(&bars[run[i-1].bar], b)/float64(l.k-run[i-1].k))
		}
	}
	slices.Sort(gaps)
	slices.Sort(widths)
	r.period, r.width = gaps[len(gaps)/2], widths[len(widths)/2]
	for i := range gaps {
		gaps[i] = math.Abs(gaps[i] - r.period)
	}
	slices.Sort(gaps)
	// Gaps by chance fill the tolerance evenly and have half of it as their
	// median deviation; bars are placed to a twentieth of a pixel at best.
	chance := gapTolerance(r.period / 2) // = half the tolerance at full size
	r.evidence = float64(len(run)) * (0.1 + math.Log(max(1, chance/max(0.05, gaps[len(gaps)/2]))))
	return r
}

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
