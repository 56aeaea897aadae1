package vision

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/subpixel"
)

// follower finds the links of a first photo in others like it.
type follower struct {
	m             geom.Motion
	fixed, moving linkTemplate
	coarse        int
}

// linkTemplate is a link of the first photo, on every level from coarse to
// fine, and about where it was seen last.
type linkTemplate struct {
	levels []*subpixel.Template
	last   geom.Similarity
	// least is how much of the link's texture a photo must show again, as the
	// share that shown returns.
	least float64
}

// newFollower takes the links as they were told apart in a pair. A link that is
// seen well is followed by its best tiles.
func newFollower(p pair, m geom.Motion, fixed, moving region, tiles int) *follower {
	f := &follower{m: m, coarse: max(p.coarse-1, 1)}
	for _, l := range []struct {
		in region
		to *linkTemplate
	}{{fixed, &f.fixed}, {moving, &f.moving}} {
		for level := range f.coarse + 1 {
			l.to.levels = append(l.to.levels, subpixel.NewTemplate(p.a[level], p.tiles(level, l.in, tiles)))
		}
	}
	f.rewind()
	return f
}

// rewind lets the next photo be expected to be like the first.
func (f *follower) rewind() {
	middle := r2.Vec{X: float64(f.m.W-1) / 2, Y: float64(f.m.H-1) / 2}
	f.fixed.last, f.moving.last = geom.Similarity{Center: middle}, geom.Similarity{Center: middle}
}

// find registers one link in a photo.
func (l *linkTemplate) find(b []subpixel.Lit) (subpixel.Registration, error) {
	m := l.last
	for level := len(b) - 1; level > 0; level-- {
		if r, err := l.levels[level].Register(b[level], toLevel(m, level), roughly); err == nil {
			m = fromLevel(r.Motion, level)
		}
	}
	r, err := register(l.levels[0], b[0], m, finely)
	if err == nil {
		l.last = r.Motion
	}
	return r, err
}

// shown returns the share of a link's texture that was found again: of its
// tiles, each by its weight and its match.
func shown(r subpixel.Registration) float64 {
	sum := 0.0
	for _, t := range r.Tiles {
		sum += t.Weight * max(t.Match, 0)
	}
	return sum / float64(max(len(r.Tiles), 1))
}

// sameJoint is the share of the texture found again in the pair itself that a
// repeated photo must show, too. Drawn joints of the same shape show 0.2 to
// 0.6 of it, the same joint photographed again 0.8 or more (L).
const sameJoint = 0.7

// Left-out reasons, as geom.Frame.Left has them.
const (
	leftUnlike = "links not found"
	leftFast   = "moved too fast"
)

// frame returns where the links are in a photo. It fills in what else the
// follower knows of the frame: its motion is that of the last photo found.
func (f *follower) frame(b raster.Gray, index int) geom.Frame {
	out := geom.Frame{Index: index}
	photo := levels(b, f.coarse)
	fixed, err := f.fixed.find(photo)
	if err != nil || alike(fixed) < minBodyWeight {
		out.Left = leftUnlike
		return out
	}
	moving, err := f.moving.find(photo)
	if err != nil || alike(moving) < minBodyWeight {
		out.Left = leftUnlike
		f.moving.last = fixed.Motion
		return out
	}
	if shown(fixed) < f.fixed.least || shown(moving) < f.moving.least {
		out.Left = leftUnlike
		return out
	}
	m := f.m
	m.Fixed.Motion, m.Moving.Motion = fixed.Motion, moving.Motion
	rel := m.Relative()
	out.Way, out.Turn = rel.Shift, rel.Turn
	for i := range 2 {
		for j := range 2 {
			out.Cov[i][j] = rel.Cov[i][j]
		}
	}
	out.Shift = fixed.Motion.ShiftAt(r2.Vec{X: float64(m.W-1) / 2, Y: float64(m.H-1) / 2})
	return out
}

// alike returns the share of a link's tiles that moved as one.
func alike(r subpixel.Registration) float64 {
	sum := 0.0
	for _, t := range r.Tiles {
		sum += t.Weight
	}
	return sum / float64(max(len(r.Tiles), 1))
}

// FindSeries measures repeated photos of both states, each against the first
// one of the links pushed together. Errors and checks are those of FindMotion;
// a later photo in which the links are not found, or in which too little of
// their texture is, so that it may show another joint, is left out.
func FindSeries(together, apart []raster.Gray, hint MotionHint) (geom.Series, []check.Check, error) {
	if len(together) == 0 || len(apart) == 0 {
		return geom.Series{}, nil, refusePair("photos of both states are needed, links pushed together and pulled apart")
	}
	for _, g := range append(append([]raster.Gray{}, together...), apart...) {
		if g.W != together[0].W || g.H != together[0].H {
			return geom.Series{}, nil, check.Refuse(check.WrongScale, fmt.Sprintf("the photos differ in size, %d x %d and %d x %d pixels", together[0].W, together[0].H, g.W, g.H))
		}
	}
	p, fixed, moving, m, checks, err := findLinks(together[0], apart[0], hint)
	s := geom.Series{Motion: m}
	if err != nil {
		return s, checks, err
	}
	f := newFollower(p, m, fixed, moving, bodyTiles)
	f.fixed.least = sameJoint * weightOf(m.Fixed.Tiles) * (1 - m.Fixed.Residual)
	f.moving.least = sameJoint * weightOf(m.Moving.Tiles) * (1 - m.Moving.Residual)
	s.Frames = append(s.Frames, geom.Frame{State: geom.Together})
	index := 1
	for _, set := range []struct {
		photos []raster.Gray
		state  geom.State
	}{{together[1:], geom.Together}, {apart, geom.Apart}} {
		for _, g := range set.photos {
			f.rewind()
			if set.state == geom.Apart {
				f.fixed.last, f.moving.last = m.Fixed.Motion, m.Moving.Motion
			}
			frame := f.frame(g, index)
			frame.State = set.state
			s.Frames = append(s.Frames, frame)
			index++
		}
	}
	return s, checks, nil
}
