package overlay

import (
	"bytes"
	"image"
	"image/color"
	"image/gif"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// grain is the light of a textured face at a point, 40 to 210; no wave in it
// is shorter than 12 px.
func grain(v r2.Vec) float64 {
	return 125 + 35*math.Sin(v.X*2*math.Pi/12+0.3*math.Sin(v.Y/9)) + 30*math.Sin(v.Y*2*math.Pi/15) + 20*math.Sin((v.X-v.Y)/7)
}

const seam = 500 // right of it is the moving link

// rocking is a joint whose right link goes by way while the camera moves.
func rocking(way r2.Vec, camera geom.Similarity) Animation {
	const w, h = 900, 600
	photo := func(camera geom.Similarity, way r2.Vec) image.Image {
		img := image.NewGray(image.Rect(0, 0, w, h))
		turn := complex(1+camera.Zoom, camera.Turn)
		for y := range h {
			for x := range w {
				d := r2.Sub(r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, camera.Center), camera.Shift)
				z := complex(d.X, d.Y) / turn
				p := r2.Add(camera.Center, r2.Vec{X: real(z), Y: imag(z)})
				if p.X >= seam {
					p = r2.Sub(p, way)
				}
				img.SetGray(x, y, color.Gray{Y: uint8(grain(p) + 0.5)})
			}
		}
		return img
	}
	m := Motion{Joint: r2.Vec{X: 420, Y: 300}, JointR: 70, Way: way}
	for i := range 10 {
		m.Moving = append(m.Moving, geom.Tile{X: seam + 30*(i%5), Y: 250 + 40*(i/5), Size: 32, Weight: 1})
	}
	return Animation{
		Photos: [2]image.Image{photo(geom.Similarity{}, r2.Vec{}), photo(camera, way)},
		State:  [2]string{"together", "apart"},
		Camera: camera,
		Motion: m,
		Play:   "play 0.150 mm",
	}
}

var handHeld = geom.Similarity{Center: r2.Vec{X: 449.5, Y: 299.5}, Shift: r2.Vec{X: 6.3, Y: -4.6}, Zoom: 0.004, Turn: 0.006}

// greysApart compares the second picture with the first moved by shift, inside
// a part of it, in levels of the palette.
func greysApart(g *gif.GIF, part image.Rectangle, shift r2.Vec) (mean, most float64) {
	at := func(p *image.Paletted, x, y int) float64 { return float64(p.Pix[p.PixOffset(x, y)]) }
	first, second := g.Image[0], g.Image[1]
	for y := part.Min.Y; y < part.Max.Y; y++ {
		for x := part.Min.X; x < part.Max.X; x++ {
			fx, fy := float64(x)-shift.X, float64(y)-shift.Y
			i, j := int(math.Floor(fx)), int(math.Floor(fy))
			fx, fy = fx-float64(i), fy-float64(j)
			want := (1-fy)*((1-fx)*at(first, i, j)+fx*at(first, i+1, j)) + fy*((1-fx)*at(first, i, j+1)+fx*at(first, i+1, j+1))
			d := math.Abs(at(second, x, y) - want)
			mean, most = mean+d, max(most, d)
		}
	}
	return mean / float64(part.Dx()*part.Dy()), most
}

// TestOnlyTheMovingLinkMoves: with the camera taken out the fixed link stays but
// for the next grey. Interpolation takes an eighth of its curvature off each
// wave, 2 of 255 in all, and rounding to whole values 1.5: less than the 4 of a
// level. The moving link is where its way has put it. Left in, the camera's
// movement would be seen.
func TestOnlyTheMovingLinkMoves(t *testing.T) {
	a := rocking(r2.Vec{X: 9, Y: 4}, handHeld)
	g, err := Animate(a)
	if err != nil {
		t.Fatal(err)
	}
	shared, err := a.shared()
	if err != nil {
		t.Fatal(err)
	}
	v := viewOf(a.Motion, shared)
	w, h := v.drawn()
	if !v.whole || !v.seen || v.times < 0.5 {
		t.Fatalf("shown %+v", v)
	}
	for _, corner := range []image.Point{v.part.Min, {X: v.part.Max.X - 1, Y: v.part.Min.Y}, {X: v.part.Min.X, Y: v.part.Max.Y - 1}, v.part.Max.Sub(image.Pt(1, 1))} {
		to := a.Camera.Apply(r2.Vec{X: float64(corner.X), Y: float64(corner.Y)})
		if to.X < 0 || to.Y < 0 || to.X > 899 || to.Y > 599 {
			t.Errorf("%v is shown, which the second photo does not hold", corner)
		}
	}
	edge := int(math.Round((seam - float64(v.part.Min.X)) * v.times))
	reach := int(math.Ceil(10*v.times)) + 2
	fixed, moving := image.Rect(2, 2, edge-reach, h-2), image.Rect(edge+reach, reach, w-reach, h-reach)
	mean, most := greysApart(g, fixed, r2.Vec{})
	t.Logf("fixed link: %.3f grey levels apart in the mean", mean)
	if mean > 0.5 || most > 1 {
		t.Errorf("fixed link: %.2f grey levels apart, %.0f at most", mean, most)
	}
	way := r2.Scale(v.times, a.Motion.Way)
	there, _ := greysApart(g, moving, way)
	for _, off := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
		if beside, _ := greysApart(g, moving, r2.Add(way, off)); beside < 2*there {
			t.Errorf("moving link: %.2f grey levels apart where it should be, %.2f beside", there, beside)
		}
	}
	if stayed, _ := greysApart(g, moving, r2.Vec{}); stayed < 5*there {
		t.Errorf("moving link: %.2f grey levels apart where it should be, %.2f where it was", there, stayed)
	}

	a.Camera = geom.Similarity{}
	if g, err = Animate(a); err != nil {
		t.Fatal(err)
	}
	if mean, _ := greysApart(g, image.Rect(2, 2, edge-reach, h-2), r2.Vec{}); mean < 3 {
		t.Errorf("the camera's movement left in shows %.2f grey levels", mean)
	}
}

