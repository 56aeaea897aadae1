package vision

import (
	"fmt"
	"math"
	"slices"

	"pinlash/measure/check"
)

// Names of the checks of a rule.
const (
	checkMarks      = "rule marks found"
	checkShare      = "rule marks found/expected"
	checkMissing    = "rule marks missing at regular places"
	checkResidual   = "rule mark scatter/period"
	checkResidualPx = "rule mark scatter, px"
	checkChange     = "rule period change end to end"
	checkRepetition = "rule repetition"
	checkAligned    = "rule marks with an end in line"
	checkBetween    = "rule marks between marks"
	checkContrast   = "rule mark contrast"
	checkEnds       = "rule marks with an end in the picture"
	checkSlender    = "rule mark length/width"
	checkCrossed    = "even lines across the marks/marks"
	checkRepeats    = "like rows of marks beside the rule"
	checkUnlike     = "rule marks unlike in turn"
)

// checks holds the fitted rule against the limits of a readable one; runs are
// all rows of even bars in the picture.
func (f *ruleFit) checks(runs []ruleRun) []check.Check {
	n := len(f.marks)
	first, last := f.marks[0].k, f.marks[n-1].k
	between, _ := f.between()
	expected := last - first + 1
	return []check.Check{
		check.AtLeast(checkMarks, float64(n), minMarks),
		check.AtLeast(checkShare, float64(n)/float64(expected), minMarksShare),
		check.AtMost(checkMissing, f.missing(), maxPattern),
		check.AtMost(checkResidual, f.comb.RMS/f.period, maxResidual),
		check.AtMost(checkResidualPx, f.comb.RMS, maxResidualPx),
		check.AtMost(checkChange, math.Abs(f.comb.Change(float64(first), float64(last))), maxChange),
		check.AtLeast(checkRepetition, f.repetition(), minRepetition),
		check.AtLeast(checkAligned, f.aligned(), minAligned),
		check.AtMost(checkBetween, between, maxBetween),
		check.AtLeast(checkContrast, f.markContrast(), minContrast),
		check.AtLeast(checkEnds, f.ended(), minEnded),
		check.AtLeast(checkSlender, f.slender(), minSlender),
		check.AtMost(checkCrossed, f.crossed(runs), maxCrossed),
		check.AtMost(checkRepeats, float64(f.repeats(runs)), maxRepeats),
		check.AtMost(checkUnlike, f.unlike(), maxInTurn),
	}
}

// firstFailing returns the refusal for the first check that is not met.
func firstFailing(checks []check.Check) *check.Refusal {
	for _, c := range checks {
		if c.OK {
			continue
		}
		word := "above"
		if c.Value < c.Limit {
			word = "below"
		}
		return check.Refuse(check.ScaleUnclear, fmt.Sprintf("%s: %.3g is %s the limit of %.3g", c.Name, c.Value, word, c.Limit))
	}
	return nil
}

// plausible says whether a comb that failed a check is still likely a rule:
// a chance row of scratches is not evenly spaced to a thirtieth of its period
// and does not end in line.
func (f *ruleFit) plausible() bool {
	return f.comb.RMS < f.period/30 && f.aligned() >= minAligned
}

// missing is by how much a smaller share of every third or fourth mark was found
// than of the others, where the places of the others' neighbours show nothing.
// Dirt does not choose so, and marks that were only missed, as a JPEG's blocks
// have it, are still seen there. But the bright halos on either side of sharpened
// marks make a row of twos, with a third always missing, whose period is a third
// of the rule's; or stand at half the period from each other, so that of the marks
// only every other place is found. Where none at all is found between, the period is a
// fraction of the rule's, whatever is seen there.
func (f *ruleFit) missing() float64 {
	if f.commonStep() > 1 {
		return 1
	}
	most := 0.0
	first, last := f.marks[0].k, f.marks[len(f.marks)-1].k
	for n := 3; n <= 4; n++ {
		found, places := make([]float64, n), make([]float64, n)
		for k := first; k <= last; k++ {
			places[(k-first)%n]++
		}
		for _, m := range f.marks {
			found[(m.k-first)%n]++
		}
		for r := range n {
			if places[r] < fewPlaces {
				continue
			}
			others := (float64(len(f.marks)) - found[r]) / (float64(last-first+1) - places[r])
			most = max(most, others-found[r]/places[r])
		}
	}
	if most > maxPattern {
		most *= 1 - f.seenBetween()
	}
	return most
}

