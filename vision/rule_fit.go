package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

const (
	// maxMissing is how many covered marks in a row are stepped over.
	maxMissing = 20
	// markWindow is the half-width of the light fitted around a mark, as a
	// share of the period: nearly up to the neighbours.
	markWindow = 0.45
	// unknownLean is the standard uncertainty of a direction that was not
	// measured: evenly anywhere in half a turn.
	unknownLean = math.Pi / 3.4641
	// leastU is the least uncertainty of a mark believed, pixels.
	leastU = 1e-3
	// longestMark is the length in periods from which on a line is no mark.
	longestMark = 25
	// maxTurns is how often the base line is turned to the ends of the marks.
	maxTurns = 3
	// coarseRows and fineRows bound the rows of pixels read across a mark in
	// the first and in the last pass.
	coarseRows, fineRows = 12, 64
)

// ruleMark is one measured mark, in the coordinates of the rule's frame.
type ruleMark struct {
	k int
	subpixel.Mark
	u           float64 // of Center, evened out over the marks
	lean, leanU float64 // du/dv of its own line
	top, bottom float64 // v of its ends
	// topCut and bottomCut say that no end was found.
	topCut, bottomCut bool
	profile           []subpixel.Sample
}

// ruleFit is a rule while it is being fitted at full size.
type ruleFit struct {
	g      raster.Gray
	frame  ruleFrame
	v0, v1 float64 // rows shown by every mark
	rows   int     // of pixels read across a mark, at most
	bright bool
	shape  subpixel.MarkShape
	height float64 // usual height of a mark, 0 when not yet known
	period float64
	marks  []ruleMark // in order of k
	comb   subpixel.Comb
	sums   []stripSum // memory of strip
	// checked holds the fit against the limits, once that is done.
	checked []check.Check
	// evidence is that of a bar of the run the rule was first seen as.
	evidence float64
}

// fitRule measures the rule of which run is a part. It returns false when
// there is no comb of marks there.
func fitRule(g raster.Gray, run ruleRun) (*ruleFit, bool) {
	f := newRuleFit(g, run)
	var k []int
	var x, u []float64
	for _, b := range run.bars {
		ua, va := f.frame.of(b.a)
		ub, vb := f.frame.of(b.b)
		k, x, u = append(k, b.k), append(x, ua-va*(ub-ua)/(vb-va)), append(u, 0.3)
	}
	comb, err := subpixel.FitComb(k, x, u)
	if err != nil || comb.N < minRun || comb.Period < ruleMinPeriod {
		return nil, false
	}
	f.comb, f.period = comb, comb.Period
	k0, k1 := run.bars[0].k, run.bars[len(run.bars)-1].k
	if !f.pass(k0, k1, coarseRows) {
		return nil, false
	}
	f.extents(max(1, f.period/12))
	for range maxTurns {
		if !f.reframe() || !f.pass(f.marks[0].k, f.marks[len(f.marks)-1].k, fineRows) {
			return nil, false
		}
		f.extents(max(1, f.period/40))
		// Marks in the middle of a long row are too few to turn the base line
		// at once to where all of them are.
		slope, _, _ := f.baseLine()
		if math.Abs(slope)*(f.marks[len(f.marks)-1].Center-f.marks[0].Center) < (f.v1-f.v0)/4 {
			break
		}
	}
	return f, true
}

// pass measures the marks k0 to k1 and beyond, reading so many rows of pixels
// across each.
func (f *ruleFit) pass(k0, k1, rows int) bool {
	f.rows = rows
	f.measure(k0, k1)
	if !f.refit() {
		return false
	}
	f.fitShape()
	if f.shape.Width > widestMark*f.period || !f.refit() {
		return false
	}
	f.leanings()
	return true
}

