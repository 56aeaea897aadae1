package batch

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

// syncEvery is the longest that a line waits for the disk.
const syncEvery = 500 * time.Millisecond

// ErrBusy is the cause when another run has the ledger; it is wrapped in a
// *fs.PathError, as all faults of a ledger are.
var ErrBusy = errors.New("another batch is at work here; let it end, or stop it")

// finished is a task that the ledger has.
type finished struct {
	place
	line record.Line // in brief
}

func (f finished) refused() bool { return f.line.Record != nil && f.line.Record.Refused != nil }

// pictures are names in the ledger's folder.
func (f finished) pictures() []string { return f.line.Batch().Pictures }

// tasks are the finished tasks of a ledger.
type tasks struct {
	file  io.ReaderAt
	byKey map[string]finished
	drew  map[string]string // by the name of a picture, the last task that drew it
}

func newTasks(file io.ReaderAt) tasks {
	return tasks{file, map[string]finished{}, map[string]string{}}
}

// add takes in the ledger's next line. A task whose picture was drawn over by
// another since is not finished any more.
func (t tasks) add(line record.Line, at, size int64) error {
	task, err := taskOf(line)
	if err != nil {
		return err
	}
	done := finished{place{t.file, at, size}, line}
	for _, name := range done.pictures() {
		if before, ok := t.drew[name]; ok {
			delete(t.byKey, before)
		}
		t.drew[name] = task
	}
	t.byKey[task] = done
	return nil
}

func taskOf(line record.Line) (string, error) {
	b := line.Batch()
	if b == nil {
		return "", errors.New("it holds results that no batch wrote: move it away, so that they are not lost")
	}
	return b.Task, nil
}

// find returns the task, if it and its pictures are there.
func (t tasks) find(folder, task string) (finished, bool) {
	done, ok := t.byKey[task]
	if !ok {
		return finished{}, false
	}
	for _, name := range done.pictures() {
		at, err := os.Stat(filepath.Join(folder, name))
		ok = ok && err == nil && at.Mode().IsRegular()
	}
	return done, ok
}

// read reads a ledger of that size. It returns where the last whole line ends,
// and whether only its line break is missing.
func (t tasks) read(f *os.File, size int64) (end int64, unbroken bool, err error) {
	broken := func(err error) error {
		return &fs.PathError{Op: "read", Path: f.Name(), Err: err}
	}
	end, err = lastBreak(f, size)
	if err != nil {
		return 0, false, err
	}
	var lineErr *record.LineError
	switch err := record.ReadBrief(io.NewSectionReader(f, 0, end), t.add); {
	case errors.As(err, &lineErr):
		return 0, false, broken(fmt.Errorf("%w; take that line out, and its photo is measured again, or move the file away to measure all", err))
	case err != nil:
		return 0, false, broken(err)
	case end == size:
		return end, false, nil
	}
	tail := func(line record.Line, at, size int64) error { return t.add(line, end+at, size) }
	switch err := record.ReadBrief(io.NewSectionReader(f, end, size-end), tail); {
	case errors.As(err, &lineErr) && cutShort(f, end):
		return end, false, nil
	case err != nil:
		return 0, false, broken(err)
	}
	return size, true, nil
}

// cutShort says whether what stands from end on began as a line of ours, or
// never reached the disk before the power failed and reads as zeros.
func cutShort(f io.ReaderAt, end int64) bool {
	const start = `{"kind":"`
	head := make([]byte, len(start))
	n, _ := f.ReadAt(head, end) // too few is what is looked for
	return bytes.HasPrefix([]byte(start), head[:n]) || head[0] == 0
}

// lastBreak returns the offset after the last line break, 0 if there is none.
func lastBreak(f io.ReaderAt, size int64) (int64, error) {
	piece := make([]byte, 64<<10)
	for end := size; end > 0; {
		start := max(end-int64(len(piece)), 0)
		n, err := f.ReadAt(piece[:end-start], start)
		if err != nil && err != io.EOF { //nolint:errorlint // ReadAt returns it bare
			return 0, err
		}
		if i := bytes.LastIndexByte(piece[:n], '\n'); i >= 0 {
			return start + int64(i) + 1, nil
		}
		end = start
	}
	return 0, nil
}

