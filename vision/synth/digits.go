package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// digitWidth is the width of a digit as a share of its height.
const digitWidth = 0.6

// strokes holds the lines of each digit in a box digitWidth wide and 1 high.
var strokes = map[rune][][]r2.Vec{
	'-': {{{X: 0.1, Y: 0.55}, {X: 0.5, Y: 0.55}}},
	'0': {arc(0.3, 0.5, 0.28, 0.5, 0, 360)},
	'1': {{{X: 0.12, Y: 0.2}, {X: 0.34, Y: 0}, {X: 0.34, Y: 1}}},
	'2': {append(arc(0.3, 0.27, 0.27, 0.27, -170, 30), r2.Vec{X: 0.02, Y: 1}, r2.Vec{X: 0.6, Y: 1})},
	'3': {arc(0.28, 0.24, 0.26, 0.24, -160, 90), arc(0.28, 0.74, 0.3, 0.26, -90, 160)},
	'4': {{{X: 0.46, Y: 1}, {X: 0.46, Y: 0}, {X: 0, Y: 0.7}, {X: 0.62, Y: 0.7}}},
	'5': {append([]r2.Vec{{X: 0.54, Y: 0}, {X: 0.12, Y: 0}, {X: 0.08, Y: 0.46}}, arc(0.28, 0.68, 0.3, 0.32, -130, 150)...)},
	'6': {arc(0.3, 0.68, 0.28, 0.32, 0, 360), {{X: 0.03, Y: 0.6}, {X: 0.2, Y: 0.2}, {X: 0.46, Y: 0}}},
	'7': {{{X: 0.02, Y: 0}, {X: 0.58, Y: 0}, {X: 0.24, Y: 1}}},
	'8': {arc(0.3, 0.24, 0.24, 0.24, 0, 360), arc(0.3, 0.74, 0.28, 0.26, 0, 360)},
	'9': {arc(0.3, 0.32, 0.28, 0.32, 0, 360), {{X: 0.57, Y: 0.4}, {X: 0.4, Y: 0.8}, {X: 0.14, Y: 1}}},
}

// arc returns points of an ellipse from one angle to another, in degrees.
func arc(x, y, rx, ry, from, to float64) []r2.Vec {
	n := int(math.Ceil((to - from) / 15))
	pts := make([]r2.Vec, n+1)
	for i := range pts {
		sin, cos := math.Sincos((from + (to-from)*float64(i)/float64(n)) * math.Pi / 180)
		pts[i] = r2.Vec{X: x + rx*cos, Y: y + ry*sin}
	}
	return pts
}
