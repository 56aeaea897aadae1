package overlay

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// motionDrawing is a link that was pulled to the right beside one that stayed,
// and the clip that it was seen in.
func motionDrawing() Drawing {
	d := jointDrawing()
	d.Joint = nil
	m := &Motion{Joint: r2.Vec{X: 250, Y: 220}, JointR: 60, Way: r2.Vec{X: 4, Y: 1}}
	for i := range 5 {
		for j := range 4 {
			m.Fixed = append(m.Fixed, geom.Tile{X: 40 + 32*i, Y: 150 + 32*j, Size: 32, Weight: 1})
			m.Moving = append(m.Moving, geom.Tile{X: 380 + 32*i, Y: 150 + 32*j, Size: 32, Weight: float64((i + j) % 4)})
		}
	}
	for i := range 40 {
		t := TrackPoint{Frame: i, AlongMM: 0.1 * math.Round(math.Abs(math.Sin(float64(i)/6))), Used: i%3 == 0, Left: i == 9}
		m.Track = append(m.Track, t)
	}
	d.Motion = m
	return d
}

// TestHull: the outline of tiles in a ring is that of its square, whatever
// their order, and tiles that took no part do not count.
func TestHull(t *testing.T) {
	var tiles []geom.Tile
	for _, at := range [][2]int{{64, 0}, {0, 0}, {32, 64}, {64, 64}, {0, 32}, {32, 0}, {64, 32}, {0, 64}} {
		tiles = append(tiles, geom.Tile{X: at[0], Y: at[1], Size: 32, Weight: 1})
	}
	tiles = append(tiles, geom.Tile{X: 900, Y: 900, Size: 32})
	want := []r2.Vec{{X: -0.5, Y: -0.5}, {X: 95.5, Y: -0.5}, {X: 95.5, Y: 95.5}, {X: -0.5, Y: 95.5}}
	got := hull(tiles)
	if len(got) != len(want) {
		t.Fatalf("outline %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("corner %d at %v, want %v", i, got[i], want[i])
		}
	}
	if hull(nil) != nil {
		t.Error("nothing has an outline")
	}
}

// TestMotionToShow: the arrow is between a twentieth and an eighth of the
// photo's long side, and there is none without a motion.
func TestMotionToShow(t *testing.T) {
	p := &pen{w: 1600, h: 1200, zoom: 1}
	for _, way := range []float64{0.05, 0.3, 1, 4.4, 33} {
		drawn := p.wayFactor(Motion{Way: r2.Vec{X: way}}) * way
		if drawn < 1600/20 || drawn > 1600/8 {
			t.Errorf("a motion of %g px is drawn %g px long", way, drawn)
		}
	}
	if f := p.wayFactor(Motion{}); f != 0 {
		t.Errorf("no motion is drawn %g times", f)
	}
}
