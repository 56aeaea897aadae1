package overlay

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/gif"
	"math"

	"git.sr.ht/~sbinet/gg"
	"github.com/disintegration/imaging"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// Animation is a joint in two photos between which one of its links moved.
type Animation struct {
	// Photos are upright and of one size.
	Photos [2]image.Image
	// State says of each photo how the links lie in it.
	State [2]string
	// Camera is how the fixed link is seen to go from the first photo to the
	// second. It is taken out, so that only the moving link moves.
	Camera geom.Similarity
	Motion Motion
	Play   string // the figure, in words
}

const (
	animationSide = 480 // pixels, the longest side of the picture
	animationType = 15  // pixels, the size of its type
	stateTime     = 80  // hundredths of a second
	greys         = 64  // levels; grain needs more space and shows no more
	leastSeen     = 3.0 // pixels of the picture below which a motion is overlooked
	mostEnlarged  = 4.0 // of the photo; beyond there is nothing but blur
	movedTooFar   = "the camera moved too far for the photos to show the same"
)

// Animate returns the two photos in turn, without end, the second laid over
// the first by the fixed link, cut down to the joint and the moving link. Each
// stays for 0.8 s: far from the three flashes a second that may harm (WCAG
// 2.2, 2.3.1). The motion is true to the rest of the picture; where it would
// be overlooked a smaller part is shown larger. The caption says which.
func Animate(a Animation) (*gif.GIF, error) {
	shared, err := a.shared()
	if err != nil {
		return nil, err
	}
	v := viewOf(a.Motion, shared)
	w, h := v.drawn()
	out := &gif.GIF{Config: image.Config{ColorModel: greyPalette, Width: w}}
	for i, state := range a.State {
		strip, err := a.strip(w, state, v)
		if err != nil {
			return nil, err
		}
		part := grey(a.Photos[0], v.part)
		if i == 1 {
			part = laidOver(a.Photos[1], a.Camera, v.part)
		}
		out.Config.Height = h + strip.Bounds().Dy()
		frame := image.NewPaletted(image.Rect(0, 0, w, out.Config.Height), greyPalette)
		draw.Draw(frame, image.Rect(0, 0, w, h), imaging.Resize(part, w, h, imaging.Linear), image.Point{}, draw.Src)
		draw.Draw(frame, image.Rect(0, h, w, out.Config.Height), strip, image.Point{}, draw.Src)
		out.Image = append(out.Image, frame)
		out.Delay = append(out.Delay, stateTime)
	}
	return out, nil
}

// GIF returns the animation as a GIF file.
func GIF(g *gif.GIF) ([]byte, error) {
	var b bytes.Buffer
	err := gif.EncodeAll(&b, g)
	return b.Bytes(), err
}

var greyPalette = func() color.Palette {
	p := make(color.Palette, greys)
	for i := range p {
		p[i] = color.Gray{Y: uint8((255*i + (greys-1)/2) / (greys - 1))}
	}
	return p
}()

// shared returns the part of the first photo that the second shows, too. How
// far a point moved changes evenly over the photo, so that it is least and
// most in the corners.
func (a Animation) shared() (image.Rectangle, error) {
	size := a.Photos[0].Bounds().Size()
	if size != a.Photos[1].Bounds().Size() {
		return image.Rectangle{}, errors.New("the photos differ in size")
	}
	out := image.Rectangle{Max: size}
	right, low := float64(size.X-1), float64(size.Y-1)
	for _, corner := range []r2.Vec{{}, {X: right}, {Y: low}, {X: right, Y: low}} {
		shift := a.Camera.ShiftAt(corner)
		if !(r2.Norm(shift) <= right+low) {
			return image.Rectangle{}, errors.New(movedTooFar)
		}
		out.Min.X = max(out.Min.X, int(math.Ceil(-shift.X)))
		out.Min.Y = max(out.Min.Y, int(math.Ceil(-shift.Y)))
		out.Max.X = min(out.Max.X, size.X-int(math.Ceil(shift.X)))
		out.Max.Y = min(out.Max.Y, size.Y-int(math.Ceil(shift.Y)))
	}
	if out.Dx() < 2 || out.Dy() < 2 {
		return image.Rectangle{}, errors.New(movedTooFar)
	}
	return out, nil
}

