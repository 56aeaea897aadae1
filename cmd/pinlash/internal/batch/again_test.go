package batch

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
)

// live is what the heap holds on to, in bytes.
func live() int64 {
	runtime.GC()
	runtime.GC() // what the first only found unused in pools
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// The lines stay in the ledger: what a run or a join keeps in memory does not
// grow with them.
func TestLinesStayInTheLedger(t *testing.T) {
	const photos, length = 40, 200 << 10
	b := newBench(t, photos)
	ballast := []byte(`"notes":["` + strings.Repeat("x", length) + `"]`)
	measure := func(ctx context.Context, i int, task string) ([]byte, int) {
		line, status := b.measure(ctx, i, task)
		return bytes.Replace(line, []byte(`"notes":[]`), ballast, 1), status
	}
	var before, kept int64
	finish := func(lines []record.Line) ([][]byte, error) {
		kept = live() - before
		return b.finish(lines)
	}
	for _, c := range []struct {
		name string
		do   func() (Summary, error)
	}{
		{"a run", func() (Summary, error) {
			return Run(t.Context(), b.folder, b.works, Options{Workers: 2}, measure, finish)
		}},
		{"a second run", func() (Summary, error) {
			return Run(t.Context(), b.folder, b.works, Options{Workers: 2}, measure, finish)
		}},
		{"a join", func() (Summary, error) {
			whole := b.read(t, Results)
			b.write(t, Shard{1, 1}.File(), whole)
			before = live()
			return Join(t.Context(), b.folder, b.works, finish)
		}},
	} {
		before = live()
		s, err := c.do()
		if err != nil || !s.Finished {
			t.Fatalf("%s: %v, %+v", c.name, err, s)
		}
		info, err := os.Stat(filepath.Join(b.folder, Results))
		if err != nil || info.Size() < photos*length/2 { // some are refused, and have no notes
			t.Fatalf("%s: the ledger has %d bytes, %v", c.name, info.Size(), err)
		}
		t.Logf("%s: %d bytes kept of %d", c.name, kept, info.Size())
		if kept > info.Size()/10 {
			t.Errorf("%s: %d bytes kept of the ledger's %d", c.name, kept, info.Size())
		}
	}
}

// A run with nothing new decodes each line once, and not the whole of it.
func TestEachLineIsDecodedOnce(t *testing.T) {
	const photos, figures = 20, 100
	b := newBench(t, photos)
	var more strings.Builder
	for i := range figures {
		fmt.Fprintf(&more, `"figure_%d":{"value":1,"unit":"mm","u":0.1,"lower":0.8,"upper":1.2},`, i)
	}
	_, err := Run(t.Context(), b.folder, b.works, Options{}, func(ctx context.Context, i int, task string) ([]byte, int) {
		line, status := b.measure(ctx, i, task)
		return bytes.Replace(line, []byte(`"results":{`), []byte(`"results":{`+more.String()), 1), status
	}, b.finish)
	if err != nil {
		t.Fatal(err)
	}
	ledger := b.read(t, Results)
	once := testing.AllocsPerRun(3, func() {
		if err := record.ReadBrief(strings.NewReader(ledger), func(record.Line, int64, int64) error { return nil }); err != nil {
			t.Error(err)
		}
	})
	again := testing.AllocsPerRun(3, func() {
		if s := b.mustRun(t, Options{}); s.Changed || s.Kept != photos {
			t.Errorf("%+v", s)
		}
	})
	t.Logf("%.0f allocations, %.0f to decode each line once", again, once)
	if again > 1.5*once {
		t.Errorf("a run with nothing new makes %.0f allocations, reading its lines once %.0f", again, once)
	}
}
