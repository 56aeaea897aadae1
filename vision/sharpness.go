package vision

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"pinlash/measure/check"
	"pinlash/vision/raster"
)

// smearedBlur is the edge spread, pixels, beyond which a photo in which
// something was not found is said to be blurred: sharp photos come out at up to
// 2.1 by this measure, which smooths over four pixels.
const smearedBlur = 3.0

// OrBlurred returns the refusal err, or, where what was looked for may have
// been missed because the whole photo is smeared, a refusal that says so.
// Other errors are returned as they are.
func OrBlurred(g raster.Gray, err error) error {
	var r *check.Refusal
	if !errors.As(err, &r) {
		return err
	}
	switch r.Code {
	case check.NoScale, check.ScaleUnclear, check.NotFound, check.TooFewEdges:
	default:
		return err
	}
	if s := smear(g); s > smearedBlur {
		return check.Refuse(check.Blurred, fmt.Sprintf(
			"the sharpest edges in one direction are blurred over %.1f px, at most %.1f px can be measured (%s)", s, smearedBlur, r.Message))
	}
	return err
}

// smear returns the edge spread of the sharper edges in the direction in which
// they are the least sharp, pixels: a lens out of focus smears all directions,
// a moving camera one. It is 0 for a photo without edges.
//
// On scan lines in four directions the strongest steps are taken; a Gaussian
// edge of height a and greatest slope m has the spread a/(m sqrt(2 pi)).
func smear(g raster.Gray) float64 {
	worst := 0.0
	for _, d := range [][2]int{{1, 0}, {0, 1}, {1, 1}, {1, -1}} {
		worst = max(worst, smearAlong(g, d[0], d[1]))
	}
	return worst
}

// oneWay returns how much of the edge spread of g is there in one direction
// only: sqrt(a^2 - b^2)/a for directions at right angles with spreads a > b. A
// lens out of focus smears all directions alike, a moving camera one. It is 0
// for a photo without edges. Directions are compared in pairs of one sampling.
func oneWay(g raster.Gray) float64 {
	most := 0.0
	for _, d := range [][2]int{{1, 0}, {1, 1}} {
		a, b := smearAlong(g, d[0], d[1]), smearAlong(g, d[1], -d[0])
		if a > 0 && b > 0 {
			most = max(most, math.Sqrt(math.Abs(a*a-b*b))/max(a, b))
		}
	}
	return most
}

// smearReach is how far apart the two sides of a step are read, pixels.
const smearReach = 24

func smearAlong(g raster.Gray, dx, dy int) float64 {
	unit := math.Hypot(float64(dx), float64(dy))
	var steps []stepEdge
	scan := func(x, y int) {
		var line []float64
		for x >= 0 && y >= 0 && x < g.W && y < g.H {
			line = append(line, float64(g.At(x, y)))
			x, y = x+dx, y+dy
		}
		steps = append(steps, strongest(line, int(smearReach/unit))...)
	}
	const apart = 12
	if dy != 0 {
		for x := 0; x < g.W; x += apart {
			if dy > 0 {
				scan(x, 0)
			} else {
				scan(x, g.H-1)
			}
		}
	}
	if dx != 0 {
		for y := apart; y < g.H-apart; y += apart {
			scan(0, y)
		}
	}
	if len(steps) < 20 {
		return 0
	}
	// The strong steps, and of those the sharp ones: gentle shading is not an
	// edge out of focus.
	slices.SortFunc(steps, func(a, b stepEdge) int { return cmp.Compare(b.height, a.height) })
	var spreads []float64
	for _, s := range steps[:max(20, len(steps)/10)] {
		spreads = append(spreads, unit*s.height/(s.slope*math.Sqrt(2*math.Pi)))
	}
	slices.Sort(spreads)
	return spreads[len(spreads)/4]
}

// stepEdge is a step of light on a scan line: its height, and its greatest
// slope per place.
type stepEdge struct{ height, slope float64 }

// strongest returns the strongest step of each stretch of a line.
func strongest(line []float64, reach int) []stepEdge {
	var out []stepEdge
	mean := func(i int) float64 { return (line[i-1] + line[i] + line[i+1]) / 3 }
	for from := reach + 1; from+reach+1 < len(line)-1; from += 2 * reach {
		best := stepEdge{}
		at := 0
		for i := from; i < min(from+2*reach, len(line)-reach-2); i++ {
			if h := math.Abs(mean(i+reach/2) - mean(i-reach/2)); h > best.height {
				best.height, at = h, i
			}
		}
		if at == 0 || best.height < 0.02 {
			continue
		}
		for i := at - reach/2; i < at+reach/2; i++ {
			// Over four places, so that grain does not pass for sharpness.
			best.slope = max(best.slope, math.Abs(line[i+2]+line[i+1]-line[i-1]-line[i-2])/6)
		}
		if best.slope > 0 {
			out = append(out, best)
		}
	}
	return out
}