// view is the part of the first photo that is shown, and how many times its
// size.
type view struct {
	part  image.Rectangle
	times float64
	whole bool // joint and moving link, not a part of them
	seen  bool // the motion, if there is one, is large enough
}

func (v view) drawn() (w, h int) {
	return max(1, int(math.Round(float64(v.part.Dx())*v.times))), max(1, int(math.Round(float64(v.part.Dy())*v.times)))
}

// viewOf shows the joint and the moving link whole if their motion can be seen
// so, else the place of the moving link next to the joint as large as needed.
func viewOf(m Motion, shared image.Rectangle) view {
	box := m.box().Intersect(shared)
	if box.Dx() < 2 || box.Dy() < 2 {
		box = shared
	}
	long := r2.Norm(m.Way)
	v := view{part: box, whole: true, seen: true}
	v.times = min(animationSide/float64(box.Dx()), animationSide/float64(box.Dy()), mostEnlarged)
	if long > 0 && long*v.times < leastSeen {
		v.whole, v.seen = false, long*mostEnlarged >= leastSeen
		v.times = min(leastSeen/long, mostEnlarged)
		side := animationSide / v.times
		v.part = window(m.nearest(), side, 0.75*side, box)
	}
	return v
}

// box holds the joint and the tiles of the moving link, with a margin. It is at
// least half as high as it is wide, and at least as wide as high.
func (m Motion) box() image.Rectangle {
	r := max(int(math.Ceil(m.JointR)), 1)
	x, y := int(math.Round(m.Joint.X)), int(math.Round(m.Joint.Y))
	out := image.Rect(x-r, y-r, x+r+1, y+r+1)
	for _, t := range m.Moving {
		if t.Weight > 0 {
			out = out.Union(image.Rect(t.X, t.Y, t.X+t.Size, t.Y+t.Size))
		}
	}
	out = out.Inset(-max(out.Dx(), out.Dy())/20 - int(math.Ceil(r2.Norm(m.Way))))
	if lack := out.Dx()/2 - out.Dy(); lack > 0 {
		out.Min.Y -= lack / 2
		out.Max.Y += lack / 2
	}
	if lack := out.Dy() - out.Dx(); lack > 0 {
		out.Min.X -= lack / 2
		out.Max.X += lack / 2
	}
	return out
}

// nearest returns the middle of the moving link's tile nearest to the joint,
// beside which the other link ends; the joint if there is none.
func (m Motion) nearest() r2.Vec {
	at, least := m.Joint, math.Inf(1)
	for _, t := range m.Moving {
		half := float64(t.Size-1) / 2
		c := r2.Vec{X: float64(t.X) + half, Y: float64(t.Y) + half}
		if d := r2.Norm(r2.Sub(c, m.Joint)); t.Weight > 0 && d < least {
			at, least = c, d
		}
	}
	return at
}

// window returns a rectangle of w x h pixels about c, moved and cut as needed
// to lie inside.
func window(c r2.Vec, w, h float64, inside image.Rectangle) image.Rectangle {
	span := func(c, size float64, from, to int) (int, int) {
		n := max(min(int(size), to-from), 1)
		start := min(max(int(math.Round(c-size/2)), from), to-n)
		return start, start + n
	}
	var out image.Rectangle
	out.Min.X, out.Max.X = span(c.X, w, inside.Min.X, inside.Max.X)
	out.Min.Y, out.Max.Y = span(c.Y, h, inside.Min.Y, inside.Max.Y)
	return out
}

