package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Bricks, meshes and knurls have lines as even as a rule's. What tells them
// apart is what a rule does not have: other even lines across its marks, or
// the same row of marks again and again beside it.

// crossed is the number of evenly spaced bars across the rule's marks, over
// the number of marks: the most of one run.
func (f *ruleFit) crossed(runs []ruleRun) float64 {
	box := f.outline(0)
	most := 0
	for _, r := range runs {
		if f.parallel(r, 20*math.Pi/180) {
			continue
		}
		n := 0
		for _, b := range r.bars {
			if segmentMeets(box, b.a, b.b) && f.spans(b, r.bright) {
				n++
			}
		}
		// Some scratches that happen to be even are no mesh, whose lines are
		// as even as the marks.
		if n >= minMarks && r.perBar() > 0.6*f.evidence {
			most = max(most, n)
		}
	}
	return float64(most) / float64(len(f.marks))
}

// spans says whether the bar goes on between the marks it crosses. Scan lines
// at a slant link the strokes of mark after mark to bars that are none.
func (f *ruleFit) spans(b runBar, bright bool) bool {
	if bright != f.bright {
		return true
	}
	const steps = 32
	var depth, n float64
	for i := range steps + 1 {
		p := r2.Add(b.a, r2.Scale(float64(i)/steps, r2.Sub(b.b, b.a)))
		u, v := f.frame.of(p)
		foot := u - f.frame.lean(u)*v
		m := f.nearest(foot)
		// Points off the marks, but no farther than half-way to the next.
		if off := math.Abs(m.Center-foot) / f.period; off < 0.35 || off > 0.5 || v < m.top || v > m.bottom || !f.inside(u, v) {
			continue
		}
		depth += (f.light(u, v) - m.Base) / m.Height
		n++
	}
	return n == 0 || depth/n > 0.3
}

// nearest returns the mark nearest to u.
func (f *ruleFit) nearest(u float64) ruleMark {
	i, _ := slices.BinarySearchFunc(f.marks, u, func(m ruleMark, u float64) int { return cmp.Compare(m.Center, u) })
	if i == len(f.marks) || i > 0 && u-f.marks[i-1].Center < f.marks[i].Center-u {
		i--
	}
	return f.marks[i]
}

// repeats is the number of rows of marks of the rule's period and direction
// that lie beside it. A rule divided along both edges has one.
func (f *ruleFit) repeats(runs []ruleRun) int {
	box := f.outline(f.period / 2)
	var rows []float64
	first, last := f.marks[0].Center, f.marks[len(f.marks)-1].Center
	for _, r := range runs {
		if math.Abs(r.period-f.period) > 0.03*f.period || !f.parallel(r, 5*math.Pi/180) {
			continue
		}
		middle := r.bars[len(r.bars)/2]
		at := r2.Scale(0.5, r2.Add(middle.a, middle.b))
		u, v := f.frame.of(at)
		if u < first || u > last || inQuad(box, at) {
			continue
		}
		rows = append(rows, v)
	}
	slices.Sort(rows)
	n := 0
	for i, v := range rows {
		// One row can give several runs.
		if i == 0 || v-rows[i-1] > (f.v1-f.v0)/2 {
			n++
		}
	}
	return n
}

// parallel says whether the run's bars have the direction of the marks.
func (f *ruleFit) parallel(r ruleRun, within float64) bool {
	b := r.bars[len(r.bars)/2]
	d := r2.Unit(r2.Sub(b.b, b.a))
	mark := r2.Unit(r2.Add(f.frame.across(), r2.Scale(f.frame.slant, f.frame.along)))
	return math.Abs(r2.Cross(d, mark)) < math.Sin(within)
}

// segmentMeets says whether the middle half of the segment a-b passes through
// the quadrilateral.
func segmentMeets(q [4]r2.Vec, a, b r2.Vec) bool {
	const steps = 8
	for i := range steps + 1 {
		t := 0.25 + 0.5*float64(i)/steps
		if inQuad(q, r2.Add(r2.Scale(1-t, a), r2.Scale(t, b))) {
			return true
		}
	}
	return false
}
