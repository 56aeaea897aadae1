package vision

import (
	"context"
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
	"pinlash/vision/raster"
	"pinlash/vision/synth"
)

// writeClip films a joint, one frame for each share of the way in pulled, as
// an AVI file of MJPEG frames. The camera shakes by up to shake of its Shift.
func writeClip(t testing.TB, p synth.Pair, pulled []float64, shake float64) string {
	t.Helper()
	return filmed(t, p, pulled, shake, "avi", "MJPG")
}

// filmed is writeClip for a kind of file and coding.
func filmed(t testing.TB, p synth.Pair, pulled []float64, shake float64, kind, coding string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "clip."+kind)
	w, err := gocv.VideoWriterFile(path, coding, 30, p.W, p.H, true)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	r := rand.New(rand.NewPCG(3, 3))
	at := 0.0
	for i, share := range pulled {
		// A hand drifts more than it jumps.
		at = 0.9*at + 0.3*r.NormFloat64()
		g, err := p.Photo(share, shake*at, uint64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		writeFrame(t, w, g)
	}
	return path
}

func writeFrame(t testing.TB, w *gocv.VideoWriter, g raster.Gray) {
	t.Helper()
	pix := make([]byte, 3*g.W*g.H)
	for i, v := range g.Pix {
		b := byte(255*raster.SRGB.Encode(float64(v)) + 0.5)
		pix[3*i], pix[3*i+1], pix[3*i+2] = b, b, b
	}
	mat, err := gocv.NewMatFromBytes(g.H, g.W, gocv.MatTypeCV8UC3, pix)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	if err := w.Write(mat); err != nil {
		t.Fatal(err)
	}
}

// rocking is the way of a link that rests at both ends and needs some frames
// to go over.
func rocking(ways, rest int) []float64 {
	var out []float64
	for w := range ways + 1 {
		from := float64(w % 2)
		for range rest {
			out = append(out, from)
		}
		for k := 1; k <= 3 && w < ways; k++ {
			out = append(out, from+(1-2*from)*float64(k)/4)
		}
	}
	return out
}

// smallPair is a joint in 480 x 360 px.
func smallPair(play float64) synth.Pair {
	p := plainPair(play)
	p.W, p.H = 480, 360
	p.Joint = r2.Vec{X: 190, Y: 140}
	p.PinR, p.PlateR, p.Pitch, p.Rule = 45, 85, 240, 16
	p.AngleRad, p.Pull = 0, r2.Vec{X: play}
	p.Camera.JPEGQuality = 0
	return p
}

func pixelScale(w, h int) calib.Scale {
	return calib.Scale{MMPerPx: uncert.Combine(1, "mm/px", nil), W: w, H: h}
}

// level says that all lies in one plane, so far away that nothing is left of
// the heights.
var level = measure.PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}}

