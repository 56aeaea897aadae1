package batch

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

// standing is what must not change when nothing is rewritten.
func standing(t *testing.T, b *bench) (all []fs.FileInfo) {
	t.Helper()
	for _, name := range []string{Results, Table, "overlays/joint-1.jpg"} {
		info, err := os.Stat(filepath.Join(b.folder, name))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, info)
	}
	return all
}

func TestRunThenNothingNew(t *testing.T) {
	b := newBench(t, 20)
	s := b.mustRun(t, Options{Workers: 2})
	want := Summary{Works: 20, Measured: 20, Refused: 3, Finished: true, Changed: true}
	want.Statuses = make([]int, 20)
	want.Statuses[3], want.Statuses[10], want.Statuses[17] = 3, 3, 3
	want.Files = []string{filepath.Join(b.folder, Results), filepath.Join(b.folder, Table)}
	if !reflect.DeepEqual(s, want) {
		t.Errorf("got  %+v\nwant %+v", s, want)
	}
	lines := strings.Split(strings.TrimSuffix(b.read(t, Results), "\n"), "\n")
	if len(lines) != 21 {
		t.Fatalf("%d lines, want 20 photos and a chain", len(lines))
	}
	for i, w := range b.works {
		if !strings.Contains(lines[i], `"photo":"`+w.Name+`"`) {
			t.Errorf("line %d is not of %s: %s", i+1, w.Name, lines[i])
		}
	}
	before := standing(t, b)
	s = b.mustRun(t, Options{Workers: 2})
	if b.calls.Load() != 0 || s.Kept != 20 || s.Refused != 3 || s.Changed {
		t.Errorf("a second run measured %d: %+v", b.calls.Load(), s)
	}
	for i, info := range standing(t, b) {
		if !os.SameFile(info, before[i]) || !info.ModTime().Equal(before[i].ModTime()) {
			t.Errorf("a second run wrote %s again", info.Name())
		}
	}
	for _, e := range readDir(t, b.folder) {
		if strings.HasPrefix(e, ".") {
			t.Errorf("%s was left behind", e)
		}
	}
}

func readDir(t *testing.T, folder string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// Whatever changes, the results are those of a folder that was always so, and
// no more is measured than has to be.
func TestOnlyWhatChanged(t *testing.T) {
	for name, c := range map[string]struct {
		change func(b *bench)
		calls  int32
	}{
		"a photo": {func(b *bench) { b.photo(t, "joint-5.jpg", "another photo") }, 1},
		"a photo, its size and date kept": {func(b *bench) {
			path := filepath.Join(b.folder, "joint-5.jpg")
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			b.photo(t, "joint-5.jpg", "phota 5")
			if err := os.Chtimes(path, time.Time{}, info.ModTime()); err != nil {
				t.Fatal(err)
			}
		}, 1},
		"only a date": {func(b *bench) {
			if err := os.Chtimes(filepath.Join(b.folder, "joint-5.jpg"), time.Now(), time.Now().Add(time.Hour)); err != nil {
				t.Fatal(err)
			}
		}, 0},
		"a setting": {func(b *bench) { b.works[7].Settings = "joint division=0.2mm" }, 1},
		"a name":    {func(b *bench) { b.works[7].Name = "joint-007.jpg" }, 1},
		"the order": {func(b *bench) { b.works[2], b.works[9] = b.works[9], b.works[2] }, 0},
		"more":      {func(b *bench) { b.photo(t, "joint-13.jpg", "photo 13"); b.list(13) }, 1},
		"less":      {func(b *bench) { b.works = b.works[:6] }, 0},
		"no photo":  {func(b *bench) { b.works = nil }, 0},
		"picture gone": {func(b *bench) {
			if err := os.Remove(filepath.Join(b.folder, "overlays/joint-2.jpg")); err != nil {
				t.Fatal(err)
			}
		}, 1},
	} {
		b := newBench(t, 12)
		b.mustRun(t, Options{})
		c.change(b)
		b.mustRun(t, Options{Workers: 2})
		if got := b.calls.Load(); got != c.calls {
			t.Errorf("%s changed: %d measured again, want %d", name, got, c.calls)
		}
		fresh := &bench{folder: b.folder, works: b.works}
		before := [2]string{b.read(t, Results), b.read(t, Table)}
		for _, name := range []string{Results, Table} {
			if err := os.Remove(filepath.Join(b.folder, name)); err != nil {
				t.Fatal(err)
			}
		}
		fresh.mustRun(t, Options{})
		if after := [2]string{fresh.read(t, Results), fresh.read(t, Table)}; before != after {
			t.Errorf("%s changed: the results are not those of a first run", name)
		}
	}
}

func TestUnreadableIsTriedAgain(t *testing.T) {
	b := newBench(t, 5)
	photo := filepath.Join(b.folder, "joint-2.jpg")
	if err := os.Remove(photo); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		s := b.mustRun(t, Options{})
		if s.Statuses[1] != 4 || s.Refused != 2 {
			t.Errorf("a photo that is not there: %+v", s)
		}
	}
	if s := b.mustRun(t, Options{}); b.calls.Load() != 1 || s.Changed {
		t.Errorf("%d measured, of which one has to be tried again: %+v", b.calls.Load(), s)
	}
	if err := os.Mkdir(photo, 0o755); err != nil { // no plain file: nothing to wait for
		t.Fatal(err)
	}
	b.mustRun(t, Options{})
	if err := os.Remove(photo); err != nil {
		t.Fatal(err)
	}
	b.photo(t, "joint-2.jpg", "photo 2")
	if s := b.mustRun(t, Options{}); b.calls.Load() != 1 || s.Refused != 1 || !s.Changed {
		t.Errorf("the photo is back: %d measured, %+v", b.calls.Load(), s)
	}
	sameResults(t, b, measuredFresh(t, b))
}

