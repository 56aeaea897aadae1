package batch

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// bench is a folder of photos with a fake way to measure them.
type bench struct {
	folder string
	works  []Work
	calls  atomic.Int32
	slow   time.Duration // that measuring takes at most
	log    string        // a file that gets a byte as each measuring begins
	breaks map[string]func(line []byte) ([]byte, int)
}

// newBench makes n photos; the text of every seventh has it refused.
func newBench(t testing.TB, n int) *bench {
	t.Helper()
	b := &bench{folder: t.TempDir()}
	for i := range n {
		name := fmt.Sprintf("joint-%d.jpg", i+1)
		text := fmt.Sprintf("photo %d", i+1)
		if i%7 == 3 {
			text += " blurred"
		}
		b.photo(t, name, text)
	}
	b.list(n)
	return b
}

func (b *bench) photo(t testing.TB, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(b.folder, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// list lists the first n photos as work.
func (b *bench) list(n int) {
	b.works = nil
	for i := range n {
		name := fmt.Sprintf("joint-%d.jpg", i+1)
		b.works = append(b.works, Work{Name: name, Inputs: []string{filepath.Join(b.folder, name)}, Settings: "joint division=0.1mm"})
	}
}

// with returns a bench on another folder with the same photos.
func (b *bench) with(t testing.TB, folder string) *bench {
	t.Helper()
	other := &bench{folder: folder, slow: b.slow}
	for _, w := range b.works {
		text, err := os.ReadFile(w.Inputs[0])
		if err != nil {
			t.Fatal(err)
		}
		other.photo(t, w.Name, string(text))
	}
	other.list(len(b.works))
	return other
}

// measure makes a joint's line whose figures come from the photo's content,
// and a picture for those that are not refused.
func (b *bench) measure(_ context.Context, i int, task string) ([]byte, int) {
	b.calls.Add(1)
	if b.log != "" {
		f, err := os.OpenFile(b.log, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
		if err != nil {
			panic(err)
		}
		f.Write([]byte("."))
		f.Close()
	}
	if b.slow > 0 {
		time.Sleep(time.Duration(rand.Int64N(int64(b.slow))))
	}
	w := b.works[i]
	line, status := b.line(w, task)
	if change := b.breaks[w.Name]; change != nil {
		return change(line)
	}
	return line, status
}

func (b *bench) line(w Work, task string) ([]byte, int) {
	r := record.Record{Kind: record.Joint, Photo: record.Photo{Path: w.Name}, Version: "0.1.0"}
	r.Batch = &record.Batch{
		Task: task, Settings: map[string]string{}, Files: []record.File{{Path: w.Name}},
		Levels: record.Levels{Chain: "7", Joint: w.Name},
	}
	text, err := os.ReadFile(w.Inputs[0])
	status := 0
	switch {
	case err != nil:
		status = 4
		r.Refused = check.Refuse(check.Unreadable, "cannot be opened")
	case strings.Contains(string(text), "blurred"):
		status = 3
		r.Refused = check.Refuse(check.Blurred, "edges 9 px wide")
	default:
		sum := sha256.Sum256(text)
		r.Photo.SHA256 = hex.EncodeToString(sum[:])
		r.Batch.Files[0].SHA256 = r.Photo.SHA256
		play := uncert.Combine(float64(sum[0])/100+float64(sum[1])/1e5, "mm", uncert.Budget{{Name: "edge noise", U: 0.001}})
		r.Results = record.Figures{{Name: "play", Quantity: play}}
		r.Scale = &record.Scale{MMPerPx: 0.006, U: 0.00001, Source: "rule"}
		r.Batch.Budgets = record.NewBudgets(r.Results)
		r.Batch.Pictures = []string{"overlays/" + w.Name}
		os.MkdirAll(filepath.Join(b.folder, "overlays"), 0o755)
		if err := os.WriteFile(filepath.Join(b.folder, r.Batch.Pictures[0]), text, 0o644); err != nil {
			panic(err)
		}
	}
	line, err := json.Marshal(r)
	if err != nil {
		panic(err)
	}
	return line, status
}

// finish makes a line for the chain that depends on every line.
func (b *bench) finish(lines []record.Line) ([][]byte, error) {
	h := sha256.New()
	for _, line := range lines {
		fmt.Fprintln(h, line.Batch().Task, line.Record.Results)
	}
	s := record.Stretch{
		Version: "0.1.0", Source: hex.EncodeToString(h.Sum(nil)),
		Results: record.Figures{{Name: "joints", Quantity: uncert.Combine(float64(len(lines)), "mm", nil)}},
		Batch:   &record.Batch{Levels: record.Levels{Chain: "7"}, Settings: map[string]string{}, Files: []record.File{}},
	}
	line, err := json.Marshal(s)
	return [][]byte{line}, err
}

func (b *bench) run(o Options) (Summary, error) {
	b.calls.Store(0)
	return Run(context.Background(), b.folder, b.works, o, b.measure, b.finish)
}

// mustRun runs to the end.
func (b *bench) mustRun(t testing.TB, o Options) Summary {
	t.Helper()
	s, err := b.run(o)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Finished || s.Missing != 0 {
		t.Fatalf("not finished: %+v", s)
	}
	return s
}

func (b *bench) read(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(b.folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func (b *bench) write(t testing.TB, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(b.folder, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func (b *bench) has(name string) bool {
	_, err := os.Lstat(filepath.Join(b.folder, name))
	return err == nil
}

// sameResults makes sure that both folders have the same results, byte for
// byte.
func sameResults(t testing.TB, got, want *bench) {
	t.Helper()
	for _, name := range []string{Results, Table} {
		if g, w := got.read(t, name), want.read(t, name); g != w {
			t.Errorf("%s differs from that of an undisturbed run:\n%s\nwant\n%s", name, g, w)
		}
	}
}
