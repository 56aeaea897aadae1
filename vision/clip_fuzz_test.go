package vision

import (
	"bytes"
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gocv.io/x/gocv"

	"pinlash/measure/check"
)

// FuzzClip opens damaged clips in a child process, which decodes all of their
// frames.
func FuzzClip(f *testing.F) {
	for _, data := range smallClips(f) {
		f.Add(data)
	}
	child := startChild(f, "clip")
	f.Cleanup(func() { child.stop() })
	f.Fuzz(func(t *testing.T, data []byte) {
		answer, err := child.decode(data)
		if err != nil {
			child.stop()
			child = startChild(t, "clip")
			t.Fatal("the child process died, or was ended for its slowness:", err)
		}
		if answer == 2 {
			t.Fatal("unsound answer, or too much time or memory")
		}
	})
}

// smallClips are clips of a few small frames in each kind of file.
func smallClips(t testing.TB) [][]byte {
	p := smallPair(3)
	p.W, p.H = 200, 180
	p.Joint.X, p.Joint.Y = 90, 80
	p.PinR, p.PlateR, p.Pitch, p.Rule = 20, 40, 100, 0
	p.Camera.Noise.Read, p.Camera.Noise.FullWell = 0, 0
	var out [][]byte
	for _, kind := range [][2]string{{"avi", "MJPG"}, {"mp4", "mp4v"}, {"mkv", "MJPG"}} {
		data, err := os.ReadFile(filmed(t, p, rocking(1, 3), 0, kind[0], kind[1]))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, data)
	}
	return out
}

// OpenCV has a reader of AVI files of its own, which an exception ends where a
// frame says that it is huge. It must not be handed what FFmpeg gave up.
func TestHugeFrameInClip(t *testing.T) {
	data := smallClips(t)[0]
	huge := slices.Clone(data)
	for at := 0; ; {
		i := bytes.Index(huge[at:], []byte{0xff, markerSOF0, 0, 17, 8})
		if i < 0 {
			if at == 0 {
				t.Fatal("no frame in the clip")
			}
			break
		}
		at += i + 5
		binary.BigEndian.PutUint32(huge[at:], 65500<<16|65500)
	}
	// FFmpeg knows no such coding; the other reader does not look here.
	unknown := bytes.ReplaceAll(huge, []byte("MJPG"), []byte("XYZW"))
	first := bytes.Index(huge, []byte("MJPG"))
	copy(unknown[first:], "MJPG")
	for name, clip := range map[string][]byte{"by FFmpeg": huge, "not by FFmpeg": unknown} {
		child := startChild(t, "clip")
		answer, err := child.decode(clip)
		if err != nil || answer != 0 {
			t.Errorf("%s: answer %d, %v; want a refusal", name, answer, err)
		}
		child.stop()
	}
}

// A clip that is sharp in its first frame only is refused for that, and not
// for a second frame that was never kept.
func TestClipSharpOnce(t *testing.T) {
	p := smallPair(3)
	path := filepath.Join(t.TempDir(), "clip.avi")
	w, err := gocv.VideoWriterFile(path, "MJPG", 30, p.W, p.H, true)
	if err != nil {
		t.Fatal(err)
	}
	g, err := p.Photo(0, 0, 1)
	if err != nil {
		t.Fatal(err)
	}
	for range 10 {
		writeFrame(t, w, g)
		for i := range g.Pix {
			g.Pix[i] = 0.2
		}
	}
	w.Close()
	c, err := OpenClip(context.Background(), path, ClipLimits{})
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Far.Pix) != p.W*p.H || c.FarIndex != 1 {
		t.Errorf("far frame %d of %d pixels", c.FarIndex, len(c.Far.Pix))
	}
	if _, _, err := c.Follow(context.Background(), MotionHint{}, nil); codeOf(err) != check.NotFound {
		t.Errorf("followed: %v", err)
	}
}

// openSoundly opens a clip and says what is wrong, "" if nothing.
func openSoundly(path string) (problem string, opened bool) {
	c, err := OpenClip(context.Background(), path, ClipLimits{MaxFrames: 40, MaxPixels: 1 << 20})
	if err != nil {
		if codeOf(err) == "" {
			return "error that is no refusal: " + err.Error(), false
		}
		return "", false
	}
	if c.W < 1 || c.H < 1 || len(c.First.Pix) != c.W*c.H || len(c.Far.Pix) != c.W*c.H || c.FarIndex < 1 || c.FarIndex >= c.Frames || !(c.Rate >= 0) {
		return "sizes or numbers disagree", true
	}
	return "", true
}