func newRuleFit(g raster.Gray, run ruleRun) *ruleFit {
	f := &ruleFit{g: g, bright: run.bright, evidence: run.perBar()}
	var across r2.Vec
	for _, b := range run.bars {
		d := r2.Sub(b.b, b.a)
		if r2.Dot(d, across) < 0 {
			d = r2.Scale(-1, d)
		}
		across = r2.Add(across, d)
	}
	across = r2.Unit(across)
	first, last := run.bars[0], run.bars[len(run.bars)-1]
	f.frame.along = r2.Vec{X: across.Y, Y: -across.X}
	if r2.Dot(r2.Sub(last.a, first.a), f.frame.along) < 0 {
		f.frame.along = r2.Scale(-1, f.frame.along)
	}
	mid := run.bars[len(run.bars)/2]
	f.frame.origin = r2.Scale(0.5, r2.Add(mid.a, mid.b))
	f.alignEnds(run)

	// The rows that most bars share.
	type end struct {
		v    float64
		open int
	}
	var ends []end
	for _, b := range run.bars {
		_, va := f.frame.of(b.a)
		_, vb := f.frame.of(b.b)
		ends = append(ends, end{min(va, vb), 1}, end{max(va, vb), -1})
	}
	slices.SortFunc(ends, func(a, b end) int { return cmp.Compare(a.v, b.v) })
	open, most := 0, 0
	for _, e := range ends {
		open += e.open
		most = max(most, open)
	}
	open = 0
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, e := range ends {
		open += e.open
		if 10*open >= 8*most && i+1 < len(ends) {
			lo, hi = min(lo, e.v), max(hi, ends[i+1].v)
		}
	}
	f.frame.origin = f.frame.at(0, (lo+hi)/2)
	f.v0, f.v1 = -0.35*(hi-lo), 0.35*(hi-lo)
	f.shape = subpixel.MarkShape{Width: max(1, run.width), Blur: 1.2}
	return f
}

// alignEnds turns the base line into the line of the bars' upper or lower
// ends when the row is long against its bars: the mean direction of short bars
// seen at half size can be off by a degree, and the row would run out of the
// band.
func (f *ruleFit) alignEnds(run ruleRun) {
	var u, top, bottom, length []float64
	for _, b := range run.bars {
		ua, va := f.frame.of(b.a)
		ub, vb := f.frame.of(b.b)
		u, top, bottom = append(u, (ua+ub)/2), append(top, min(va, vb)), append(bottom, max(va, vb))
		length = append(length, math.Abs(vb-va))
	}
	slices.Sort(length)
	long := math.Abs(u[len(u)-1] - u[0])
	slope, _, spread := straightLine(u, top)
	if s, _, lower := straightLine(u, bottom); lower < spread {
		slope, spread = s, lower
	}
	// Ends are seen to a scan line.
	if spread > 2*scanStep || long < 100*scanStep || long < 15*length[len(length)/2] || math.Abs(slope) > 0.1 {
		return
	}
	f.turn(slope)
}

// turn turns the base line about its origin by slope against the present one;
// the marks keep their direction.
func (f *ruleFit) turn(slope float64) {
	old := f.frame
	f.frame.along = r2.Unit(r2.Add(old.along, r2.Scale(slope, old.across())))
	f.frame.slant = (old.slant + slope) / (1 - old.slant*slope)
}

// measure finds the marks k0 to k1 where the comb says they are, then goes on
// at both ends from mark to mark.
func (f *ruleFit) measure(k0, k1 int) {
	f.marks = f.marks[:0]
	for k := k0; k <= k1; k++ {
		if m, ok := f.markAt(k, f.comb.At(float64(k))); ok {
			f.marks = append(f.marks, m)
		}
	}
	if len(f.marks) < minRun {
		return
	}
	f.usualHeight()
	f.marks = f.extend(f.marks, 1)
	slices.Reverse(f.marks)
	f.marks = f.extend(f.marks, -1)
	slices.Reverse(f.marks)
}

// extend follows the marks beyond the last one in the direction of dir.
func (f *ruleFit) extend(marks []ruleMark, dir int) []ruleMark {
	k := marks[len(marks)-1].k
	for missing := 0; missing <= maxMissing; {
		k += dir
		u := ahead(marks[max(0, len(marks)-10):], k, f.comb.Period)
		p := f.frame.at(u, 0)
		if !f.g.Inside(p.X, p.Y) {
			break
		}
		m, ok := f.markAt(k, u)
		if !ok {
			missing++
			continue
		}
		missing = 0
		marks = append(marks, m)
	}
	return marks
}

// ahead predicts the place of mark k by a straight line through the last
// marks, whose slope may differ by 5 % from the period.
func ahead(last []ruleMark, k int, period float64) float64 {
	var sk, su, skk, sku float64
	k0 := last[len(last)-1].k
	for _, m := range last {
		t := float64(m.k - k0)
		sk += t
		su += m.Center
		skk += t * t
		sku += t * m.Center
	}
	n := float64(len(last))
	slope := period
	if det := n*skk - sk*sk; det > 0 && len(last) >= 4 {
		slope = (n*sku - sk*su) / det
		slope = max(0.95*period, min(1.05*period, slope))
	}
	return su/n + slope*(float64(k-k0)-sk/n)
}

