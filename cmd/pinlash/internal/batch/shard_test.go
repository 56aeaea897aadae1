package batch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

func TestShardSplit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		works := rapid.IntRange(0, 500).Draw(t, "works")
		n := rapid.IntRange(1, 60).Draw(t, "shards")
		sizes := make([]int, n)
		for i := range works {
			owners := 0
			for k := range n {
				if (Shard{k + 1, n}).Has(i) {
					owners++
					sizes[k]++
				}
			}
			if owners != 1 || !(Shard{i%n + 1, n}).Has(i) || !(Shard{}).Has(i) {
				t.Fatalf("work %d belongs to %d shards", i, owners)
			}
		}
		for _, size := range sizes {
			if size < works/n || size > (works+n-1)/n {
				t.Fatalf("shards of %d works: %v", works, sizes)
			}
		}
	})
}

func TestShardNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 1<<31-1).Draw(t, "N")
		s := Shard{rapid.IntRange(1, n).Draw(t, "K"), n}
		if got, err := ParseShard(s.String()); err != nil || got != s {
			t.Errorf("%s reads as %v, %v", s, got, err)
		}
		if got, ok := shardOfFile(s.File()); !ok || got != s {
			t.Errorf("%s is of %v, %t", s.File(), got, ok)
		}
	})
	for _, text := range []string{"", "2", "/", "0/8", "9/8", "-1/8", "2/-8", "+2/8", "2/8/9", " 2/8", "2/8 ", "2.0/8", "a/b", "0/0", "1/99999999999"} {
		if s, err := ParseShard(text); err == nil || s != (Shard{}) {
			t.Errorf("%q reads as %v", text, s)
		}
	}
	for _, name := range []string{Results, Table, "results-2-of-8.jsonl.new", "results-02-of-8.jsonl", "results-9-of-8.jsonl", "results-2-8.jsonl", "my-results-2-of-8.jsonl", "results-2-of-8.csv"} {
		if s, ok := shardOfFile(name); ok {
			t.Errorf("%s is of %v", name, s)
		}
	}
}

func TestShardFromEnv(t *testing.T) {
	slurm := func(id, first, count, step string) map[string]string {
		return map[string]string{"SLURM_ARRAY_TASK_ID": id, "SLURM_ARRAY_TASK_MIN": first, "SLURM_ARRAY_TASK_COUNT": count, "SLURM_ARRAY_TASK_STEP": step}
	}
	for name, c := range map[string]struct {
		env  map[string]string
		want Shard // zero for an error
	}{
		"1-8":           {slurm("3", "1", "8", "1"), Shard{3, 8}},
		"0-7":           {slurm("0", "0", "8", "1"), Shard{1, 8}},
		"last of 0-7":   {slurm("7", "0", "8", "1"), Shard{8, 8}},
		"10-30:10":      {slurm("20", "10", "3", "10"), Shard{2, 3}},
		"no step":       {slurm("20", "19", "3", ""), Shard{2, 3}},
		"1,3,9":         {slurm("9", "1", "3", "1"), Shard{}},
		"between":       {slurm("15", "10", "3", "10"), Shard{}},
		"below":         {slurm("1", "2", "3", "1"), Shard{}},
		"no count":      {slurm("1", "1", "", "1"), Shard{}},
		"no step at 0":  {slurm("1", "1", "8", "0"), Shard{}},
		"no number":     {slurm("x", "1", "8", "1"), Shard{}},
		"first pod":     {map[string]string{"JOB_COMPLETION_INDEX": "0", "PINLASH_SHARDS": "5"}, Shard{1, 5}},
		"last pod":      {map[string]string{"JOB_COMPLETION_INDEX": "4", "PINLASH_SHARDS": "5"}, Shard{5, 5}},
		"pod too many":  {map[string]string{"JOB_COMPLETION_INDEX": "5", "PINLASH_SHARDS": "5"}, Shard{}},
		"pods unknown":  {map[string]string{"JOB_COMPLETION_INDEX": "0"}, Shard{}},
		"pods no count": {map[string]string{"JOB_COMPLETION_INDEX": "0", "PINLASH_SHARDS": "many"}, Shard{}},
	} {
		got, source, ok, err := ShardFromEnv(func(name string) string { return c.env[name] })
		if got != c.want || ok != (c.want != Shard{}) || (err == nil) != ok || source == "" {
			t.Errorf("%s: %v from %q, %t, %v; want %v", name, got, source, ok, err, c.want)
		}
	}
	if s, _, ok, err := ShardFromEnv(func(string) string { return "" }); s != (Shard{}) || ok || err != nil {
		t.Errorf("nowhere: %v, %t, %v", s, ok, err)
	}
}