// commonStep is the largest number of places of which every distance between two
// marks is a multiple.
func (f *ruleFit) commonStep() int {
	step := 0
	for _, m := range f.marks {
		for a, b := step, m.k-f.marks[0].k; ; a, b = b, a%b {
			if b == 0 {
				step = a
				break
			}
		}
	}
	return step
}

// seenBetween is the usual height, in units of the marks' own and 0 to 1, of what
// stands where one mark between two others was not found.
func (f *ruleFit) seenBetween() float64 {
	var h []float64
	for j := range len(f.marks) - 1 {
		a, b := f.marks[j], f.marks[j+1]
		if b.k-a.k != 2 {
			continue
		}
		if c, ok := f.contrast((a.Center+b.Center)/2, (f.v0+f.v1)/2); ok {
			h = append(h, c/f.height)
		}
	}
	return min(1, max(0, middle(h)))
}

// fewPlaces is how many places of a kind tell nothing of whether marks are
// missing there by chance.
const fewPlaces = 4

// repetition is the smallest correlation of the light along the rule with
// itself one, two and three periods on.
func (f *ruleFit) repetition() float64 {
	first, last := f.marks[0].Center, f.marks[len(f.marks)-1].Center
	u0 := math.Ceil(first)
	n := int(last - u0)
	light := make([]float64, 0, n)
	const rows = 8
	for i := range n {
		// Where the rule runs out of the picture the last marks are seen in
		// part only.
		if v, read := f.lightAcross(u0+float64(i), rows); 2*read >= rows {
			light = append(light, v)
		}
	}
	n = len(light)
	// Take away the mean over one period.
	p := max(2, int(f.period+0.5))
	if n < 5*p {
		return 0
	}
	sum := make([]float64, n+1)
	for i, v := range light {
		sum[i+1] = sum[i] + v
	}
	flat := make([]float64, n)
	for i := range flat {
		lo, hi := max(0, i-p/2), min(n, i-p/2+p)
		flat[i] = light[i] - (sum[hi]-sum[lo])/float64(hi-lo)
	}
	least := 1.0
	for step := 1; step <= 3; step++ {
		lag := float64(step) * f.period
		whole := int(lag)
		frac := lag - float64(whole)
		var ab, aa, bb float64
		for i := 0; i+whole+1 < n; i++ {
			a := flat[i]
			b := flat[i+whole]*(1-frac) + flat[i+whole+1]*frac
			ab += a * b
			aa += a * a
			bb += b * b
		}
		if aa == 0 || bb == 0 {
			return 0
		}
		least = min(least, ab/math.Sqrt(aa*bb))
	}
	return least
}

// lightAcross returns the mean light along the line of a mark at u, as long as the
// marks are, over so many places of which read lie in the picture.
func (f *ruleFit) lightAcross(u float64, places int) (light float64, read int) {
	lean := f.frame.lean(u)
	for i := range places {
		v := f.v0 + (f.v1-f.v0)*(float64(i)+0.5)/float64(places)
		if f.inside(u+lean*v, v) {
			light += f.light(u+lean*v, v)
			read++
		}
	}
	return light / float64(max(read, 1)), read
}

// aligned is the share of marks whose upper, or whose lower, end lies on a
// straight line within a fifth of a period or a tenth of the mark's length.
func (f *ruleFit) aligned() float64 {
	var u, top, bottom, length []float64
	for _, m := range f.marks {
		u, top, bottom = append(u, m.Center), append(top, m.top), append(bottom, m.bottom)
		length = append(length, m.bottom-m.top)
	}
	slices.Sort(length)
	reach := max(0.2*f.period, 0.1*length[len(length)/2], 1.5)
	share := func(v []float64) float64 {
		slope, at, _ := straightLine(u, v)
		n := 0
		for i := range v {
			if math.Abs(v[i]-at-slope*u[i]) <= reach {
				n++
			}
		}
		return float64(n) / float64(len(v))
	}
	return max(share(top), share(bottom))
}