// measuredFresh is a run on the same photos that nothing disturbs.
func measuredFresh(t *testing.T, b *bench) *bench {
	t.Helper()
	other := b.with(t, t.TempDir())
	other.slow = 0
	other.mustRun(t, Options{})
	return other
}

func TestCancelled(t *testing.T) {
	b := newBench(t, 40)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var mu sync.Mutex
	begun := 0
	s, err := Run(ctx, b.folder, b.works, Options{Workers: 2}, func(ctx context.Context, i int, task string) ([]byte, int) {
		mu.Lock()
		if begun++; begun == 15 {
			cancel()
		}
		mu.Unlock()
		if ctx.Err() != nil {
			return nil, 130
		}
		return b.measure(ctx, i, task)
	}, b.finish)
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v", err)
	}
	if s.Finished || s.Measured < 13 || s.Measured > 15 || s.Missing != 40-s.Measured || b.has(Table) {
		t.Errorf("after 15 of 40: %+v", s)
	}
	if n := strings.Count(b.read(t, Results), "\n"); n != s.Measured {
		t.Errorf("%d lines of %d photos that were measured", n, s.Measured)
	}
	if next := b.mustRun(t, Options{Workers: 2}); next.Kept != s.Measured {
		t.Errorf("%d kept of %d", next.Kept, s.Measured)
	}
	sameResults(t, b, measuredFresh(t, b))
}

func TestCancelledBeforeItBegan(t *testing.T) {
	b := newBench(t, 3)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Run(ctx, b.folder, b.works, Options{}, b.measure, b.finish); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if b.calls.Load() != 0 || b.has(Results) {
		t.Errorf("%d measured; results there: %t", b.calls.Load(), b.has(Results))
	}
}