func (f *ruleFit) usualHeight() {
	h := make([]float64, 0, len(f.marks))
	for _, m := range f.marks {
		h = append(h, m.Height)
	}
	slices.Sort(h)
	f.height = h[len(h)/2]
}

// markAt fits the mark k expected at u.
func (f *ruleFit) markAt(k int, u float64) (ruleMark, bool) {
	m := ruleMark{k: k, profile: f.strip(u, f.v0, f.v1, f.rows)}
	n := len(m.profile)
	if n < 6 {
		return m, false
	}
	start := u
	if f.rows == coarseRows {
		start = f.darkest(m.profile, u)
	}
	mark, err := subpixel.FitMark(m.profile, start, f.shape)
	if err != nil {
		return m, false
	}
	m.Mark = mark
	// Both flanks of the mark must be seen.
	flank := f.shape.Width/2 + f.shape.Blur
	switch {
	case mark.Center-flank < m.profile[0].At || mark.Center+flank > m.profile[n-1].At,
		math.Abs(mark.Center-u) > 0.15*f.period+0.5,
		mark.Height > 0 != f.bright,
		mark.RMS > 0.2*math.Abs(mark.Height),
		f.height != 0 && (math.Abs(mark.Height) < 0.35*math.Abs(f.height) || math.Abs(mark.Height) > 2.5*math.Abs(f.height)):
		return m, false
	}
	return m, true
}

// strip gathers the light about u nearly up to the neighbouring marks.
func (f *ruleFit) strip(u, v0, v1 float64, rows int) []subpixel.Sample {
	half := max(3.5, markWindow*f.period)
	if n := int(2*half/sampleBin) + 1; cap(f.sums) < n {
		f.sums = make([]stripSum, n)
	}
	return f.frame.strip(f.g, nil, f.sums, u, half, v0, v1, rows)
}

// darkest returns where, within a fifth of a period of u, a window of the
// mark's width holds the least light (the most for bright marks).
func (f *ruleFit) darkest(profile []subpixel.Sample, u float64) float64 {
	best, at := math.Inf(1), u
	reach := 0.2*f.period + 0.5
	for c := u - reach; c <= u+reach; c += sampleBin {
		var light, n float64
		for _, s := range profile {
			if math.Abs(s.At-c) <= f.shape.Width/2 {
				light += s.Light * s.Pixels
				n += s.Pixels
			}
		}
		if n == 0 {
			continue
		}
		light /= n
		if f.bright {
			light = -light
		}
		if light < best {
			best, at = light, c
		}
	}
	return at
}

// refit numbers the marks' places by a new comb and drops marks off it, and
// those disturbed by something: their light fits much worse than the others'.
func (f *ruleFit) refit() bool {
	if len(f.marks) < minRun {
		return false
	}
	rms := make([]float64, 0, len(f.marks))
	for _, m := range f.marks {
		rms = append(rms, m.RMS)
	}
	slices.Sort(rms)
	worst := max(6*rms[len(rms)/2], 0.03*math.Abs(f.height))
	f.marks = slices.DeleteFunc(f.marks, func(m ruleMark) bool { return m.RMS > worst })
	k := make([]int, len(f.marks))
	x, u := make([]float64, len(k)), make([]float64, len(k))
	for i, m := range f.marks {
		k[i], x[i], u[i] = m.k, m.Center, m.U
	}
	// No mark may rule the fit by a residual that happens to be small.
	usual := slices.Clone(u)
	slices.Sort(usual)
	for i := range u {
		u[i] = max(leastU, math.Hypot(u[i], usual[len(usual)/2])/math.Sqrt2)
		f.marks[i].u = u[i]
	}
	comb, err := subpixel.FitComb(k, x, u)
	if err != nil || comb.N < minRun || comb.RMS > 0.08*comb.Period {
		return false
	}
	kept := f.marks[:0]
	for i, m := range f.marks {
		if comb.Used[i] {
			kept = append(kept, m)
		}
	}
	f.marks, f.comb, f.period = kept, comb, comb.Period
	f.usualHeight()
	return true
}

// fitShape fits the common width and blur on a share of the marks, and fits
// all of them anew.
func (f *ruleFit) fitShape() {
	if f.rows == coarseRows {
		profiles, centers := f.some(5)
		f.shape = subpixel.GuessShape(profiles, centers, f.shape.Width)
	}
	profiles, centers := f.some(16)
	f.shape = subpixel.FitShape(profiles, centers, f.shape)
	for i := range f.marks {
		m := &f.marks[i]
		if mark, err := subpixel.FitMark(m.profile, m.Center, f.shape); err == nil {
			m.Mark = mark
		}
	}
}

