package vision

import "math"

// A changed bit in the first coefficient of a JPEG block shifts the level of
// all that follows: codes and places are right, and the shade is another from
// there on. In the tone curve that moves the edges of dark things. The place
// shows as a step along the borders of the units, from somewhere in a row to
// its end and along the row below it up to there, which no object has.
const (
	seamStep    = 4.0  // levels of 255 (L)
	seamSpread  = 0.25 // of the step, in which the steps along the seam agree (L)
	seamSeen    = 0.8  // share of the seam's units that have the step, and of the others that have none (L)
	seamClear   = 2    // units from the ends of the row: at an end it may be a strip beneath the photo
	seamSlack   = 2.0  // levels, noise of a unit's step
	fewestUnits = 12   // in a row, for the shares to mean something
)

// shadeShift finds where the shade of all that follows was shifted, in a picture of
// w x h levels made of units of unitW x unitH pixels, and returns the row of
// pixels below it, 0 for none.
func shadeShift(luma []uint8, w, h, unitW, unitH int) int {
	cols := w / unitW
	if cols < fewestUnits {
		return 0
	}
	var above []float64
	for y := unitH; y+1 < h; y += unitH {
		steps := borderSteps(luma, w, y, unitW, cols)
		if above != nil && isSeam(above, steps) {
			return y - unitH
		}
		above = steps
	}
	return 0
}

// borderSteps returns, for each unit, by how much the row y of pixels differs
// from the one above, beyond how the rows next to them differ.
func borderSteps(luma []uint8, w, y, unitW, cols int) []float64 {
	at := func(k int) []uint8 { return luma[(y+k)*w:][:w] }
	a, b, c, d := at(-2), at(-1), at(0), at(1)
	steps := make([]float64, cols)
	for i := range steps {
		sum := 0
		for x := i * unitW; x < (i+1)*unitW; x++ {
			sum += 3*(int(c[x])-int(b[x])) - (int(d[x]) - int(a[x]))
		}
		steps[i] = float64(sum) / float64(2*unitW)
	}
	return steps
}

// isSeam says whether a seam runs from somewhere in the upper border to its
// end and from the start of the lower one up to there.
func isSeam(upper, lower []float64) bool {
	n := len(upper)
	var large []float64
	for _, border := range [][]float64{upper, lower} {
		for _, v := range border {
			if math.Abs(v) > seamStep {
				large = append(large, v)
			}
		}
	}
	if float64(len(large)) < seamSeen*float64(n) {
		return false
	}
	step := middle(large) // nearly all of them lie on the seam, if there is one
	near := seamSpread*math.Abs(step) + seamSlack
	stepAbove, levelAbove := countNear(upper, step, near), countNear(upper, 0, near)
	stepBelow, levelBelow := countNear(lower, step, near), countNear(lower, 0, near)
	for from := seamClear; from <= n-seamClear; from++ {
		before, after := seamSeen*float64(from), seamSeen*float64(n-from)
		if float64(stepAbove[n]-stepAbove[from]) >= after && float64(stepBelow[from]) >= before &&
			float64(levelAbove[from]) >= before && float64(levelBelow[n]-levelBelow[from]) >= after {
			return true
		}
	}
	return false
}

// countNear returns how many of the first i values lie near to one, for each i.
func countNear(values []float64, to, near float64) []int {
	counts := make([]int, len(values)+1)
	for i, v := range values {
		counts[i+1] = counts[i]
		if math.Abs(v-to) <= near {
			counts[i+1]++
		}
	}
	return counts
}