// ledger is a file of finished tasks to which a run adds.
type ledger struct {
	f     *os.File
	tasks tasks // as the run found them

	mu      sync.Mutex
	size    int64
	added   bool
	waiting bool // for the disk
	syncErr error
}

// openLedger opens and locks the ledger, making it if there is none, and takes
// off a last line that was cut short.
func openLedger(path string) (_ *ledger, err error) {
	f, err := lock(path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			f.Close() //nolint:errcheck // the first error counts
		}
	}()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	l := &ledger{f: f, tasks: newTasks(f)}
	end, unbroken, err := l.tasks.read(f, info.Size())
	if err != nil {
		return nil, err
	}
	if end < info.Size() {
		if err := f.Truncate(end); err != nil {
			return nil, err
		}
	}
	l.size = end
	if unbroken {
		if err := l.write([]byte("\n")); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// lock opens the file at path for this run alone.
func lock(path string) (*os.File, error) {
	for {
		if at, err := os.Lstat(path); err == nil && !at.Mode().IsRegular() {
			return nil, &fs.PathError{Op: "open", Path: path, Err: errors.New("not a plain file")}
		}
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o644)
		if err != nil {
			return nil, err
		}
		switch err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); {
		case errors.Is(err, syscall.EWOULDBLOCK):
			f.Close() //nolint:errcheck // nothing was written
			return nil, &fs.PathError{Op: "lock", Path: path, Err: ErrBusy}
		case errors.Is(err, syscall.ENOSYS), errors.Is(err, syscall.EOPNOTSUPP):
			return f, nil // no locks on this file system
		case err != nil:
			f.Close() //nolint:errcheck // nothing was written
			return nil, &fs.PathError{Op: "lock", Path: path, Err: err}
		}
		if isAt(f, path) {
			return f, nil
		}
		f.Close() //nolint:errcheck // another run put a new file in its place just now
	}
}

// isAt says whether the open file is the one at path.
func isAt(f *os.File, path string) bool {
	open, err1 := f.Stat()
	at, err2 := os.Stat(path)
	return err1 == nil && err2 == nil && os.SameFile(open, at)
}

// add writes a finished task's line, unless the ledger has the very same, and
// returns where it stands. If it cannot be written whole, the file is left as
// it was.
func (l *ledger) add(task string, line []byte) (place, error) {
	if had, ok := l.tasks.byKey[task]; ok && had.size == int64(len(line)) {
		switch text, err := had.text(nil); {
		case err != nil:
			return place{}, err
		case bytes.Equal(text, line):
			return had.place, nil
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.syncErr != nil {
		return place{}, l.syncErr
	}
	at := place{l.f, l.size, int64(len(line))}
	if err := l.write(append(bytes.Clone(line), '\n')); err != nil {
		return place{}, err
	}
	l.added = true
	if !l.waiting {
		l.waiting = true
		time.AfterFunc(syncEvery, func() {
			l.mu.Lock()
			l.waiting = false
			l.mu.Unlock()
			if err := l.f.Sync(); err != nil && !errors.Is(err, os.ErrClosed) {
				l.mu.Lock()
				l.syncErr = err
				l.mu.Unlock()
			}
		})
	}
	return at, nil
}

func (l *ledger) write(data []byte) error {
	if _, err := l.f.Write(data); err != nil {
		l.f.Truncate(l.size) //nolint:errcheck // if it fails too, the next run drops the half line
		return err
	}
	l.size += int64(len(data))
	return nil
}

// flush waits until the disk has every line.
func (l *ledger) flush() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.added && l.syncErr == nil {
		l.syncErr = l.f.Sync()
	}
	return l.syncErr
}

// close gives up the lock. A ledger in which nothing was ever finished goes.
func (l *ledger) close() error {
	if l.size == 0 && isAt(l.f, l.f.Name()) {
		if info, err := l.f.Stat(); err == nil && info.Size() == 0 {
			os.Remove(l.f.Name()) //nolint:errcheck // an empty ledger does no harm
		}
	}
	return l.f.Close()
}
