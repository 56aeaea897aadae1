package synth

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Grid is a flat target of Columns x Rows points: the middles of dots, or with
// DotR 0 the corners where four squares of a checkerboard meet.
type Grid struct {
	Center        r2.Vec  // of the points
	Pitch         float64 // distance of neighbouring points, pixels
	AngleRad      float64 // of the rows
	Columns, Rows int     // 0 leaves the grid out
	DotR          float64
	Ink           float64 // light of dots, or of every other square
	Face          Face    // around and between them
	// Left are points whose dot, or squares whose ink, is left out, by column
	// and row.
	Left [][2]int
}

// Lens bends what a lens without distortion shows at c + d to
//
//	c + d (1 + K1 d² + K2 d⁴)
//
// c being Off from the middle of the picture.
type Lens struct {
	K1, K2 float64 // 1/px², 1/px⁴
	Off    r2.Vec
}

// bend returns where p is seen; c is the middle of the picture.
func (l Lens) bend(p, c r2.Vec) r2.Vec {
	c = r2.Add(c, l.Off)
	d := r2.Sub(p, c)
	d2 := r2.Norm2(d)
	return r2.Add(c, r2.Scale(1+d2*(l.K1+d2*l.K2), d))
}

// Point returns the place of a point in the untilted plane.
func (g Grid) Point(column, row int) r2.Vec {
	return g.at(float64(column)-float64(g.Columns-1)/2, float64(row)-float64(g.Rows-1)/2)
}

func (g Grid) at(x, y float64) r2.Vec {
	along := direction(g.AngleRad)
	return r2.Add(g.Center, r2.Scale(g.Pitch, r2.Vec{X: x*along.X - y*along.Y, Y: x*along.Y + y*along.X}))
}

// ink returns the contours of the dots or the dark squares.
func (g Grid) ink(step float64) [][]r2.Vec {
	left := map[[2]int]bool{}
	for _, l := range g.Left {
		left[l] = true
	}
	var out [][]r2.Vec
	if g.DotR > 0 {
		for j := range g.Rows {
			for i := range g.Columns {
				if !left[[2]int{i, j}] {
					out = append(out, disc(g.Point(i, j), g.DotR, step))
				}
			}
		}
		return out
	}
	for j := range g.Rows + 1 {
		for i := range g.Columns + 1 {
			if (i+j)%2 == 0 && !left[[2]int{i, j}] {
				out = append(out, g.square(float64(i)-float64(g.Columns)/2, float64(j)-float64(g.Rows)/2, step))
			}
		}
	}
	return out
}

// square returns the contour of the square about the place x, y.
func (g Grid) square(x, y, step float64) []r2.Vec {
	n := max(1, int(math.Ceil(g.Pitch/step)))
	var pts []r2.Vec
	for side := range 4 {
		for k := range n {
			u, v := float64(k)/float64(n)-0.5, -0.5
			for range side {
				u, v = -v, u
			}
			pts = append(pts, g.at(x+u, y+v))
		}
	}
	return pts
}

func (p *painter) grid(g Grid, step float64) {
	size := g.Pitch * float64(max(g.Columns, g.Rows)+3)
	p.over(g.Face, Grid{Center: g.Center, Pitch: size, AngleRad: g.AngleRad}.square(0, 0, step))
	p.inside(g.Face, Face{Level: g.Ink}, g.ink(step)...)
}
