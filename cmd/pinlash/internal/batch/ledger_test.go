package batch

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
)

func TestTwoAtOnce(t *testing.T) {
	b := newBench(t, 3)
	held, err := openLedger(filepath.Join(b.folder, Results))
	if err != nil {
		t.Fatal(err)
	}
	_, err = b.run(Options{})
	var at *fs.PathError
	if !errors.Is(err, ErrBusy) || !errors.As(err, &at) || b.calls.Load() != 0 {
		t.Errorf("a second run: %v, %d measured", err, b.calls.Load())
	}
	if _, err := b.run(Options{Shard: Shard{1, 2}}); err != nil {
		t.Errorf("a shard beside it: %v", err)
	}
	if err := held.close(); err != nil {
		t.Fatal(err)
	}
	b.mustRun(t, Options{})
}

// The lock is on a file that the end of each run replaces: whoever got the lock
// of one that is gone would write where nobody reads.
func TestLockFollowsTheName(t *testing.T) {
	const runs, each = 4, 50
	path := filepath.Join(t.TempDir(), Results)
	increment := func() bool {
		f, err := lock(path)
		if errors.Is(err, ErrBusy) {
			return false
		}
		if err != nil {
			t.Error(err)
			return true
		}
		defer f.Close()
		text, err := os.ReadFile(path)
		if err != nil {
			t.Error(err)
		}
		n, _ := strconv.Atoi(string(text))
		if _, err := replace(path, func(w io.Writer) error { _, err := fmt.Fprint(w, n+1); return err }); err != nil {
			t.Error(err)
		}
		return true
	}
	var all sync.WaitGroup
	for range runs {
		all.Go(func() {
			for range each {
				for !increment() {
					runtime.Gosched()
				}
			}
		})
	}
	all.Wait()
	if text, err := os.ReadFile(path); err != nil || string(text) != strconv.Itoa(runs*each) {
		t.Errorf("%d turns counted as %s, %v", runs*each, text, err)
	}
}

// A last line cut short anywhere is dropped, and what was finished stays.
func TestCutShort(t *testing.T) {
	b := newBench(t, 3)
	b.mustRun(t, Options{})
	whole := b.read(t, Results)
	lines := strings.SplitAfter(whole, "\n")
	head, third := lines[0]+lines[1], lines[2]
	want := measuredFresh(t, b)
	for cut := 0; cut <= len(third); cut += 1 + cut/9 {
		b.write(t, Results, head+third[:cut])
		b.mustRun(t, Options{})
		measured := int32(1)
		if cut >= len(third)-1 {
			measured = 0 // only the line break is missing, or nothing
		}
		if b.calls.Load() != measured {
			t.Errorf("cut at %d of %d: %d measured", cut, len(third), b.calls.Load())
		}
		sameResults(t, b, want)
	}
	b.write(t, Results, head+third[:len(third)-1])
	b.mustRun(t, Options{})
	if b.calls.Load() != 0 {
		t.Error("a line without its break was lost")
	}
	for _, tail := range []string{"\x00\x00\x00", third[:60] + "\x00\x00\x00\x00"} { // after the power failed
		b.write(t, Results, head+tail)
		b.mustRun(t, Options{})
		sameResults(t, b, want)
	}
}

// Nothing that might be somebody's only copy is lost.
func TestBrokenLedgerIsLeftAlone(t *testing.T) {
	b := newBench(t, 3)
	b.mustRun(t, Options{})
	whole := b.read(t, Results)
	lines := strings.SplitAfter(whole, "\n")
	plain := strings.Replace(strings.TrimSpace(lines[0]), `"batch"`, `"other"`, 1)
	for name, c := range map[string]struct{ text, want string }{
		"broken in the middle":    {lines[0] + lines[1][:50] + "\n" + lines[2], "line 2: unexpected end of JSON input; take that line out"},
		"another kind":            {lines[0] + `{"kind":"chain"}` + "\n", `line 2: a result of kind "chain" is not known`},
		"a zeroed piece":          {lines[0] + strings.Repeat("\x00", 500) + "\n" + lines[2], "line 2: invalid character"},
		"no batch":                {lines[0] + plain + "\n", "no batch wrote: move it away"},
		"no batch, and no break":  {plain, "no batch wrote: move it away"},
		"a text without break":    {"my results", "line 1: invalid character 'm'"},
		"a text after good lines": {whole + "my results", "line 1: invalid character 'm'"},
	} {
		for _, shard := range []Shard{{}, {1, 1}} {
			b.write(t, shard.File(), c.text)
			_, err := b.run(Options{Shard: shard})
			var at *fs.PathError
			if !errors.As(err, &at) || at.Op != "read" || filepath.Base(at.Path) != shard.File() || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: error %v, want one with %q", name, err, c.want)
			}
			if got := b.read(t, shard.File()); got != c.text {
				t.Errorf("%s: the file became\n%s", name, got)
			}
			if b.calls.Load() != 0 {
				t.Errorf("%s: %d measured", name, b.calls.Load())
			}
		}
	}
	// What the message says helps.
	b.write(t, Results, lines[0]+lines[2])
	b.mustRun(t, Options{})
	if b.calls.Load() != 1 {
		t.Errorf("%d measured after the broken line was taken out", b.calls.Load())
	}
	sameResults(t, b, measuredFresh(t, b))
}