// some returns the profiles and centres of about n marks spread over the rule.
func (f *ruleFit) some(n int) (profiles [][]subpixel.Sample, centers []float64) {
	for i := 0; i < len(f.marks); i += 1 + len(f.marks)/n {
		profiles, centers = append(profiles, f.marks[i].profile), append(centers, f.marks[i].Center)
	}
	return profiles, centers
}

// leanings measures the direction of every mark from the upper and the lower
// half of the band, and lets the frame follow.
func (f *ruleFit) leanings() {
	vm := (f.v0 + f.v1) / 2
	apart := (f.v1 - f.v0) / 2
	for i := range f.marks {
		m := &f.marks[i]
		m.lean, m.leanU = f.frame.lean(m.Center), unknownLean
		a, err1 := subpixel.FitMark(f.strip(m.Center, f.v0, vm, f.rows/2), m.Center, f.shape)
		b, err2 := subpixel.FitMark(f.strip(m.Center, vm, f.v1, f.rows/2), m.Center, f.shape)
		if err1 != nil || err2 != nil || math.Abs(a.Center-b.Center) > 0.2*f.period {
			continue
		}
		m.lean += (b.Center - a.Center) / apart
		m.leanU = math.Hypot(a.U, b.U) / apart
	}
	f.fan()
}

// fan fits lean = slant + fan u to the marks, twice, the second time without
// the marks off by more than 3.5 robust standard deviations.
func (f *ruleFit) fan() {
	var off []float64
	for _, m := range f.marks {
		if m.leanU < unknownLean {
			off = append(off, m.lean)
		}
	}
	if len(off) < 4 {
		return
	}
	slices.Sort(off)
	slant, fan := off[len(off)/2], 0.0
	for range 2 {
		off = off[:0]
		for _, m := range f.marks {
			if m.leanU < unknownLean {
				off = append(off, math.Abs(m.lean-slant-fan*m.Center))
			}
		}
		slices.Sort(off)
		limit := 3.5 * 1.4826 * off[len(off)/2]
		var s, su, suu, sl, sul float64
		for _, m := range f.marks {
			if m.leanU >= unknownLean || math.Abs(m.lean-slant-fan*m.Center) > limit {
				continue
			}
			s++
			su += m.Center
			suu += m.Center * m.Center
			sl += m.lean
			sul += m.Center * m.lean
		}
		if det := s*suu - su*su; s >= 8 && det > 0 {
			fan = (s*sul - su*sl) / det
			slant = (sl - fan*su) / s
		} else if s > 0 {
			slant = sl / s
		}
	}
	f.frame.slant, f.frame.fan = slant, fan
}

// extents finds the ends of every mark, to about step pixels.
func (f *ruleFit) extents(step float64) {
	const rows = 8
	for i := range f.marks {
		m := &f.marks[i]
		// The edge of the picture can cut off a part of the band.
		var usual, seen float64
		v0, v1 := f.v1, f.v0
		for r := range rows + 1 {
			v := f.v0 + (f.v1-f.v0)*float64(r)/rows
			if c, ok := f.contrast(m.Center, v); ok {
				usual += c
				seen++
				v0, v1 = min(v0, v), max(v1, v)
			}
		}
		if usual == 0 {
			m.top, m.topCut, m.bottom, m.bottomCut = f.v0, true, f.v1, true
			continue
		}
		m.top, m.topCut = f.walk(m.Center, v0, -step, usual/seen)
		m.bottom, m.bottomCut = f.walk(m.Center, v1, step, usual/seen)
	}
}

// walk goes from v along the mark at u until its contrast has fallen to half
// of the usual in the mean of three steps. It also says whether no end was
// found: the picture ended first, or the line is too long for a mark.
func (f *ruleFit) walk(u, v, step, usual float64) (end float64, cut bool) {
	last := [3]float64{1, 1, 1}
	mean := 1.0
	limit := longestMark * f.period / math.Abs(step)
	for i := 0; float64(i) < limit; i++ {
		next := v + step
		c, ok := f.contrast(u, next)
		if !ok {
			return v, true
		}
		last[i%3] = c / usual
		before := mean
		mean = (last[0] + last[1] + last[2]) / 3
		if mean < 0.5 {
			// The mean belongs to the middle one of its three steps.
			return v - step*(0.5-mean)/(before-mean), false
		}
		v = next
	}
	return v, true
}