func TestClip(t *testing.T) {
	for _, tc := range []struct {
		name  string
		play  float64
		shake float64
		edit  func([]float64) []float64
		// kind of file and coding
		kind, coding string
	}{
		{"large play, shaking hand", 9, 0.3, nil, "avi", "MJPG"},
		{"small play", 1.5, 0.1, nil, "avi", "MJPG"},
		{"dropped frames", 4, 0.1, func(s []float64) []float64 { return append(s[:20:20], s[24:]...) }, "avi", "MJPG"},
		{"MP4 of a phone", 4, 0.1, nil, "mp4", "mp4v"},
		{"Matroska", 4, 0.1, nil, "mkv", "MJPG"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			p := smallPair(tc.play)
			pulled := rocking(4, 7)
			if tc.edit != nil {
				pulled = tc.edit(pulled)
			}
			path := filmed(t, p, pulled, tc.shake, tc.kind, tc.coding)
			c, err := OpenClip(context.Background(), path, ClipLimits{})
			if err != nil {
				t.Fatal(err)
			}
			if c.Frames != len(pulled) || c.W != p.W || c.H != p.H {
				t.Errorf("%d frames of %d x %d", c.Frames, c.W, c.H)
			}
			done := 0
			s, _, err := c.Follow(context.Background(), MotionHint{}, func(n, of int) { done = n })
			if err != nil {
				t.Fatal(err)
			}
			if done != len(pulled) || len(s.Frames) != len(pulled) {
				t.Errorf("%d of %d frames followed, progress said %d", len(s.Frames), len(pulled), done)
			}
			r, err := measure.PlaySeries(s, pixelScale(p.W, p.H), level)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("play %.3f [%.3f %.3f], %d reversals, %v frames, %d of %d used", r.Play.Value, r.Play.Lower, r.Play.Upper, r.Reversals, r.Photos, len(s.Used()), len(s.Frames))
			if math.Abs(r.Play.Value-tc.play) > 0.1 || !r.Distinct || r.Reversals != 4 {
				t.Errorf("play %.3f px, distinct %v, %d reversals; want %v, 4", r.Play.Value, r.Distinct, r.Reversals, tc.play)
			}
			if r.Play.Lower > tc.play || r.Play.Upper < tc.play {
				t.Errorf("interval %.3f to %.3f does not hold %v", r.Play.Lower, r.Play.Upper, tc.play)
			}
		})
	}
	t.Run("no play", func(t *testing.T) {
		p := smallPair(0)
		c, err := OpenClip(context.Background(), writeClip(t, p, rocking(3, 5), 0.1), ClipLimits{})
		if err != nil {
			t.Fatal(err)
		}
		s, _, err := c.Follow(context.Background(), MotionHint{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		r, err := measure.PlaySeries(s, pixelScale(p.W, p.H), level)
		if err != nil || r.Distinct {
			t.Errorf("play %v, distinct %v, %v", r.Play, r.Distinct, err)
		}
	})
}

func TestClipRefused(t *testing.T) {
	good := writeClip(t, smallPair(3), rocking(2, 4), 0)
	data, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	file := func(b []byte) string {
		path := filepath.Join(t.TempDir(), "clip.avi")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	noise := append([]byte{}, data...)
	r := rand.New(rand.NewPCG(1, 1))
	for i := 64; i < len(noise); i++ {
		noise[i] = byte(r.Uint32())
	}
	for _, tc := range []struct {
		name string
		path string
		lim  ClipLimits
		code check.Code
	}{
		{"empty", file(nil), ClipLimits{}, check.NotAnImage},
		{"a few bytes", file(data[:40]), ClipLimits{}, check.Unreadable},
		{"head only", file(data[:600]), ClipLimits{}, check.Unreadable},
		{"cut after some frames", file(data[:len(data)/6]), ClipLimits{}, check.Unreadable},
		{"noise behind the head", file(noise), ClipLimits{}, check.Unreadable},
		{"text", file([]byte("this is no clip but a line of text")), ClipLimits{}, check.NotAnImage},
		{"too many frames", good, ClipLimits{MaxFrames: 9}, check.TooLarge},
		{"too many bytes", good, ClipLimits{MaxBytes: 1000}, check.TooLarge},
		{"too many pixels", good, ClipLimits{MaxPixels: 1000}, check.TooLarge},
	} {
		_, err := OpenClip(context.Background(), tc.path, tc.lim)
		var refused *check.Refusal
		if !errors.As(err, &refused) || refused.Code != tc.code {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.code)
		}
	}
	if _, err := OpenClip(context.Background(), filepath.Join(t.TempDir(), "none.avi"), ClipLimits{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := OpenClip(cancelled, good, ClipLimits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Repeated photos of both states are averaged.
func TestSeries(t *testing.T) {
	p := plainPair(3.3)
	var shots [2][]raster.Gray
	for i := range 3 {
		for k := range 2 {
			g, err := p.Photo(float64(k), float64(i+k)/4, uint64(2*i+k+1))
			if err != nil {
				t.Fatal(err)
			}
			shots[k] = append(shots[k], g)
		}
	}
	s, _, err := FindSeries(shots[0], shots[1], MotionHint{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := measure.PlaySeries(s, pixelScale(p.W, p.H), level)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Play.Value-3.3) > 0.1 || r.Photos != [2]int{3, 3} || r.Play.Lower > 3.3 || r.Play.Upper < 3.3 {
		t.Errorf("play %.3f [%.3f %.3f] of %v photos", r.Play.Value, r.Play.Lower, r.Play.Upper, r.Photos)
	}
	if _, _, err := FindSeries(shots[0], nil, MotionHint{}); err == nil {
		t.Error("one state only was taken")
	}
	if _, _, err := FindSeries(shots[0], []raster.Gray{raster.NewGray(100, 100)}, MotionHint{Moving: image.Rect(1, 1, 50, 50)}); err == nil {
		t.Error("photos of two sizes were taken")
	}
}

// A repeated photo that shows another joint of the same shape is left out: its
// outlines fit, its texture does not. One of the same joint stays.
func TestSeriesLeavesOutAnotherJoint(t *testing.T) {
	for seed := range uint64(4) {
		p := plainPair(3.3)
		p.Seed += 10 * seed
		p.Texture = []float64{0.05, 0.08, 0.12, 0.2}[seed]
		other := p
		other.Seed++
		shot := func(p synth.Pair, pulled, moved float64, take uint64) raster.Gray {
			g, err := p.Photo(pulled, moved, take)
			if err != nil {
				t.Fatal(err)
			}
			return g
		}
		together := []raster.Gray{shot(p, 0, 0, 1), shot(p, 0, 0.2, 2), shot(other, 0, 0.2, 3)}
		apart := []raster.Gray{shot(p, 1, 0.3, 4), shot(other, 1, 0.3, 5), shot(p, 1, 0.1, 6)}
		s, _, err := FindSeries(together, apart, MotionHint{})
		if err != nil {
			t.Fatal(err)
		}
		for i, wrong := range []bool{false, false, true, false, true, false} {
			if (s.Frames[i].Left != "") != wrong {
				t.Errorf("texture %g, photo %d: left out %q, shows another joint: %v", p.Texture, i, s.Frames[i].Left, wrong)
			}
		}
	}
}