// TestMotionLargeEnough: whatever the motion it is three pixels of the picture
// or said to be overlooked, and the picture keeps its size.
func TestMotionLargeEnough(t *testing.T) {
	shared := image.Rect(7, 0, 900, 596)
	for _, c := range []struct {
		way         float64
		whole, seen bool
		says        string
	}{
		{30, true, true, "motion true to size"},
		{5, true, true, "motion true to size"},
		{2, false, true, "a part at 1.5 times"},
		{1, false, true, "a part at 3 times"},
		{0.2, false, false, "too small to be seen even at 4 times the photo's size: 0.2 px of it"},
		{0, true, true, "shown at"},
	} {
		a := rocking(r2.Vec{X: 0.6 * c.way, Y: -0.8 * c.way}, geom.Similarity{})
		v := viewOf(a.Motion, shared)
		w, h := v.drawn()
		if v.whole != c.whole || v.seen != c.seen {
			t.Errorf("motion of %g px: %+v", c.way, v)
		}
		if w > animationSide || h > animationSide || max(w, h) < animationSide-4 || !v.part.In(shared) || v.times > mostEnlarged {
			t.Errorf("motion of %g px: %d x %d px show %v of %v, %.2f times", c.way, w, h, v.part, shared, v.times)
		}
		nearest := a.Motion.nearest()
		if !image.Pt(int(nearest.X), int(nearest.Y)).In(v.part) {
			t.Errorf("motion of %g px: the moving link beside the joint is not in %v", c.way, v.part)
		}
		if words := strings.Join(a.words(v), "; "); !strings.Contains(words, c.says) || !strings.Contains(words, a.Play) {
			t.Errorf("motion of %g px: %q", c.way, words)
		}
	}
}

// TestGIF writes the worst picture there can be, noise: it comes back the same,
// in 400 kB, changing slower than three times a second and without end.
func TestGIF(t *testing.T) {
	a := rocking(r2.Vec{X: 5}, geom.Similarity{})
	r := rand.New(rand.NewPCG(1, 2))
	for i := range a.Photos {
		img := image.NewGray(image.Rect(0, 0, 900, 900))
		for k := range img.Pix {
			img.Pix[k] = uint8(r.UintN(256))
		}
		a.Photos[i] = img
	}
	a.Motion.Moving = append(a.Motion.Moving, geom.Tile{X: 500, Y: 60, Size: 32, Weight: 1}, geom.Tile{X: 500, Y: 800, Size: 32, Weight: 1})
	g, err := Animate(a)
	if err != nil {
		t.Fatal(err)
	}
	data, err := GIF(g)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d x %d px, %d bytes", g.Config.Width, g.Config.Height, len(data))
	if len(data) > 400_000 {
		t.Errorf("%d bytes", len(data))
	}
	back, err := gif.DecodeAll(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if len(back.Image) != 2 || back.LoopCount != 0 {
		t.Fatalf("%d pictures, loop %d", len(back.Image), back.LoopCount)
	}
	for i, p := range back.Image {
		if !bytes.Equal(p.Pix, g.Image[i].Pix) || p.Bounds() != g.Image[i].Bounds() {
			t.Errorf("picture %d changed on its way", i)
		}
		if back.Delay[i] < 34 {
			t.Errorf("picture %d stays for %d hundredths of a second", i, back.Delay[i])
		}
	}
}

func TestNothingToAnimate(t *testing.T) {
	a := rocking(r2.Vec{X: 5}, geom.Similarity{Shift: r2.Vec{X: 2000}})
	if _, err := Animate(a); err == nil {
		t.Error("the photos show nothing in common")
	}
	a.Camera = geom.Similarity{Shift: r2.Vec{X: math.NaN()}}
	if _, err := Animate(a); err == nil {
		t.Error("it is not known how the camera moved")
	}
	a = rocking(r2.Vec{X: 5}, geom.Similarity{})
	a.Photos[1] = metal(90, 60)
	if _, err := Animate(a); err == nil {
		t.Error("the photos differ in size")
	}
	// Small and narrow photos are drawn.
	a.Photos[0] = metal(90, 60)
	a.Motion.Moving = nil
	if _, err := Animate(a); err != nil {
		t.Error(err)
	}
}
