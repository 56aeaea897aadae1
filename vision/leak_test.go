package vision

import (
	"context"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mostGrowth is what an allocator may keep, MB.
const mostGrowth = 16

// manyLoads is how many photos the test of growth opens: 5000 in the long
// sweep, in which package vision_test has its flag.
func manyLoads() int {
	if f := flag.Lookup("sweep"); f != nil && f.Value.String() != "0" {
		return 5000
	}
	return 600
}

// damagedBy returns the photo with some bits changed, every other time.
func damagedBy(i int, data []byte) []byte {
	if i%2 == 0 {
		return data
	}
	r := rand.New(rand.NewPCG(uint64(i), 11))
	bad := slices.Clone(data)
	for range 4 {
		bad[r.IntN(len(bad))] ^= 1 << r.IntN(8)
	}
	return bad
}

// A thousand photos, sound and damaged, and some clips leave no matrix open.
// Only a build with -tags matprofile can tell.
func TestNoMatLeftOpen(t *testing.T) {
	files := whole(t)
	opened, refused := 0, 0
	for i := range 1000 / len(files) {
		for _, data := range files {
			if _, err := Decode(damagedBy(i, data), "", fuzzLimits); err == nil {
				opened++
			} else {
				refused++
			}
		}
	}
	clip := writeClip(t, smallPair(3), rocking(2, 4), 0)
	for _, path := range []string{clip, cutClip(t, clip), damagedClip(t, clip)} {
		if c, err := OpenClip(context.Background(), path, ClipLimits{}); err == nil {
			c.Follow(context.Background(), MotionHint{}, nil)
		}
		OpenClip(context.Background(), path, ClipLimits{MaxFrames: 9})
	}
	if opened < 300 || refused < 300 {
		t.Errorf("%d photos opened, %d refused", opened, refused)
	}
	if open := openMats(); open != "" {
		t.Errorf("matrices left open: %s", open)
	}
}

// Memory does not grow with the photos opened, whether they are measured,
// damaged or cut off. One matrix left open for each would take 0.3 MB a photo.
func TestNoGrowth(t *testing.T) {
	const w, h = 640, 480
	data := jpegFile(t, textured(w, h))
	n := manyLoads()
	load := func(i int) {
		Decode(damagedBy(i, data), "", Limits{}) //nolint:errcheck // refused or not
		if i%100 == 0 {
			Decode(data[:len(data)/2], "", Limits{}) //nolint:errcheck // refused
		}
	}
	for i := range 200 {
		load(i) // what is kept for the next time
	}
	before := resident(t)
	for i := range n {
		load(i)
	}
	grown := resident(t) - before
	t.Logf("%d photos: grown by %.1f MB, at most %d MB", n, grown, mostGrowth)
	if grown > mostGrowth {
		t.Errorf("memory grew by %.1f MB over %d photos, at most %d MB", grown, n, mostGrowth)
	}
}

// Clips, whether read to their end, given up or refused, leave no file open
// and no memory taken. One frame left for each would take 0.5 MB a clip.
func TestNoGrowthOfClips(t *testing.T) {
	clip := writeClip(t, smallPair(3), rocking(1, 3), 0)
	cut, damaged := cutClip(t, clip), damagedClip(t, clip)
	load := func() {
		for _, path := range []string{clip, cut, damaged} {
			OpenClip(context.Background(), path, ClipLimits{})             //nolint:errcheck // refused or not
			OpenClip(context.Background(), path, ClipLimits{MaxFrames: 1}) //nolint:errcheck // refused
		}
	}
	for range 5 {
		load()
	}
	files, before := openFiles(t), resident(t)
	n := manyLoads() / 30
	for range n {
		load()
	}
	grown := resident(t) - before
	t.Logf("%d clips: grown by %.1f MB, at most %d MB", 6*n, grown, mostGrowth)
	if grown > mostGrowth {
		t.Errorf("memory grew by %.1f MB over %d clips, at most %d MB", grown, 6*n, mostGrowth)
	}
	if left := openFiles(t); left > files {
		t.Errorf("%d files open, %d before", left, files)
	}
}

func cutClip(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return clipOf(t, data[:len(data)/3])
}

// damagedClip is a clip with bits changed behind its head.
func damagedClip(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(5, 5))
	for range len(data) / 100 {
		data[4096+r.IntN(len(data)-4096)] ^= 1 << r.IntN(8)
	}
	return clipOf(t, data)
}

func clipOf(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "clip.avi")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// resident is the memory that the process has, C code's included, in MB, once
// Go has given back what it does not need.
func resident(t *testing.T) float64 {
	t.Helper()
	debug.FreeOSMemory()
	data, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Skip("the system does not tell how much memory is taken:", err)
	}
	pages, err := strconv.Atoi(strings.Fields(string(data))[1])
	if err != nil {
		t.Fatal(err)
	}
	return float64(pages) * float64(os.Getpagesize()) / 1e6
}

func openFiles(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("the system does not tell which files are open:", err)
	}
	return len(entries)
}
