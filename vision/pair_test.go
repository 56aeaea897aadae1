package vision

import (
	"context"
	"encoding/json"
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

const photoFolder = "../testdata/photos"

// pairTruth is what truth.json says of a rendered pair.
type pairTruth struct {
	ID         string        `json:"id"`
	Kind       string        `json:"kind"`
	Pushed     []string      `json:"files_pushed"`
	Pulled     []string      `json:"files_pulled"`
	MMPerPx    float64       `json:"mm_per_px"`
	ApparentMM float64       `json:"apparent_play_in_scale_plane_mm"`
	PullDeg    float64       `json:"pull_direction_deg"`
	SwingDeg   float64       `json:"inner_link_swing_deg"`
	LinkMM     float64       `json:"inner_link_plane_z_mm"`
	Shift      [2]float64    `json:"camera_nudge_shift_px_at_centre"`
	AtoB       [3][3]float64 `json:"H_a_to_b_px_outer_plane"`
	Joint      [2]float64    `json:"inner_joint_centre_px_a"`
	Camera     struct {
		MM float64 `json:"distance_mm"`
	} `json:"camera"`
}

func renderedPairs(t testing.TB) []pairTruth {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(photoFolder, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Images []pairTruth `json:"images"`
	}
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	var pairs []pairTruth
	for _, p := range all.Images {
		if p.Kind == "pair" {
			pairs = append(pairs, p)
		}
	}
	if len(pairs) == 0 {
		t.Fatal("truth.json names no pair")
	}
	return pairs
}

func openPair(t testing.TB, p pairTruth) (a, b raster.Gray) {
	t.Helper()
	var out [2]raster.Gray
	for i, name := range []string{p.Pushed[0], p.Pulled[0]} {
		photo, err := Open(context.Background(), filepath.Join(photoFolder, name), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		out[i] = photo.Light
	}
	return out[0], out[1]
}

// TestRenderedPairs measures pairs from a path tracer: the motion of the
// moving link at the joint, seen from the fixed one, must be right within 0.1
// px, and the camera's movement with it.
func TestRenderedPairs(t *testing.T) {
	for _, p := range renderedPairs(t) {
		a, b := openPair(t, p)
		m, _, err := FindMotion(a, b, MotionHint{})
		if err != nil {
			t.Errorf("%s: %v", p.ID, err)
			continue
		}
		sin, cos := math.Sincos(p.PullDeg * math.Pi / 180)
		// The lower link follows the camera's shift less, by its height.
		less := p.LinkMM / (p.Camera.MM - p.LinkMM)
		want := r2.Vec{
			X: p.ApparentMM/p.MMPerPx*cos + less*p.Shift[0],
			Y: p.ApparentMM/p.MMPerPx*sin + less*p.Shift[1],
		}
		got := m.Relative()
		if d := r2.Norm(r2.Sub(got.Shift, want)); d > 0.1 {
			t.Errorf("%s: moved by %.3f, want %.3f: off by %.3f px", p.ID, got.Shift, want, d)
		}
		if d := math.Abs(got.Turn - p.SwingDeg*math.Pi/180); d > 3e-4 {
			t.Errorf("%s: swung by %.5f rad, want %.5f", p.ID, got.Turn, p.SwingDeg*math.Pi/180)
		}
		middle := r2.Vec{X: float64(a.W-1) / 2, Y: float64(a.H-1) / 2}
		if d := r2.Norm(r2.Sub(m.Fixed.Motion.ShiftAt(middle), r2.Vec{X: p.Shift[0], Y: p.Shift[1]})); d > 0.02 {
			t.Errorf("%s: camera shift %.3f, want %.3f", p.ID, m.Fixed.Motion.ShiftAt(middle), p.Shift)
		}
		if d := r2.Norm(r2.Sub(m.Joint, r2.Vec{X: p.Joint[0], Y: p.Joint[1]})); d > 3*m.JointU {
			t.Errorf("%s: joint at %.1f, u %.1f, want %.1f", p.ID, m.Joint, m.JointU, p.Joint)
		}
	}
}

// plainPair is a joint with good texture, the camera moved by 7 px.
func plainPair(play float64) synth.Pair {
	p := synth.DrawPair(rand.New(rand.NewPCG(11, 1)), play)
	p.Texture, p.Camera.Glare, p.SwingRad = 0.12, nil, 0
	p.Camera.Blur, p.Shift = 1, r2.Vec{X: 5, Y: -5}
	return p
}

func mustPhotos(t testing.TB, p synth.Pair) (a, b raster.Gray) {
	t.Helper()
	a, b, err := p.Photos()
	if err != nil {
		t.Fatal(err)
	}
	return a, b
}

func TestMotionOfDrawnPairs(t *testing.T) {
	near := func(t *testing.T, p synth.Pair, m geom.Motion, err error, within float64) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Relative().Shift; r2.Norm(r2.Sub(got, p.Pull)) > within {
			t.Errorf("moved by %.3f, want %.3f", got, p.Pull)
		}
	}
	for _, play := range []float64{0, 0.3, 3.3, 30} {
		p := plainPair(play)
		a, b := mustPhotos(t, p)
		m, _, err := FindMotion(a, b, MotionHint{})
		near(t, p, m, err, 0.1)
		if want := play > 1; want && !m.ByMotion {
			t.Errorf("play %v px: links not told apart by their motion", play)
		}
	}
	t.Run("swing", func(t *testing.T) {
		p := plainPair(5)
		p.SwingRad = 0.02
		a, b := mustPhotos(t, p)
		m, _, err := FindMotion(a, b, MotionHint{})
		near(t, p, m, err, 0.2)
		if got := m.Relative().Turn; math.Abs(got-p.SwingRad) > 5e-4 {
			t.Errorf("swung by %v, want %v", got, p.SwingRad)
		}
	})
	t.Run("glare that stays with the lamp", func(t *testing.T) {
		p := plainPair(4)
		p.Camera.Glare = []synth.Glare{
			{At: r2.Vec{X: 250, Y: 250}, Radius: 40, Level: 1.5}, {At: r2.Vec{X: 600, Y: 330}, Radius: 25, Level: 0.5},
		}
		a, b := mustPhotos(t, p)
		m, _, err := FindMotion(a, b, MotionHint{})
		near(t, p, m, err, 0.15)
	})
	t.Run("by hand", func(t *testing.T) {
		p := plainPair(0)
		p.NoOutline = true
		a, b := mustPhotos(t, p)
		m, _, err := FindMotion(a, b, MotionHint{
			Moving: image.Rect(540, 150, 800, 480), Fixed: image.Rect(0, 150, 300, 500),
		})
		near(t, p, m, err, 0.3)
		if !m.ByHand {
			t.Error("not marked as told by hand")
		}
	})
}

// Where nothing moved and nothing shows that there are two links, nothing is
// claimed.
func TestMotionRefused(t *testing.T) {
	flat := plainPair(0)
	flat.NoOutline = true
	a, b := mustPhotos(t, flat)
	other := flat
	other.Seed++
	c, _ := mustPhotos(t, other)
	blank := raster.NewGray(800, 600)
	for _, tc := range []struct {
		name string
		a, b raster.Gray
		code check.Code
	}{
		{"no motion and no outline", a, b, check.NotFound},
		{"two other chains", a, c, check.NotFound},
		{"nothing in the picture", blank, blank, check.NotFound},
		{"sizes differ", a, raster.NewGray(799, 600), check.WrongScale},
	} {
		_, _, err := FindMotion(tc.a, tc.b, MotionHint{})
		var refused *check.Refusal
		if !errors.As(err, &refused) || refused.Code != tc.code {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.code)
		}
	}
}

