package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// lattice is a square grid grown through targets: which target lies at which
// column and row.
type lattice map[[2]int]int

// How far a target may lie from where its neighbours say it must be, of the
// distance of neighbours, and how unlike its neighbour's a dot's size may be.
const (
	offLattice = 0.22
	unlikeDots = 1.5
)

// ways are the four ways to a neighbour, opposite ones two apart.
var ways = [4][2]int{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}

func step(from, way [2]int) [2]int { return [2]int{from[0] + way[0], from[1] + way[1]} }

// growLattice returns the largest lattice among the targets.
func growLattice(all []target, w, h int) lattice {
	if len(all) < minGridSide*minGridSide {
		return nil
	}
	field := newField(all, w, h)
	seeds := make([]int, len(all))
	for i := range seeds {
		seeds[i] = i
	}
	middle := r2.Vec{X: float64(w) / 2, Y: float64(h) / 2}
	slices.SortStableFunc(seeds, func(a, b int) int {
		return cmp.Compare(r2.Norm2(r2.Sub(all[a].at, middle)), r2.Norm2(r2.Sub(all[b].at, middle)))
	})
	const tries = 60
	var best lattice
	tried := 0
	for _, seed := range seeds {
		a, b, ok := field.basis(seed)
		if !ok {
			continue
		}
		if l := field.grow(seed, a, b).pruned(all).largest(); len(l) > len(best) {
			best = l
		}
		if tried++; tried == tries || 2*len(best) > len(all) {
			break
		}
	}
	return best
}

// field finds targets by place.
type field struct {
	all   []target
	cell  float64
	w, h  int
	cells [][]int
}

func newField(all []target, w, h int) field {
	// One target a cell, about.
	f := field{all: all, cell: max(4, math.Sqrt(float64(w)*float64(h)/float64(len(all))))}
	f.w, f.h = int(float64(w)/f.cell)+1, int(float64(h)/f.cell)+1
	f.cells = make([][]int, f.w*f.h)
	for i, t := range all {
		x, y := f.place(t.at)
		f.cells[y*f.w+x] = append(f.cells[y*f.w+x], i)
	}
	return f
}

func (f field) place(p r2.Vec) (x, y int) {
	return min(max(int(p.X/f.cell), 0), f.w-1), min(max(int(p.Y/f.cell), 0), f.h-1)
}

// within lists the targets within reach of p.
func (f field) within(p r2.Vec, reach float64) []int {
	x0, y0 := f.place(r2.Sub(p, r2.Vec{X: reach, Y: reach}))
	x1, y1 := f.place(r2.Add(p, r2.Vec{X: reach, Y: reach}))
	var out []int
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			for _, i := range f.cells[y*f.w+x] {
				if r2.Norm(r2.Sub(f.all[i].at, p)) <= reach {
					out = append(out, i)
				}
			}
		}
	}
	return out
}

// nearest returns the target nearest to p within reach, -1 for none.
func (f field) nearest(p r2.Vec, reach float64) int {
	best, at := reach, -1
	for _, i := range f.within(p, reach) {
		if d := r2.Norm(r2.Sub(f.all[i].at, p)); d <= best {
			best, at = d, i
		}
	}
	return at
}

// basis returns the ways from a target to its neighbours along and across: the
// nearest target that has another one opposite, and the nearest such across.
func (f field) basis(seed int) (a, b r2.Vec, ok bool) {
	p := f.all[seed].at
	var near []int
	for reach := 1.5 * f.cell; len(near) < 9 && reach < 12*f.cell; reach *= 1.5 {
		near = f.within(p, reach)
	}
	slices.SortStableFunc(near, func(i, j int) int {
		return cmp.Compare(r2.Norm2(r2.Sub(f.all[i].at, p)), r2.Norm2(r2.Sub(f.all[j].at, p)))
	})
	for _, i := range near[:min(len(near), 13)] {
		d := r2.Sub(f.all[i].at, p)
		size := r2.Norm(d)
		if i == seed || size == 0 || f.nearest(r2.Sub(p, d), offLattice*size) < 0 {
			continue
		}
		if a == (r2.Vec{}) {
			a = d
			continue
		}
		ratio := size / r2.Norm(a)
		if sin := math.Abs(r2.Cross(a, d)) / (size * r2.Norm(a)); sin > 0.8 && ratio < 1.6 {
			return a, d, true
		}
	}
	return a, b, false
}

// grow goes from neighbour to neighbour.
func (f field) grow(seed int, a, b r2.Vec) lattice {
	l := lattice{{}: seed}
	used := map[int]bool{seed: true}
	bases := map[[2]int][2]r2.Vec{{}: {a, b}}
	at := func(c [2]int) (r2.Vec, bool) {
		i, ok := l[c]
		if !ok {
			return r2.Vec{}, false
		}
		return f.all[i].at, true
	}
	for queue := [][2]int{{}}; len(queue) > 0; queue = queue[1:] {
		here := queue[0]
		p, _ := at(here)
		basis := f.turned(l, here, bases[here])
		for k, way := range ways {
			next := step(here, way)
			if _, ok := l[next]; ok {
				continue
			}
			d := basis[k%2]
			if k >= 2 {
				d = r2.Scale(-1, d)
			}
			i := f.nearest(r2.Add(p, d), offLattice*r2.Norm(d))
			if i < 0 || used[i] || !sameDot(f.all[i], f.all[l[here]]) {
				continue
			}
			l[next], used[i], bases[next] = i, true, basis
			queue = append(queue, next)
		}
	}
	return l
}

