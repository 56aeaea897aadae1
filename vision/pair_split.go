package vision

import (
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/vision/subpixel"
)

const (
	// strayTile is how far a tile must stray from the first motion, in its own
	// standard deviations, to belong to another one; a tile's own covariance
	// is too small by up to a factor of two (L).
	strayTile = 6.0
	// moreLikely is the logarithm of how much more likely one motion must be
	// than the other for a tile to be given to it (L).
	moreLikely = 5.0
	// explainedShare of the straying tiles, clearly explained by a motion, leave
	// nothing for another one (L).
	explainedShare = 0.8
	// leastApart is the smallest difference of the two motions, in pixels of
	// the photo, at which tiles are told apart by it (L).
	leastApart = 0.8
)

// pairLink is where a link lies in the first photo and about how it moved.
type pairLink struct {
	in region
	by geom.Similarity
}

// splitByMotion looks for a second body that moved otherwise than the first.
// The body with less of the picture is returned as the moving link.
func (p pair) splitByMotion(first geom.Similarity) (moving, fixed pairLink, ok bool) {
	level := p.look
	tiles := p.tiles(level, everywhere, 8*bodyTiles)
	one := p.texture[level].Of(tiles).Compare(p.b[level], toLevel(first, level))
	stray := newTileMap(p, level)
	for _, t := range one {
		if !t.Seen || t.Stray > strayTile {
			stray.set(t.Rect, 1)
		}
	}
	labels, second, two, ok := p.secondBody(first, one, stray)
	if ok && still(second, labels, 2) && !still(first, labels, 1) && float64(labels.count(2)) < lampShare*float64(len(tiles)) {
		// What stays in its place in the photo while the rest moves is no link
		// but a mirrored lamp, or dust in the camera.
		kept := one[:0:0]
		for _, t := range one {
			if labels.of(t.Rect) == 2 {
				stray.set(t.Rect, 0)
			} else {
				kept = append(kept, t)
			}
		}
		one = kept
		labels, second, two, ok = p.secondBody(first, one, stray)
	}
	if ok {
		labels, ok = p.settle(&first, &second, one, two)
	}
	if !ok {
		return moving, fixed, false
	}
	moving, fixed = pairLink{labels.region(2), second}, pairLink{labels.region(1), first}
	if labels.count(2) > labels.count(1) {
		moving, fixed = fixed, moving
	}
	return moving, fixed, true
}

// lampShare is the share of the tiles that mirrored lamps may take up (L).
const lampShare = 0.25

// still says whether a movement leaves the tiles of a label where they are.
func still(m geom.Similarity, t tileMap, label uint8) bool {
	return r2.Norm(m.ShiftAt(t.middle(label))) < leastApart
}

// secondBody looks for the movement that explains most of the tiles that
// stray from the first one, whose fit is one, and gives tiles to the first (1)
// or the second (2), whose fit is two.
func (p pair) secondBody(first geom.Similarity, one []subpixel.TileFit, stray tileMap) (labels tileMap, second geom.Similarity, two []subpixel.TileFit, ok bool) {
	labels = newTileMap(p, p.look)
	if stray.count(1) < minBodyTiles {
		return labels, second, nil, false
	}
	tiles := rects(one)
	// Which movement is the second the straying tiles say.
	var tried []image.Rectangle
	var before []subpixel.TileFit
	for i, t := range tiles {
		if stray.of(t) == 1 {
			tried, before = append(tried, t), append(before, one[i])
		}
	}
	straying := p.texture[p.look].Of(tried)
	most := 0.0
	at := stray.middle(1)
	var followed []geom.Similarity
	for _, start := range p.secondMotions(first, stray.region(1)) {
		if slices.ContainsFunc(followed, func(m geom.Similarity) bool { return p.near(start, m, at) }) {
			continue
		}
		m, err := p.follow(start, stray.region(1))
		if err != nil {
			continue
		}
		followed = append(followed, m)
		if !linked(m, first, at, float64(p.a[0].W)) {
			continue
		}
		gain, explained := 0.0, 0
		for i, t := range straying.Compare(p.b[p.look], toLevel(m, p.look)) {
			more := moreBy(t, before[i])
			gain += max(0, more)
			if more > moreLikely {
				explained++
			}
		}
		if gain > most {
			most, second = gain, m
		}
		if float64(explained) > explainedShare*float64(len(tried)) {
			break
		}
	}
	if most == 0 {
		return labels, second, nil, false
	}
	two = p.texture[p.look].Of(tiles).Compare(p.b[p.look], toLevel(second, p.look))
	labels = p.share(one, two)
	return labels, second, two, apart(labels, first, second)
}