// A rectangle for the moving link that lies on the fixed one is told by what
// moves elsewhere. Where nothing moves there is nothing to tell it by.
func TestMovingByHandOnTheFixedLink(t *testing.T) {
	onFixed, onMoving := image.Rect(40, 120, 240, 420), image.Rect(540, 150, 800, 480)
	for _, tc := range []struct {
		play    float64
		rect    image.Rectangle
		refused bool
	}{
		{0.4, onFixed, true},
		{6, onFixed, true},
		{25, onFixed, true},
		{0, onFixed, false},
		{0, onMoving, false},
		{0.4, onMoving, false},
		{6, onMoving, false},
	} {
		p := plainPair(tc.play)
		a, b := mustPhotos(t, p)
		m, checks, err := FindMotion(a, b, MotionHint{Moving: tc.rect})
		var refused *check.Refusal
		switch {
		case tc.refused:
			if !errors.As(err, &refused) || refused.Code != check.NotFound || !strings.Contains(refused.Remedy, "lies on the fixed link") {
				t.Errorf("play %v px, rectangle on the fixed link: %v, moved by %.3f", tc.play, err, m.Relative().Shift)
			}
			if len(checks) == 0 || checks[len(checks)-1].OK {
				t.Errorf("play %v px: last of the checks %v is not the one that fails", tc.play, checks)
			}
		case err != nil:
			t.Errorf("play %v px, rectangle %v: %v", tc.play, tc.rect, err)
		case r2.Norm(r2.Sub(m.Relative().Shift, p.Pull)) > 0.3:
			t.Errorf("play %v px, rectangle %v: moved by %.3f, want %.3f", tc.play, tc.rect, m.Relative().Shift, p.Pull)
		}
	}
}