func sameDot(a, b target) bool {
	return a.size == b.size || max(a.size, b.size) < unlikeDots*min(a.size, b.size)
}

// turned brings the ways along and across up to what the neighbours that are
// known show.
func (f field) turned(l lattice, here [2]int, basis [2]r2.Vec) [2]r2.Vec {
	p := f.all[l[here]].at
	for axis := range 2 {
		var sum r2.Vec
		n := 0.0
		for k := axis; k < 4; k += 2 {
			if i, ok := l[step(here, ways[k])]; ok {
				d := r2.Sub(f.all[i].at, p)
				if k >= 2 {
					d = r2.Scale(-1, d)
				}
				sum = r2.Add(sum, d)
				n++
			}
		}
		if n > 0 {
			basis[axis] = r2.Scale(1/n, sum)
		}
	}
	return basis
}

// upright returns the lattice with columns growing to the right and rows
// downwards, as nearly as they do, both from zero.
func (l lattice) upright(all []target) lattice {
	var along, across r2.Vec
	for c, i := range l {
		for k, sum := range []*r2.Vec{&along, &across} {
			if j, ok := l[step(c, ways[k])]; ok {
				*sum = r2.Add(*sum, r2.Sub(all[j].at, all[i].at))
			}
		}
	}
	swap := math.Abs(along.X) < math.Abs(along.Y)
	if swap {
		along, across = across, along
	}
	low := [2]int{math.MaxInt, math.MaxInt}
	out := lattice{}
	turned := func(c [2]int) [2]int {
		if swap {
			c[0], c[1] = c[1], c[0]
		}
		if along.X < 0 {
			c[0] = -c[0]
		}
		if across.Y < 0 {
			c[1] = -c[1]
		}
		return c
	}
	for c := range l {
		c = turned(c)
		low = [2]int{min(low[0], c[0]), min(low[1], c[1])}
	}
	for c, i := range l {
		c = turned(c)
		out[[2]int{c[0] - low[0], c[1] - low[1]}] = i
	}
	return out
}

// cells returns the lattice's places in order, row by row.
func (l lattice) cells() [][2]int {
	var out [][2]int
	for c := range l {
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b [2]int) int {
		return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0]))
	})
	return out
}

// sides returns the numbers of columns and rows, and of those that show most of
// a side of the least grid.
func (l lattice) sides() (columns, rows, fullColumns, fullRows int) {
	in := [2]map[int]int{{}, {}}
	for c := range l {
		in[0][c[0]]++
		in[1][c[1]]++
	}
	full := func(of map[int]int) (n int) {
		for _, k := range of {
			if k >= minGridSide-1 {
				n++
			}
		}
		return n
	}
	return len(in[0]), len(in[1]), full(in[0]), full(in[1])
}

// unevenness returns how far the points lie off even rows and columns, over the
// distance of neighbours: a point from half-way between its neighbours, which a
// slant and a lens shift alike for points beside each other, and so against the
// next one. Root mean square.
func (l lattice) unevenness(at func(c [2]int) r2.Vec) float64 {
	sum, n := 0.0, 0.0
	for _, c := range l.cells() {
		for k := range 2 {
			row := [4][2]int{c}
			whole := true
			for i := range 3 {
				row[i+1] = step(row[i], ways[k])
				_, ok := l[row[i+1]]
				whole = whole && ok
			}
			if !whole {
				continue
			}
			p, q, r, s := at(row[0]), at(row[1]), at(row[2]), at(row[3])
			third := r2.Add(r2.Sub(s, p), r2.Scale(3, r2.Sub(q, r)))
			// Variances of 20 in such a difference, 1.5 off the middle of two.
			sum += r2.Norm2(third) / r2.Norm2(r2.Sub(r, q)) * 1.5 / 20
			n++
		}
	}
	return math.Sqrt(sum / max(n, 1))
}

// offRow is how far a point may lie from where the two before it in its row or
// column point, over their distance, on the mean of the rows and columns it ends.
const offRow = 0.12

// pruned returns the lattice without what beside the target happened to lie in
// a row with it: places with one neighbour only, or off their rows.
func (l lattice) pruned(all []target) lattice {
	out := lattice{}
	for c, i := range l {
		neighbours, sum, n := 0, 0.0, 0.0
		for _, way := range ways {
			first, ok := l[step(c, way)]
			if !ok {
				continue
			}
			neighbours++
			if second, ok := l[step(step(c, way), way)]; ok {
				p, q := all[first].at, all[second].at
				ahead := r2.Add(p, r2.Sub(p, q))
				sum += r2.Norm(r2.Sub(all[i].at, ahead)) / r2.Norm(r2.Sub(p, q))
				n++
			}
		}
		if neighbours > 1 && n > 0 && sum/n < offRow {
			out[c] = i
		}
	}
	if len(out) < len(l) && len(out) > 0 {
		return out.pruned(all)
	}
	return out
}

// largest returns the largest part of the lattice that hangs together.
func (l lattice) largest() lattice {
	var best lattice
	seen := map[[2]int]bool{}
	for _, from := range l.cells() {
		if seen[from] {
			continue
		}
		part := lattice{from: l[from]}
		for queue := [][2]int{from}; len(queue) > 0; queue = queue[1:] {
			seen[queue[0]] = true
			for _, way := range ways {
				next := step(queue[0], way)
				if i, ok := l[next]; ok && !seen[next] {
					seen[next] = true
					part[next] = i
					queue = append(queue, next)
				}
			}
		}
		if len(part) > len(best) {
			best = part
		}
	}
	return best
}