// Any split gives what a run in one piece gives.
func TestShardsJoined(t *testing.T) {
	want := newBench(t, 23)
	want.mustRun(t, Options{})
	for _, n := range []int{1, 2, 3, 8, 30} {
		b := want.with(t, t.TempDir())
		var all sync.WaitGroup
		for k := range n {
			all.Go(func() { // all at once, as on a cluster
				s, err := Run(context.Background(), b.folder, b.works, Options{Workers: 2, Shard: Shard{k + 1, n}}, b.measure, nil)
				if err != nil || !s.Finished {
					t.Errorf("shard %d of %d: %v, %+v", k+1, n, err, s)
				}
			})
		}
		all.Wait()
		if b.calls.Load() != 23 || b.has(Results) || b.has(Table) {
			t.Errorf("%d shards: %d measured; results %t, table %t", n, b.calls.Load(), b.has(Results), b.has(Table))
		}
		before := map[string]string{}
		for k := range n {
			name := Shard{k + 1, n}.File()
			if k < len(b.works) {
				before[name] = b.read(t, name)
			} else if b.has(name) {
				t.Errorf("%s was made for nothing", name)
			}
		}
		for _, changed := range []bool{true, false} {
			s, err := Join(context.Background(), b.folder, b.works, b.finish)
			if err != nil || !s.Finished || s.Kept != 23 || s.Refused != 3 || s.Changed != changed {
				t.Errorf("%d shards joined: %v, %+v", n, err, s)
			}
			sameResults(t, b, want)
		}
		for name, text := range before {
			if b.read(t, name) != text {
				t.Errorf("joining changed %s", name)
			}
		}
		if s := b.mustRun(t, Options{}); s.Kept != 23 || s.Changed { // a run goes on from there
			t.Errorf("%d shards: %+v", n, s)
		}
	}
}

// A shard's ledger is never put in order: what a kill left must be mended.
func TestShardGoesOn(t *testing.T) {
	b := newBench(t, 10)
	shard := Options{Shard: Shard{2, 3}}
	s := b.mustRun(t, shard)
	if s.Works != 3 || s.Measured != 3 || !s.Changed || len(s.Files) != 1 || filepath.Base(s.Files[0]) != "results-2-of-3.jsonl" {
		t.Errorf("%+v", s)
	}
	whole := b.read(t, shard.Shard.File())
	lines := strings.SplitAfter(whole, "\n")
	for name, text := range map[string]string{
		"half a line":  lines[0] + lines[1] + lines[2][:30],
		"no break":     lines[0] + strings.TrimSuffix(lines[1], "\n"),
		"not finished": lines[0] + lines[1],
	} {
		b.write(t, shard.Shard.File(), text)
		if s := b.mustRun(t, shard); s.Kept != 2 || b.calls.Load() != 1 {
			t.Errorf("%s: %+v", name, s)
		}
		if s := b.mustRun(t, shard); s.Kept != 3 || s.Changed {
			t.Errorf("%s, then again: %+v", name, s)
		}
		if got := b.read(t, shard.Shard.File()); got != whole {
			t.Errorf("%s: the ledger became\n%s", name, got)
		}
	}
}

