package vision

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pinlash/measure/check"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// movedPair returns photos of a joint, the camera moved by so many pixels in a
// direction while each was exposed, and out of focus in the second.
func movedPair(t *testing.T, p synth.Pair, px, toward [2]float64, defocus float64) (a, b raster.Gray) {
	t.Helper()
	var out [2]raster.Gray
	for i, pulled := range []float64{0, 1} {
		q := p
		if i == 1 {
			q.Camera.Blur = math.Hypot(q.Camera.Blur, defocus)
		}
		var shot synth.Snapshot
		if px[i] > 0 {
			shot.Path = synth.Stroke(px[i], toward[i])
		}
		path := filepath.Join(t.TempDir(), "pair.jpg")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := synth.Store(f, shot.Take(q.Light(pulled, pulled), q.Camera, q.Seed*2+uint64(i)), q.Camera.JPEGQuality); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		photo, err := Open(t.Context(), path, Limits{})
		if err != nil {
			t.Fatal(err)
		}
		out[i] = photo.Light
	}
	return out[0], out[1]
}

// A joint or a camera that moved while one photo was exposed is refused; one
// that held still, or moved alike in both, or is out of focus in one, is not.
func TestMovedWhileExposed(t *testing.T) {
	for _, c := range []struct {
		name    string
		px      [2]float64
		toward  [2]float64
		defocus float64
		refused bool
	}{
		{"still", [2]float64{0, 0}, [2]float64{}, 0, false},
		{"second out of focus", [2]float64{0, 0}, [2]float64{}, 1, false},
		{"a little in the first", [2]float64{2, 0}, [2]float64{1, 0}, 0, false},
		{"alike in both", [2]float64{8, 8}, [2]float64{1, 1}, 0, false},
		{"in the first", [2]float64{10, 0}, [2]float64{1, 0}, 0, true},
		{"in the second", [2]float64{0, 10}, [2]float64{0, 2.5}, 0, true},
		{"in both, across each other", [2]float64{8, 8}, [2]float64{0.3, 0.3 + math.Pi/2}, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, b := movedPair(t, plainPair(5), c.px, c.toward, c.defocus)
			_, checks, err := FindMotion(a, b, MotionHint{})
			t.Log(err, checks)
			var refusal *check.Refusal
			if got := errors.As(err, &refusal); got != c.refused {
				t.Fatalf("refused %v, want %v", got, c.refused)
			}
			if !c.refused {
				return
			}
			if last := checks[len(checks)-1]; refusal.Code != check.Blurred || last.Name != "blur_one_way" || last.OK {
				t.Errorf("refused as %s after %v", refusal.Code, last)
			}
		})
	}
}

// Detail that is missing alike in all directions is nothing, and detail that is
// gone in one direction is all, whichever way round the two are held.
func TestSlopesOneWay(t *testing.T) {
	s := slopes{xx: 4, xy: 1, yy: 2}
	less := slopes{xx: 1, xy: 0.25, yy: 0.5}
	gone := slopes{xx: 4, xy: 0, yy: 0}
	half := slopes{xx: 2, yy: 1}
	for _, c := range []struct {
		name string
		s, t slopes
		want float64
	}{
		{"alike", s, s, 0},
		{"less of all", s, less, 0},
		{"one direction gone", slopes{xx: 4, yy: 2}, gone, 1},
		{"half of one direction", slopes{xx: 2, yy: 2}, half, 0.5},
		{"the other way round", half, slopes{xx: 2, yy: 2}, 0.5},
		{"nothing to hold it against", slopes{}, s, 0},
		{"all gone", s, slopes{}, 0},
	} {
		if got := c.s.oneWay(c.t); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
