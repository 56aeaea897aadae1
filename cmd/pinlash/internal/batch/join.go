package batch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"pinlash/cmd/pinlash/internal/record"
)

// MissingError says which works no shard has finished.
type MissingError struct {
	Names  []string // of the works
	Shards []Shard  // that have to be run again, in their order
}

func (e *MissingError) Error() string {
	const shown = 5
	names := make([]string, 0, shown)
	for _, name := range e.Names[:min(shown, len(e.Names))] {
		names = append(names, record.SafeName(name))
	}
	text := strings.Join(names, ", ")
	if more := len(e.Names) - shown; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	var shards []string
	for _, s := range e.Shards {
		shards = append(shards, s.String())
	}
	return fmt.Sprintf("not measured yet as they are now: %s; run shard %s again", text, strings.Join(shards, ", "))
}

// Join makes results.jsonl and results.csv out of the ledgers of all shards in
// folder, byte for byte as a run that was not split. The shards' ledgers stay.
// If one lacks a work as it is now, nothing is written and the error is of
// type *MissingError.
func Join(ctx context.Context, folder string, work []Work, finish Finish) (s Summary, err error) {
	if err := distinct(work); err != nil {
		return s, err
	}
	n, err := shardsIn(folder)
	if err != nil {
		return s, err
	}
	found, err := taskKeys(ctx, work)
	if err != nil {
		return s, err
	}
	s = Summary{Works: len(work), Statuses: make([]int, len(work))}
	all := make([]*finished, len(work))
	missing := &MissingError{}
	for k := range n {
		shard := Shard{k + 1, n}
		t, err := readShard(filepath.Join(folder, shard.File()))
		if err != nil {
			return s, err
		}
		complete := true
		for i := k; i < len(work); i += n {
			done, ok := t.find(folder, found[i])
			if !ok {
				complete = false
				continue
			}
			s.Kept++
			if done.refused() {
				s.Refused++
			}
			all[i] = &done
		}
		if !complete {
			missing.Shards = append(missing.Shards, shard)
		}
	}
	for i, done := range all {
		if done == nil {
			missing.Names = append(missing.Names, work[i].Name)
		}
	}
	if s.Missing = len(missing.Names); s.Missing > 0 {
		return s, missing
	}
	// Whatever stands in results.jsonl must be a batch's, and nobody's at work.
	l, err := openLedger(filepath.Join(folder, Results))
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, l.close()) }()
	err = conclude(&s, folder, all, finish)
	s.Finished = err == nil
	return s, err
}

// shardsIn returns how many shards the ledgers in folder belong to.
func shardsIn(folder string) (int, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return 0, err
	}
	var one string
	n := 0
	for _, e := range entries {
		s, ok := shardOfFile(e.Name())
		if !ok {
			continue
		}
		if n != 0 && s.N != n {
			return 0, &fs.PathError{Op: "join", Path: folder, Err: fmt.Errorf(
				"%s and %s are of different splits: move away those that are not meant", one, e.Name())}
		}
		one, n = e.Name(), s.N
	}
	if n == 0 {
		return 0, &fs.PathError{Op: "join", Path: folder, Err: errors.New("no results of shards here, such as results-1-of-8.jsonl")}
	}
	return n, nil
}

// readShard reads a shard's ledger, which may be missing, and leaves it alone.
func readShard(path string) (tasks, error) {
	t := newTasks(shut(path))
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return t, nil
	} else if err != nil {
		return t, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	info, err := f.Stat()
	if err != nil {
		return t, err
	}
	_, _, err = t.read(f, info.Size())
	return t, err
}

// taskKeys returns the keys of all works.
func taskKeys(ctx context.Context, work []Work) ([]string, error) {
	keys := make([]string, len(work))
	var c contents
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, w := range work {
		if ctx.Err() != nil {
			break
		}
		group.Go(func() error {
			keys[i], _ = c.task(w)
			return nil
		})
	}
	return keys, errors.Join(group.Wait(), ctx.Err())
}