// inside says whether (u, v) lies at least a pixel inside the picture.
func (f *ruleFit) inside(u, v float64) bool {
	p := f.frame.at(u, v)
	return p.X >= 1 && p.Y >= 1 && p.X < float64(f.g.W-2) && p.Y < float64(f.g.H-2)
}

// contrast is the light in the middle of the mark at u less that beside it,
// in row v. Where one side lies outside the picture the other stands for both;
// it is false where the mark itself does.
func (f *ruleFit) contrast(u, v float64) (float64, bool) {
	c := u + f.frame.lean(u)*v
	quarter := f.shape.Width / 4
	beside := min(f.shape.Width/2+1.5*f.shape.Blur+0.5, f.period/2)
	var side, n float64
	for _, d := range [2]float64{-beside, beside} {
		if f.inside(c+d, v) {
			side += f.light(c+d, v)
			n++
		}
	}
	if n == 0 || !f.inside(c-quarter, v) || !f.inside(c+quarter, v) {
		return 0, false
	}
	return (f.light(c-quarter, v)+f.light(c+quarter, v))/2 - side/n, true
}

// light samples the picture at (u, v), which must lie inside.
func (f *ruleFit) light(u, v float64) float64 {
	p := f.frame.at(u, v)
	x, y := int(p.X), int(p.Y)
	fx, fy := float32(p.X-float64(x)), float32(p.Y-float64(y))
	o := y*f.g.W + x
	a, b := f.g.Pix[o], f.g.Pix[o+1]
	c, e := f.g.Pix[o+f.g.W], f.g.Pix[o+f.g.W+1]
	top := a + (b-a)*fx
	return float64(top + (c+(e-c)*fx-top)*fy)
}

// baseLine returns the line v + slope u through the middle of the shortest
// marks, parallel to the line through those ends of the marks that lie in
// line, and the length of the short marks.
func (f *ruleFit) baseLine() (slope, v, short float64) {
	length := make([]float64, 0, len(f.marks))
	for _, m := range f.marks {
		length = append(length, m.bottom-m.top)
	}
	slices.Sort(length)
	short = length[len(length)/5]
	slopeT, atT, spreadT := f.lineOfEnds(func(m ruleMark) (float64, bool) { return m.top, m.topCut })
	slopeB, atB, spreadB := f.lineOfEnds(func(m ruleMark) (float64, bool) { return m.bottom, m.bottomCut })
	slope, v = slopeT, atT+short/2
	if spreadB < spreadT {
		slope, v = slopeB, atB-short/2
	}
	if math.IsInf(min(spreadT, spreadB), 1) {
		return 0, 0, short
	}
	// With few marks a crooked end would turn the base line.
	if math.Abs(slope) > 0.1 || min(spreadT, spreadB) > 0.1*short+1 {
		slope = 0
	}
	return slope, v, short
}

// lineOfEnds fits a line to the ends of the marks, without those cut off by
// the edge of the picture unless they are most: the edge would turn the line.
func (f *ruleFit) lineOfEnds(end func(m ruleMark) (v float64, cut bool)) (slope, at, spread float64) {
	var u, v []float64
	for _, m := range f.marks {
		if w, cut := end(m); !cut {
			u, v = append(u, m.Center), append(v, w)
		}
	}
	if 2*len(u) < len(f.marks) {
		return 0, 0, math.Inf(1)
	}
	return straightLine(u, v)
}

// reframe moves the base line there.
func (f *ruleFit) reframe() bool {
	slope, v, short := f.baseLine()
	old := f.frame
	f.frame.origin = old.at(0, v)
	f.turn(slope)
	f.v0, f.v1 = -0.4*short, 0.4*short
	for i := range f.marks {
		m := &f.marks[i]
		w := v + slope*m.Center
		m.Center, _ = f.frame.of(old.at(m.Center+old.lean(m.Center)*w, w))
	}
	return f.refit()
}

// straightLine fits v = at + slope u by the median of the slopes over half of
// the points, and returns the median distance of the points from it.
func straightLine(u, v []float64) (slope, at, spread float64) {
	n := len(u)
	var s []float64
	for i := range n / 2 {
		if d := u[i+n/2] - u[i]; d > 0 {
			s = append(s, (v[i+n/2]-v[i])/d)
		}
	}
	if len(s) > 0 {
		slices.Sort(s)
		slope = s[len(s)/2]
	}
	r := make([]float64, n)
	for i := range r {
		r[i] = v[i] - slope*u[i]
	}
	slices.Sort(r)
	at = r[n/2]
	for i := range r {
		r[i] = math.Abs(r[i] - at)
	}
	slices.Sort(r)
	return slope, at, r[n/2]
}
