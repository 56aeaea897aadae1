package vision

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

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
	seamSlope   = 0.25 // of the step, at most in the rows beside it together: an edge in a lens's picture has a half and more (blur 0.5 px: 0.46)
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
	var above border
	for y := unitH; y+1 < h; y += unitH {
		here := newBorder(luma, w, y, unitW, cols)
		if above.steps != nil && isSeam(above, here) {
			return y - unitH
		}
		above = here
	}
	return 0
}

// border is a row of units against the one above, a value for each unit.
type border struct {
	steps  []float64 // of the row of pixels against the one above, beyond how the rows next to them differ
	beside []float64 // how much those differ, both together
}

func newBorder(luma []uint8, w, y, unitW, cols int) border {
	at := func(k int) []uint8 { return luma[(y+k)*w:][:w] }
	a, b, c, d := at(-2), at(-1), at(0), at(1)
	out := border{make([]float64, cols), make([]float64, cols)}
	for i := range cols {
		step, beside := 0, 0
		for x := i * unitW; x < (i+1)*unitW; x++ {
			step += int(c[x]) - int(b[x])
			beside += int(b[x]) - int(a[x]) + int(d[x]) - int(c[x])
		}
		out.steps[i] = float64(2*step-beside) / float64(2*unitW)
		out.beside[i] = float64(beside) / float64(unitW)
	}
	return out
}

// isSeam says whether a seam runs from somewhere in the upper border to its
// end and from the start of the lower one up to there.
func isSeam(above, below border) bool {
	upper, lower := above.steps, below.steps
	n := len(upper)
	var large []float64
	for _, steps := range [][]float64{upper, lower} {
		for _, v := range steps {
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
			slope := (floats.Sum(above.beside[from:]) + floats.Sum(below.beside[:from])) / float64(n)
			return math.Abs(slope) <= seamSlope*math.Abs(step)
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
