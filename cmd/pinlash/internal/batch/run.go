package batch

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"pinlash/cmd/pinlash/internal/record"
)

// The files that a batch writes into its folder.
const (
	Results = "results.jsonl"
	Table   = "results.csv"
)

// statusFault is the exit status of a task that ended by a fault of ours.
const statusFault = 1

// Options say how a batch is run.
type Options struct {
	Workers  int       // how many tasks are measured at once; 0 means 1
	Shard    Shard     // the part of the work to do; the zero Shard is all of it
	Progress *Progress // nil for none
}

// Measure measures work i. It returns its line without line break, which has
// to carry task in batch.task, and the exit status of its photo; nil for a
// line if nothing can be kept, so that the next run tries again. The same task
// has to give the same line. Measure is called from several goroutines.
type Measure func(ctx context.Context, i int, task string) (line []byte, status int)

// Finish makes the further lines, those of whole chains, out of the lines of
// all works in their order, which are in brief as from record.ReadBrief. Each
// has to be a batch's, with batch set. A nil Finish makes none.
type Finish func(lines []record.Line) ([][]byte, error)

// Fault is a task that ended by a fault of pinlash.
type Fault struct {
	Name  string // of the work
	Cause any    // what it panicked with, or what is wrong with its line
	Stack []byte
}

func (f *Fault) Error() string {
	return fmt.Sprintf("internal fault, please report it: %v\n%s", f.Cause, f.Stack)
}

// Summary says what became of a run.
type Summary struct {
	Works    int // in the run, or in its shard
	Kept     int // finished by an earlier run
	Measured int // finished by this one
	Refused  int // of both
	Missing  int // not finished
	// Statuses are the exit statuses of the works that were measured, in the
	// order of all work; 0 of the others, whether kept, of another shard, or
	// not reached.
	Statuses []int
	Faults   []*Fault // in the order of the work
	// Finished says that results.jsonl and results.csv have all work; of a
	// shard, that its own ledger has. Without it they have what is not Missing.
	Finished bool
	Changed  bool     // one of the files is another than before
	Files    []string // paths of what holds the results
}

// Run measures what folder's ledger does not have yet. It returns an error of
// type *fs.PathError if the ledger cannot be read, locked or written, and that
// of ctx if it was cancelled; what is finished is kept in either case. Refused
// photos and faults of single tasks are no errors: the Summary has them.
func Run(ctx context.Context, folder string, work []Work, o Options, m Measure, finish Finish) (s Summary, err error) {
	if err := distinct(work); err != nil {
		return s, err
	}
	path := filepath.Join(folder, o.Shard.File())
	l, err := openLedger(path)
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, l.close()) }()

	r := &run{folder: folder, work: work, measure: m, ledger: l, progress: o.Progress, done: make([]*finished, len(work))}
	r.Statuses = make([]int, len(work))
	r.Files = []string{path}
	for i := range work {
		if o.Shard.Has(i) {
			r.Works++
		}
	}
	err = r.measureAll(ctx, o)
	s = r.Summary
	s.Missing = s.Works - s.Kept - s.Measured
	if err != nil {
		return s, err
	}
	if o.Shard.Whole() {
		// A task that could not be measured by a fault of pinlash does not keep
		// the others from their table.
		done := slices.DeleteFunc(r.done, func(d *finished) bool { return d == nil })
		if err := conclude(&s, folder, done, finish); err != nil {
			return s, err
		}
	}
	if !o.Shard.Whole() {
		s.Changed = s.Measured > 0
	}
	s.Finished = s.Missing == 0
	return s, nil
}

// run is a run at work.
type run struct {
	folder   string
	work     []Work
	measure  Measure
	ledger   *ledger
	contents contents
	progress *Progress

	mu sync.Mutex
	Summary
	faults map[int]*Fault
	done   []*finished // nil for one that is not
}

func (r *run) measureAll(ctx context.Context, o Options) error {
	r.progress.start(r.Works)
	defer r.progress.end()
	group, inner := errgroup.WithContext(ctx)
	group.SetLimit(max(o.Workers, 1))
	for i := range r.work {
		if inner.Err() != nil {
			break
		}
		if o.Shard.Has(i) {
			group.Go(func() error { return r.one(inner, i) })
		}
	}
	err := group.Wait()
	for i := range r.work {
		if f := r.faults[i]; f != nil {
			r.Faults = append(r.Faults, f)
		}
	}
	if err == nil {
		err = ctx.Err()
	}
	return errors.Join(err, r.ledger.flush())
}

// one brings work i to its line. Its error is one that ends the run.
func (r *run) one(ctx context.Context, i int) error {
	if ctx.Err() != nil {
		return nil
	}
	task, readable := r.contents.task(r.work[i])
	if readable {
		if done, ok := r.ledger.tasks.find(r.folder, task); ok {
			r.took(i, done, &r.Kept)
			return nil
		}
	}
	line, status, fault := r.try(ctx, i, task)
	brief, err := checked(line, task)
	if fault == nil && err != nil {
		fault = &Fault{Name: r.work[i].Name, Cause: err}
	}
	r.mu.Lock()
	r.Statuses[i] = status
	if fault != nil {
		r.Statuses[i] = statusFault
		if r.faults == nil {
			r.faults = map[int]*Fault{}
		}
		r.faults[i] = fault
	}
	r.mu.Unlock()
	if fault != nil || line == nil {
		r.progress.step(false)
		return nil
	}
	at, err := r.ledger.add(task, line)
	if err != nil {
		return err
	}
	r.took(i, finished{at, brief}, &r.Measured)
	return nil
}

// took notes that work i is finished and adds it to count.
func (r *run) took(i int, done finished, count *int) {
	r.mu.Lock()
	r.done[i] = &done
	*count++
	if done.refused() {
		r.Refused++
	}
	r.mu.Unlock()
	r.progress.step(done.refused())
}

// try measures work i; a panic becomes its fault.
func (r *run) try(ctx context.Context, i int, task string) (line []byte, status int, fault *Fault) {
	defer func() {
		if cause := recover(); cause != nil {
			line, fault = nil, &Fault{r.work[i].Name, cause, debug.Stack()}
		}
	}()
	line, status = r.measure(ctx, i, task)
	return line, status, nil
}

// checked reads a line that Measure made, nil for none.
func checked(line []byte, task string) (record.Line, error) {
	if line == nil {
		return record.Line{}, nil
	}
	brief, its, err := reread(line)
	if err == nil && its != task {
		err = errors.New("a line without its task")
	}
	return brief, err
}

// reread reads a line as later runs and other commands will: what they could
// not read must not get into the ledger.
func reread(line []byte) (brief record.Line, task string, err error) {
	alone := false
	err = record.ReadBrief(bytes.NewReader(line), func(l record.Line, _, size int64) error {
		alone = size == int64(len(line))
		brief = l
		task, err = taskOf(l)
		return err
	})
	if err == nil && alone {
		_, err = record.Decode(line)
	}
	switch {
	case err != nil:
		return record.Line{}, "", fmt.Errorf("a line that cannot be read again: %w", err)
	case !alone:
		return record.Line{}, "", errors.New("not one line without its break")
	}
	return brief, task, nil
}