// near says whether a start lies so close to a movement that was found that it
// leads there again: within a pixel of the level on which follow begins.
func (p pair) near(start, found geom.Similarity, at r2.Vec) bool {
	return r2.Norm(r2.Sub(start.ShiftAt(at), found.ShiftAt(at))) < math.Ldexp(1, p.coarse-1)
}

// share gives every tile to the movement that explains it clearly better.
func (p pair) share(one, two []subpixel.TileFit) tileMap {
	labels := newTileMap(p, p.look)
	for i, t := range two {
		switch l := moreBy(t, one[i]); {
		case l > moreLikely:
			labels.set(t.Rect, 2)
		case l < -moreLikely:
			labels.set(t.Rect, 1)
		}
	}
	labels.keepLargest(2)
	return labels
}

// apart says whether both movements have tiles enough, and differ.
func apart(t tileMap, first, second geom.Similarity) bool {
	at := t.middle(2)
	return t.count(2) >= minBodyTiles && t.count(1) >= minBodyTiles &&
		r2.Norm(r2.Sub(first.ShiftAt(at), second.ShiftAt(at))) > leastApart
}

// settle fits both movements, whose fits so far are one and two, to their own
// tiles and shares the tiles again,
// until each explains its own. About a joint that mostly swung the first
// movement may have begun as a compromise of both.
func (p pair) settle(first, second *geom.Similarity, one, two []subpixel.TileFit) (tileMap, bool) {
	all := p.texture[p.look].Of(rects(one))
	for range settleRounds {
		labels := p.share(one, two)
		if !apart(labels, *first, *second) {
			return labels, false
		}
		if typicalStray(one, labels, 1) < settledStray && typicalStray(two, labels, 2) < settledStray {
			break
		}
		for _, m := range []struct {
			by    *geom.Similarity
			label uint8
		}{{first, 1}, {second, 2}} {
			if again, err := p.follow(*m.by, labels.region(m.label)); err == nil {
				*m.by = again
			}
		}
		one = all.Compare(p.b[p.look], toLevel(*first, p.look))
		two = all.Compare(p.b[p.look], toLevel(*second, p.look))
	}
	labels := p.share(one, two)
	return labels, apart(labels, *first, *second)
}

func rects(fits []subpixel.TileFit) []image.Rectangle {
	out := make([]image.Rectangle, len(fits))
	for i, f := range fits {
		out[i] = f.Rect
	}
	return out
}

const (
	settleRounds = 4
	// settledStray is the median stray of a body's tiles below which they move
	// as one: it is 1.18 where the tiles' own covariances say all (L).
	settledStray = 1.8
)

// typicalStray returns the median stray of the tiles with a label.
func typicalStray(fits []subpixel.TileFit, t tileMap, label uint8) float64 {
	var v []float64
	for _, f := range fits {
		if f.Seen && t.of(f.Rect) == label {
			v = append(v, f.Stray)
		}
	}
	return middle(v)
}

// linked says whether two movements can be those of two links of one joint,
// the second seen about the point at in a photo of the given width.
func linked(second, first geom.Similarity, at r2.Vec, width float64) bool {
	return r2.Norm(r2.Sub(second.ShiftAt(at), first.ShiftAt(at))) < mostApart*width &&
		math.Abs(second.Grown()-first.Grown()) < mostZoom && math.Abs(second.Turn-first.Turn) < mostSwing
}

// How differently two links of a joint can move (L): by a share of the photo's
// width, in size, and in direction, rad.
const (
	mostApart = 0.15
	mostZoom  = 0.02
	mostSwing = 0.2
)

// secondMotions returns where the tiles that do not follow the first motion
// may have gone: the best shift on each level, and no shift at all.
func (p pair) secondMotions(first geom.Similarity, in region) []geom.Similarity {
	out := make([]geom.Similarity, 2+p.coarse-p.look)
	out[0] = first
	at := func(level, reach int) {
		c := p.search(level, first, reach, in, true)
		m := first
		m.Shift = r2.Add(m.Shift, r2.Scale(math.Ldexp(1, level), c.shift))
		out[1+p.coarse-level] = m
	}
	together(
		func() { at(p.coarse, searchRange) },
		func() {
			for level := p.coarse - 1; level >= p.look; level-- {
				at(level, 4)
			}
		},
	)
	return out
}