func TestReplaceThatFails(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, Table)
	if err := os.WriteFile(path, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	changed, err := replace(path, func(w io.Writer) error {
		if _, err := w.Write([]byte("olden times")); err != nil {
			return err
		}
		return broken
	})
	if !errors.Is(err, broken) || changed {
		t.Errorf("error %v, changed %t", err, changed)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "old" {
		t.Errorf("the file has %q, %v", text, err)
	}
	if left := readDir(t, folder); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	for _, text := range []string{"old", "ol", "older", "", "new"} {
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		changed, err := replace(path, func(w io.Writer) error { _, err := w.Write([]byte(text)); return err })
		if err != nil || changed != (text != string(before)) {
			t.Errorf("%q by %q: changed %t, %v", before, text, changed, err)
		}
		if now, err := os.ReadFile(path); err != nil || string(now) != text {
			t.Errorf("the file has %q, %v, want %q", now, err, text)
		}
	}
}

// A folder of photos that somebody sent must not have us write elsewhere.
func TestReplaceFollowsNoLink(t *testing.T) {
	folder := t.TempDir()
	path, precious := filepath.Join(folder, Table), filepath.Join(folder, "precious")
	if err := os.WriteFile(precious, []byte("precious"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(precious, filepath.Join(folder, "."+Table+".new")); err != nil {
		t.Fatal(err)
	}
	if _, err := replace(path, func(w io.Writer) error { _, err := io.WriteString(w, "table"); return err }); err != nil {
		t.Error(err)
	}
	for at, want := range map[string]string{precious: "precious", path: "table"} {
		if text, err := os.ReadFile(at); err != nil || string(text) != want {
			t.Errorf("%s has %q, %v", at, text, err)
		}
	}
}

func TestLastBreak(t *testing.T) {
	for _, n := range []int{0, 1, 64<<10 - 1, 64 << 10, 64<<10 + 1, 200 << 10} {
		for _, tail := range []int{0, 1, 64<<10 - 1, 64 << 10, 100 << 10} {
			text := strings.Repeat("x", n)
			want := int64(0)
			if n > 0 {
				text = text[1:] + "\n"
				want = int64(n)
			}
			text += strings.Repeat("y", tail)
			if got, err := lastBreak(strings.NewReader(text), int64(len(text))); err != nil || got != want {
				t.Errorf("%d with a tail of %d: %d, %v", n, tail, got, err)
			}
		}
	}
}

// FuzzLedger: a file that is there is either left alone with an error, or
// opens the same way again with all it had, and takes another line.
func FuzzLedger(f *testing.F) {
	b := newBench(f, 5)
	b.mustRun(f, Options{})
	whole := b.read(f, Results)
	lines := strings.SplitAfter(whole, "\n")
	for _, text := range []string{
		"", "\n", whole, whole[:len(whole)-1], whole[:len(whole)-30], lines[0] + "\n\r\n" + lines[1], lines[0] + "\x00\x00",
		lines[0] + lines[0], "{}\n", `{"kind":"`, lines[0][:50] + "\n" + lines[1], "\ufeff" + lines[0],
	} {
		f.Add([]byte(text))
	}
	line := []byte(strings.TrimSpace(lines[3]))
	const task = "0000000000000000000000000000000000000000000000000000000000000000"
	line = bytes.Replace(line, []byte(`"task":"`), []byte(`"task":"`+task), 1)
	path := filepath.Join(f.TempDir(), Results)
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := openLedger(path)
		if err != nil {
			if now, _ := os.ReadFile(path); !bytes.Equal(now, text) {
				t.Fatalf("%v, and the file is another:\n%q\nwas\n%q", err, now, text)
			}
			return
		}
		_, key, err := reread(line)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(l.write(append(bytes.Clone(line), '\n')), l.close()); err != nil {
			t.Fatal(err)
		}
		now, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		again, err := openLedger(path)
		if err != nil {
			t.Fatalf("does not open again: %v\n%q", err, now)
		}
		defer again.close()
		if got, err := again.tasks.byKey[key].text(nil); err != nil || string(got) != string(line) {
			t.Fatalf("the added line came back as %q, %v", got, err)
		}
		for task, had := range l.tasks.byKey {
			if task == key {
				continue // the added line may be of it
			}
			got, err := again.tasks.byKey[task].text(nil)
			if want := now[had.at:][:had.size]; err != nil || !bytes.Equal(got, want) {
				t.Fatalf("%s was lost: %q, %v, want %q", task, got, err, want)
			}
		}
		if unchanged, _ := os.ReadFile(path); !bytes.Equal(unchanged, now) {
			t.Fatal("opening it changed it")
		}
	})
}