// grey returns a part of a photo, its first pixel being (0, 0).
func grey(photo image.Image, part image.Rectangle) *image.Gray {
	out := image.NewGray(part)
	draw.Draw(out, part, photo, part.Min.Add(photo.Bounds().Min), draw.Src)
	return out
}

// laidOver returns a part of the first photo as the second shows it, with the
// camera's movement taken out.
func laidOver(second image.Image, camera geom.Similarity, part image.Rectangle) *image.Gray {
	from := image.Rectangle{}
	for _, corner := range []image.Point{part.Min, {X: part.Max.X - 1, Y: part.Min.Y}, {X: part.Min.X, Y: part.Max.Y - 1}, part.Max.Sub(image.Pt(1, 1))} {
		v := camera.Apply(r2.Vec{X: float64(corner.X), Y: float64(corner.Y)})
		x, y := int(math.Floor(v.X)), int(math.Floor(v.Y))
		from = from.Union(image.Rect(x, y, x+2, y+2))
	}
	from = from.Intersect(image.Rectangle{Max: second.Bounds().Size()})
	src := grey(second, from)
	out := image.NewGray(part)
	for y := part.Min.Y; y < part.Max.Y; y++ {
		for x := part.Min.X; x < part.Max.X; x++ {
			v := camera.Apply(r2.Vec{X: float64(x), Y: float64(y)})
			out.Pix[out.PixOffset(x, y)] = between(src, v)
		}
	}
	return out
}

// between interpolates linearly between four pixels; beyond the border is the
// pixel at it.
func between(g *image.Gray, v r2.Vec) uint8 {
	x, y := math.Floor(v.X), math.Floor(v.Y)
	fx, fy := v.X-x, v.Y-y
	at := func(x, y int) float64 {
		x = min(max(x, g.Rect.Min.X), g.Rect.Max.X-1)
		y = min(max(y, g.Rect.Min.Y), g.Rect.Max.Y-1)
		return float64(g.Pix[g.PixOffset(x, y)])
	}
	i, j := int(x), int(y)
	upper := (1-fx)*at(i, j) + fx*at(i+1, j)
	lower := (1-fx)*at(i, j+1) + fx*at(i+1, j+1)
	return uint8((1-fy)*upper + fy*lower + 0.5)
}

// strip is the caption of a state, so wide.
func (a Animation) strip(w int, state string, v view) (image.Image, error) {
	fonts, err := newFonts(animationType)
	if err != nil {
		return nil, err
	}
	ruler := gg.NewContext(1, 1) // measures text only
	ruler.SetFontFace(fonts.plain)
	var lines []string
	for _, line := range a.words(v) {
		lines = append(lines, ruler.WordWrap(line, float64(w)-2*margin*fonts.size)...)
	}
	step := lineSpacing * fonts.size
	p := gg.NewContext(w, int(math.Ceil(float64(1+len(lines))*step+margin*fonts.size)))
	p.SetColor(paper)
	p.Clear()
	p.SetColor(ink)
	left, base := margin*fonts.size, 0.5*margin*fonts.size+fonts.size
	p.SetFontFace(fonts.bold)
	p.DrawString(state, left, base)
	p.SetFontFace(fonts.plain)
	for i, line := range lines {
		p.DrawString(line, left, base+float64(i+1)*step)
	}
	return p.Image(), nil
}

// words say what is seen.
func (a Animation) words(v view) []string {
	size := fmt.Sprintf("%.2g times the photo's size", v.times)
	long := r2.Norm(a.Motion.Way)
	if long == 0 {
		return []string{a.Play, "shown at " + size}
	}
	how := fmt.Sprintf("too small to be seen even at %s: %.2g px of it", size, long)
	switch {
	case v.whole:
		how = "shown at " + size
	case v.seen:
		how = "too small to be seen on the whole joint: a part at " + size
	}
	return []string{a.Play + ", motion true to size", how}
}