// A fault of ours in one task is that task's, and is tried again.
func TestFaults(t *testing.T) {
	for name, c := range map[string]struct {
		change func(line []byte) ([]byte, int)
		cause  string
	}{
		"panic":        {func([]byte) ([]byte, int) { panic("index out of range") }, "index out of range"},
		"nothing kept": {func([]byte) ([]byte, int) { return nil, 4 }, ""},
		"line break":   {func(line []byte) ([]byte, int) { return append(line, '\n'), 0 }, "not one line"},
		"two lines": {func(line []byte) ([]byte, int) {
			return append(append([]byte{}, append(line, '\n')...), line...), 0
		}, "not one line"},
		"half a line":  {func(line []byte) ([]byte, int) { return line[:40], 0 }, "cannot be read"},
		"an empty one": {func([]byte) ([]byte, int) { return []byte{}, 0 }, "not one line"},
		"another task": {func(line []byte) ([]byte, int) {
			return []byte(strings.Replace(string(line), `"task":"`, `"task":"f`, 1)), 0
		}, "without its task"},
		"no batch": {func(line []byte) ([]byte, int) {
			return []byte(strings.Replace(string(line), `"batch"`, `"other"`, 1)), 0
		}, "no batch wrote"},
	} {
		b := newBench(t, 9)
		b.breaks = map[string]func([]byte) ([]byte, int){"joint-6.jpg": c.change}
		for range 2 {
			s, err := b.run(Options{Workers: 2})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			status := 1
			if c.cause == "" {
				status = 4
			}
			if s.Finished || s.Missing != 1 || s.Kept+s.Measured != 8 || s.Statuses[5] != status || !b.has(Table) {
				t.Errorf("%s: %+v", name, s)
			}
			if c.cause == "" {
				continue
			}
			if len(s.Faults) != 1 || s.Faults[0].Name != "joint-6.jpg" || !strings.Contains(s.Faults[0].Error(), c.cause) {
				t.Errorf("%s: faults %v", name, s.Faults)
			}
		}
		b.breaks = nil
		b.mustRun(t, Options{})
		if b.calls.Load() != 1 {
			t.Errorf("%s: %d measured in the end", name, b.calls.Load())
		}
		sameResults(t, b, measuredFresh(t, b))
	}
}

func TestFinishThatFails(t *testing.T) {
	b := newBench(t, 4)
	broken := errors.New("broken")
	for _, finish := range []Finish{
		func([]record.Line) ([][]byte, error) { return nil, broken },
		func([]record.Line) ([][]byte, error) { return [][]byte{[]byte("{}")}, nil },
		func([]record.Line) ([][]byte, error) {
			line, _ := b.line(b.works[0], "")
			return [][]byte{[]byte(strings.Replace(string(line), `"batch"`, `"other"`, 1))}, nil
		},
	} {
		s, err := Run(context.Background(), b.folder, b.works, Options{}, b.measure, finish)
		if err == nil || s.Finished || s.Kept+s.Measured != 4 {
			t.Errorf("error %v, %+v", err, s)
		}
	}
	b.mustRun(t, Options{})
	if b.calls.Load() != 0 {
		t.Error("measured again")
	}
}

func TestSameWorkTwice(t *testing.T) {
	b := newBench(t, 3)
	b.works[2] = b.works[0]
	b.works[2].Inputs = nil
	_, err := b.run(Options{})
	if err == nil || !strings.Contains(err.Error(), `"joint-1.jpg" is there twice`) {
		t.Errorf("error %v", err)
	}
	if _, err := Join(context.Background(), b.folder, b.works, nil); err == nil {
		t.Error("joined")
	}
}

// A picture that another task has drawn over since is not that of the line.
func TestPictureDrawnOver(t *testing.T) {
	b := newBench(t, 5)
	b.mustRun(t, Options{})
	for i := range b.works {
		b.works[i].Settings += " overlay=large"
	}
	b.breaks = map[string]func([]byte) ([]byte, int){"joint-5.jpg": func([]byte) ([]byte, int) { return nil, 1 }}
	cut := errors.New("cut short")
	s, err := Run(context.Background(), b.folder, b.works, Options{}, b.measure, func([]record.Line) ([][]byte, error) { return nil, cut })
	if !errors.Is(err, cut) || s.Measured != 4 { // the old lines stay in the ledger
		t.Fatal(s, err)
	}
	b.breaks = nil
	b.list(5)
	if s := b.mustRun(t, Options{}); s.Kept != 2 { // joint-4 has no picture, that of joint-5 was not drawn over
		t.Errorf("%+v", s)
	}
}