// between is the height, in units of the marks' own, of the strongest thing
// that repeats between the marks at a half, third or fifth of the period: the
// short marks of a rule whose long ones only were found. It also returns which
// part of the period.
func (f *ruleFit) between() (height float64, parts int) {
	for _, n := range []int{2, 3, 5} {
		if f.period/float64(n) < ruleMinPeriod/2 {
			continue
		}
		least := math.Inf(1)
		for i := 1; i < n; i++ {
			var h []float64
			for j := range len(f.marks) - 1 {
				a, b := f.marks[j], f.marks[j+1]
				if b.k-a.k != 1 {
					continue
				}
				u := a.Center + (b.Center-a.Center)*float64(i)/float64(n)
				for _, v := range [2]float64{f.v0, f.v1} {
					if c, ok := f.contrast(u, v); ok {
						h = append(h, c/f.height)
					}
				}
			}
			if len(h) == 0 {
				return 0, 1
			}
			slices.Sort(h)
			// The short marks may fill only one end of the band: a quarter
			// of the samples is enough.
			least = min(least, h[len(h)*3/4])
		}
		if least > height {
			height, parts = least, n
		}
	}
	return height, parts
}

// unlike is by how much every second mark, or space between marks, differs from the
// others, in units of the marks' height. The bright halos of sharpened marks make
// dark bars of the spaces between them, or are taken for marks themselves; the marks
// found, or what lies between them, are then the rule's marks and its spaces in turn.
func (f *ruleFit) unlike() float64 {
	const rows = 4
	var marks, spaces [2][]float64
	for j, m := range f.marks {
		turn := (m.k - f.marks[0].k) % 2
		marks[turn] = append(marks[turn], m.Height)
		if j+1 == len(f.marks) || f.marks[j+1].k-m.k != 1 {
			continue
		}
		if v, read := f.lightAcross((m.Center+f.marks[j+1].Center)/2, rows); read > 0 {
			spaces[turn] = append(spaces[turn], v)
		}
	}
	most := 0.0
	for _, in := range [][2][]float64{marks, spaces} {
		if min(len(in[0]), len(in[1])) >= fewPlaces {
			most = max(most, math.Abs(middle(in[0])-middle(in[1]))/math.Abs(f.height))
		}
	}
	return most
}

// ended is the share of marks that have an end and are no endless lines.
func (f *ruleFit) ended() float64 {
	n := 0
	for _, m := range f.marks {
		if (!m.topCut || !m.bottomCut) && m.bottom-m.top < longestMark*f.period {
			n++
		}
	}
	return float64(n) / float64(len(f.marks))
}

// markContrast is the step of light at a mark's flank over the lighter side,
// the edge spread being allowed for.
func (f *ruleFit) markContrast() float64 {
	base := make([]float64, 0, len(f.marks))
	for _, m := range f.marks {
		base = append(base, m.Base)
	}
	slices.Sort(base)
	lighter := max(base[len(base)/2], base[len(base)/2]+f.height)
	if lighter <= 0 {
		return 0
	}
	return math.Abs(f.height) / lighter
}

// slender is the usual length of a mark over its width.
func (f *ruleFit) slender() float64 {
	var length []float64
	for _, m := range f.marks {
		length = append(length, m.bottom-m.top)
	}
	slices.Sort(length)
	return length[len(length)/2] / f.shape.Width
}

// longEvery returns the m of 2, 4, 5, 8, 10, 16 for which every m-th mark and
// hardly another is longer than the short ones by a seventh, 0 for none. Marks
// that the edge of the picture cuts off count only when they are long so far.
func longEvery(marks []ruleMark) int {
	length := make([]float64, 0, len(marks))
	for _, m := range marks {
		length = append(length, m.bottom-m.top)
	}
	slices.Sort(length)
	long := 1.15 * length[len(length)/4]
	first := marks[0].k
	for _, every := range []int{2, 4, 5, 8, 10, 16} {
		for r := range every {
			var in, inLong, out, outLong float64
			for _, m := range marks {
				isLong := m.bottom-m.top > long
				if (m.topCut || m.bottomCut) && !isLong {
					continue
				}
				n, l := &out, &outLong
				if (m.k-first)%every == r {
					n, l = &in, &inLong
				}
				*n++
				if isLong {
					*l++
				}
			}
			if in >= 2 && inLong >= 0.8*in && outLong <= 0.1*out {
				return every
			}
		}
	}
	return 0
}
