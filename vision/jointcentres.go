package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// edgel is an edge pixel: its place, the unit vector of its gradient, the
// gradient's size and its direction among directions.
type edgel struct {
	x, y, ux, uy, m float32
	direction       int
}

// directions is the number of classes, over half a turn, that edges fall into.
const directions = 8

// How the votes for centres are counted, in pixels of the small picture.
const (
	voteCell = 2  // side of a cell of votes
	crowd    = 16 // side of a square in which edges of one direction crowd
	likely   = 6  // centres returned
)

// centres returns the likely centres of round edges, best first: each edge
// pixel votes along its own gradient, both ways.
//
// Marks of a rule and brushed lines are many, but all look one way: votes are
// counted apart by direction and only the weakest five of the eight directions
// count, so that a centre seen from all sides wins over any number of parallel
// edges. Where many edges of one direction crowd, each counts the less.
func centres(g raster.Gray) []r2.Vec {
	edges := strongEdges(g, g.W*g.H/40)
	cw := g.W/crowd + 1
	crowded := make([][directions]float32, cw*(g.H/crowd+1))
	place := func(e edgel) int { return int(e.y)/crowd*cw + int(e.x)/crowd }
	for _, e := range edges {
		crowded[place(e)][e.direction]++
	}
	w, h := g.W/voteCell+1, g.H/voteCell+1
	var votes [directions][]float32
	for i := range votes {
		votes[i] = make([]float32, w*h)
	}
	rmin, rmax := float32(g.H)*0.06/voteCell, float32(g.H)*0.55/voteCell
	for _, e := range edges {
		weight := min(e.m, 1) / max(crowded[place(e)][e.direction], crowd)
		to := votes[e.direction]
		for _, sign := range [2]float32{1, -1} {
			x, y := e.x/voteCell+sign*rmin*e.ux+0.5, e.y/voteCell+sign*rmin*e.uy+0.5
			for r := rmin; r < rmax; r++ {
				if x < 0 || y < 0 || int(x) >= w || int(y) >= h {
					break
				}
				to[int(y)*w+int(x)] += weight / r
				x += sign * e.ux
				y += sign * e.uy
			}
		}
	}
	for i, v := range votes {
		votes[i] = boxSmooth(v, w, h, 2)
	}
	return peaks(weakest(votes), w, h)
}

// strongEdges returns about keep of the strongest edge pixels of g.
func strongEdges(g raster.Gray, keep int) []edgel {
	const least = 1e-4
	each := func(rows int, do func(x, y int, gx, gy float32)) {
		for y := 1; y < g.H-1; y += rows {
			a, b, c := g.Row(y-1), g.Row(y), g.Row(y+1)
			for x := 1; x < g.W-1; x++ {
				do(x, y,
					a[x+1]-a[x-1]+2*(b[x+1]-b[x-1])+c[x+1]-c[x-1],
					c[x-1]-a[x-1]+2*(c[x]-a[x])+c[x+1]-a[x+1])
			}
		}
	}
	// A sample tells how strong the strongest are.
	const rows, columns = 8, 8
	var sizes []float32
	each(rows, func(x, _ int, gx, gy float32) {
		if x%columns == 0 {
			sizes = append(sizes, gx*gx+gy*gy)
		}
	})
	if len(sizes) == 0 {
		return nil
	}
	slices.Sort(sizes)
	floor := max(sizes[max(len(sizes)-1-keep/(rows*columns), 0)], least)
	edges := make([]edgel, 0, keep+keep/4)
	each(1, func(x, y int, gx, gy float32) {
		if m := gx*gx + gy*gy; m >= floor {
			m = float32(math.Sqrt(float64(m)))
			edges = append(edges, edgel{float32(x), float32(y), gx / m, gy / m, m, directionOf(gx, gy)})
		}
	})
	return edges
}

// directionOf returns the class, 0 to directions-1, of the direction of (x, y)
// over half a turn.
func directionOf(x, y float32) int {
	ax, ay := x, y
	if ax < 0 {
		ax = -ax
	}
	if ay < 0 {
		ay = -ay
	}
	// Quarters of a right angle: tangents of 22.5, 45 and 67.5 degrees.
	d := 0
	for _, t := range [3]float32{0.41421356, 1, 2.4142136} {
		if ay > t*ax {
			d++
		}
	}
	if (x < 0) != (y < 0) {
		d = directions - 1 - d
	}
	return d
}

// weakest adds up, cell by cell, all layers but the strongest three.
func weakest(layers [directions][]float32) []float32 {
	out := make([]float32, len(layers[0]))
	for i := range out {
		var sum, first, second, third float32
		for d := range layers {
			v := layers[d][i]
			sum += v
			switch {
			case v > first:
				first, second, third = v, first, second
			case v > second:
				second, third = v, second
			case v > third:
				third = v
			}
		}
		out[i] = max(sum-first-second-third, 0)
	}
	return out
}

// peaks returns the places of the highest votes, in pixels, each well apart
// from those before. It clears the votes about them.
func peaks(votes []float32, w, h int) []r2.Vec {
	var out []r2.Vec
	for range likely {
		at := 0
		for i, v := range votes {
			if v > votes[at] {
				at = i
			}
		}
		if votes[at] == 0 {
			break
		}
		bx, by := at%w, at/w
		out = append(out, r2.Vec{X: float64(bx * voteCell), Y: float64(by * voteCell)})
		reach := max(h/24, 3)
		for y := max(0, by-reach); y <= min(h-1, by+reach); y++ {
			clear(votes[y*w+max(0, bx-reach) : y*w+min(w-1, bx+reach)+1])
		}
	}
	return out
}

// boxSmooth returns the mean of v over squares of 2r+1 cells.
func boxSmooth(v []float32, w, h, r int) []float32 {
	pass := func(src []float32, n, lines, step, lineStep int) []float32 {
		out := make([]float32, len(src))
		for l := range lines {
			at := l * lineStep
			var sum float32
			for i := range min(r, n) {
				sum += src[at+i*step]
			}
			for i := range n {
				if i+r < n {
					sum += src[at+(i+r)*step]
				}
				if i-r-1 >= 0 {
					sum -= src[at+(i-r-1)*step]
				}
				out[at+i*step] = sum
			}
		}
		return out
	}
	return pass(pass(v, w, h, 1, w), h, w, w, 1)
}