func TestKeyDependsOnAll(t *testing.T) {
	folder := t.TempDir()
	path := func(name, text string) string {
		at := filepath.Join(folder, name)
		if err := os.WriteFile(at, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return at
	}
	a, b, gone := path("a", "first"), path("b", "second"), filepath.Join(folder, "gone")
	seen := map[string]Work{}
	for _, w := range []Work{
		{"n", []string{a}, "s"},
		{"n", []string{b}, "s"},
		{"n", []string{a, b}, "s"},
		{"n", []string{b, a}, "s"},
		{"n", []string{gone}, "s"},
		{"n", nil, "s"},
		{"n\n", []string{a}, "s"},
		{"n", []string{a}, "\ns"},
		{"n", []string{a}, "s\"\n\""},
		{"\xff", []string{a}, "s"},
		{"\ufffd", []string{a}, "s"},
	} {
		var c contents
		key, readable := c.task(w)
		if other, ok := seen[key]; ok {
			t.Errorf("%q and %q have the same key", w, other)
		}
		if seen[key] = w; readable == strings.Contains(strings.Join(w.Inputs, " "), "gone") || len(key) != 64 {
			t.Errorf("%q: key %q, readable %t", w, key, readable)
		}
	}
	// The place of a file is not part of the key.
	var c contents
	one, _ := c.task(Work{"n", []string{a}, "s"})
	two, _ := c.task(Work{"n", []string{path("c", "first")}, "s"})
	if one != two {
		t.Error("the same content elsewhere has another key")
	}
}

func TestPlaceIsTaken(t *testing.T) {
	for name, take := range map[string]func(path string) error{
		"a folder": func(path string) error { return os.Mkdir(path, 0o755) },
		"a link":   func(path string) error { return os.Symlink(os.DevNull, path) },
	} {
		for _, file := range []string{Results, Table} {
			b := newBench(t, 2)
			if err := take(filepath.Join(b.folder, file)); err != nil {
				t.Fatal(err)
			}
			_, err := b.run(Options{})
			var at *fs.PathError
			if !errors.As(err, &at) || filepath.Base(at.Path) != file {
				t.Errorf("%s at %s: %v", name, file, err)
			}
		}
	}
	_, err := Run(context.Background(), filepath.Join(t.TempDir(), "none"), nil, Options{}, nil, nil)
	var at *fs.PathError
	if !errors.As(err, &at) || !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
}

// The further lines of an earlier end are not the photos'.
func TestFurtherLinesAreRenewed(t *testing.T) {
	b := newBench(t, 3)
	b.mustRun(t, Options{})
	s, err := Run(context.Background(), b.folder, b.works, Options{}, b.measure, nil)
	if err != nil || !s.Changed || s.Kept != 3 {
		t.Fatalf("%v, %+v", err, s)
	}
	n := 0
	err = record.Read(strings.NewReader(b.read(t, Results)), func(l record.Line, _ []byte) error {
		if l.Stretch != nil {
			t.Error("the line of the chain is still there")
		}
		n++
		return nil
	})
	if err != nil || n != 3 {
		t.Errorf("%d lines, %v", n, err)
	}
}

// As many photos are measured at once as there are workers, and no more.
func TestWorkersAtOnce(t *testing.T) {
	for _, workers := range []int{1, 2, 3} {
		b := newBench(t, 12)
		var mu sync.Mutex
		inside, most := 0, 0
		all := make(chan struct{}) // closed once the first are all inside
		_, err := Run(t.Context(), b.folder, b.works, Options{Workers: workers}, func(ctx context.Context, i int, task string) ([]byte, int) {
			mu.Lock()
			inside++
			if most = max(most, inside); inside == workers && i < workers {
				close(all)
			}
			mu.Unlock()
			select {
			case <-all:
			case <-time.After(10 * time.Second):
			}
			defer func() { mu.Lock(); inside--; mu.Unlock() }()
			return b.measure(ctx, i, task)
		}, b.finish)
		if err != nil || most != workers {
			t.Errorf("%d workers: %d at once, %v", workers, most, err)
		}
	}
}