func TestJoinRefuses(t *testing.T) {
	b := newBench(t, 12)
	join := func() (Summary, error) { return Join(context.Background(), b.folder, b.works, b.finish) }
	var at *fs.PathError
	if _, err := join(); !errors.As(err, &at) || !strings.Contains(err.Error(), "no results of shards") {
		t.Errorf("no shards: %v", err)
	}
	if _, err := Join(context.Background(), filepath.Join(b.folder, "none"), b.works, nil); !errors.As(err, &at) {
		t.Errorf("no folder: %v", err)
	}
	for k := range 4 {
		if k != 2 {
			b.mustRun(t, Options{Shard: Shard{k + 1, 4}})
		}
	}
	missing := func(what string, want *MissingError) {
		t.Helper()
		s, err := join()
		var got *MissingError
		if !errors.As(err, &got) || !reflect.DeepEqual(got, want) || s.Missing != len(want.Names) || s.Finished {
			t.Errorf("%s: %v, %+v", what, err, s)
		}
		if b.has(Results) || b.has(Table) {
			t.Errorf("%s: something was written", what)
		}
	}
	third := &MissingError{[]string{"joint-3.jpg", "joint-7.jpg", "joint-11.jpg"}, []Shard{{3, 4}}}
	missing("no third shard", third)
	if got, want := third.Error(), "not measured yet as they are now: joint-3.jpg, joint-7.jpg, joint-11.jpg; run shard 3/4 again"; got != want {
		t.Errorf("it says %q, want %q", got, want)
	}
	b.mustRun(t, Options{Shard: Shard{3, 4}})
	b.photo(t, "joint-2.jpg", "another photo")
	if err := os.Remove(filepath.Join(b.folder, "overlays/joint-12.jpg")); err != nil {
		t.Fatal(err)
	}
	missing("a photo changed, a picture gone", &MissingError{[]string{"joint-2.jpg", "joint-12.jpg"}, []Shard{{2, 4}, {4, 4}}})
	b.mustRun(t, Options{Shard: Shard{2, 4}})
	b.mustRun(t, Options{Shard: Shard{4, 4}})

	b.write(t, "results-2-of-5.jsonl", "")
	if _, err := join(); !errors.As(err, &at) || !strings.Contains(err.Error(), "results-2-of-5.jsonl") || !strings.Contains(err.Error(), "different splits") {
		t.Errorf("shards of two splits: %v", err)
	}
	if err := os.Remove(filepath.Join(b.folder, "results-2-of-5.jsonl")); err != nil {
		t.Fatal(err)
	}

	held, err := openLedger(filepath.Join(b.folder, Results))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := join(); !errors.Is(err, ErrBusy) {
		t.Errorf("while a run is at work: %v", err)
	}
	if err := held.close(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Join(ctx, b.folder, b.works, b.finish); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
	if s, err := join(); err != nil || !s.Finished {
		t.Errorf("in the end: %v", err)
	}
	sameResults(t, b, measuredFresh(t, b))
}

func TestJoinNamesFew(t *testing.T) {
	e := &MissingError{Shards: []Shard{{1, 2}, {2, 2}}}
	for i := range 9 {
		e.Names = append(e.Names, fmt.Sprintf("%d\n.jpg", i))
	}
	want := `not measured yet as they are now: "0\n.jpg", "1\n.jpg", "2\n.jpg", "3\n.jpg", "4\n.jpg" and 4 more; run shard 1/2, 2/2 again`
	if e.Error() != want {
		t.Errorf("got  %s\nwant %s", e, want)
	}
}

// A photo that no machine could read is refused by the joined results too.
func TestJoinUnreadable(t *testing.T) {
	b := newBench(t, 4)
	gone := filepath.Join(b.folder, "joint-2.jpg")
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	for k := range 2 {
		b.mustRun(t, Options{Shard: Shard{k + 1, 2}})
	}
	if s, err := Join(context.Background(), b.folder, b.works, b.finish); err != nil || s.Refused != 2 {
		t.Errorf("%v, %+v", err, s)
	}
	b.photo(t, "joint-2.jpg", "photo 2")
	var missing *MissingError
	if _, err := Join(context.Background(), b.folder, b.works, b.finish); !errors.As(err, &missing) || missing.Names[0] != "joint-2.jpg" {
		t.Errorf("it is back: %v", err)
	}
}