// motionIn returns about how the part of the picture in a region moved, most
// of which moved by first or not far from it.
func (p pair) motionIn(in region, first geom.Similarity) geom.Similarity {
	c := p.search(p.coarse, first, searchRange, in, false)
	shifted := first
	shifted.Shift = r2.Add(first.Shift, r2.Scale(math.Ldexp(1, p.coarse), c.shift))
	best, most := first, math.Inf(-1)
	for _, start := range []geom.Similarity{first, shifted} {
		m, err := p.follow(start, in)
		if err != nil {
			continue
		}
		match := 0.0
		for _, t := range p.template(p.look, in, bodyTiles).Compare(p.b[p.look], toLevel(m, p.look)) {
			match += t.Match
		}
		if match > most {
			best, most = m, match
		}
	}
	return best
}

// follow registers a body from a start good to a pixel of some level.
func (p pair) follow(start geom.Similarity, in region) (geom.Similarity, error) {
	m := start
	err := subpixel.ErrNoTexture
	for level := p.coarse - 1; level >= p.look; level-- {
		fit, e := register(p.template(level, in, findTiles), p.b[level], toLevel(m, level), roughly)
		if e == nil {
			m, err = fromLevel(fit.Motion, level), nil
		}
	}
	return m, err
}

// moreBy returns the logarithm of how much more likely a tile's light is with
// one movement than with another.
//
// With n independent pixels and the residual's variance unknown that is n/2
// ln(v2/v1); the variance goes with one minus the correlation. Smoothing
// leaves about a third of the pixels independent.
func moreBy(this, other subpixel.TileFit) float64 {
	n := float64(this.Rect.Dx()*this.Rect.Dy()) / 3
	return n / 2 * math.Log((1-min(other.Match, 0.9999))/(1-min(this.Match, 0.9999)))
}

// tileMap gives each cell of a level's tiles a label, 0 for none.
type tileMap struct {
	level, w, h int
	label       []uint8
}

func newTileMap(p pair, level int) tileMap {
	e := p.energy[level]
	return tileMap{level: level, w: e.w, h: e.h, label: make([]uint8, e.w*e.h)}
}

// cell returns the number of a tile's cell, in which a tile at the border
// begins a pixel late.
func (t tileMap) cell(r image.Rectangle) int {
	return (r.Max.Y-1)/tileSide*t.w + (r.Max.X-1)/tileSide
}

func (t tileMap) set(r image.Rectangle, label uint8) { t.label[t.cell(r)] = label }

func (t tileMap) of(r image.Rectangle) uint8 { return t.label[t.cell(r)] }

func (t tileMap) count(label uint8) int {
	n := 0
	for _, l := range t.label {
		if l == label {
			n++
		}
	}
	return n
}

// middle returns the mean of the cells with a label, in the photo.
func (t tileMap) middle(label uint8) r2.Vec {
	var sum r2.Vec
	n := 0.0
	for i, l := range t.label {
		if l == label {
			sum = r2.Add(sum, t.at(i))
			n++
		}
	}
	return r2.Scale(1/max(n, 1), sum)
}

// at returns the middle of a cell in the photo.
func (t tileMap) at(i int) r2.Vec {
	c := r2.Vec{X: (float64(i%t.w)+0.5)*tileSide - 0.5, Y: (float64(i/t.w)+0.5)*tileSide - 0.5}
	return fullPoint(c, t.level)
}

// region returns the points of the photo in cells with a label.
func (t tileMap) region(label uint8) region {
	k := math.Ldexp(1, t.level) * tileSide
	return func(p r2.Vec) bool {
		x, y := int((p.X+0.5)/k), int((p.Y+0.5)/k)
		return p.X >= -0.5 && p.Y >= -0.5 && x < t.w && y < t.h && t.label[y*t.w+x] == label
	}
}

// keepLargest leaves the label to the largest group of touching cells; cells
// that one empty cell parts still touch.
func (t tileMap) keepLargest(label uint8) {
	group := make([]int, len(t.label))
	var size []int
	for start, l := range t.label {
		if l != label || group[start] != 0 {
			continue
		}
		size = append(size, 0)
		id := len(size)
		group[start] = id
		stack := []int{start}
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			size[id-1]++
			for y := max(i/t.w-2, 0); y <= min(i/t.w+2, t.h-1); y++ {
				for x := max(i%t.w-2, 0); x <= min(i%t.w+2, t.w-1); x++ {
					if k := y*t.w + x; t.label[k] == label && group[k] == 0 {
						group[k] = id
						stack = append(stack, k)
					}
				}
			}
		}
	}
	largest := 0
	for i, n := range size {
		if n > size[largest] {
			largest = i
		}
	}
	for i, g := range group {
		if g != 0 && g != largest+1 {
			t.label[i] = 0
		}
	}
}
