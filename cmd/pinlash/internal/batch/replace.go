package batch

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// replace puts what write writes into the file at path, which appears whole or
// not at all. A file that has it already is left alone. Only whoever holds the
// ledger's lock may call it: the file beside has a fixed name, so that a kill
// leaves one at most.
func replace(path string, write func(io.Writer) error) (changed bool, err error) {
	if at, err := os.Lstat(path); err == nil && !at.Mode().IsRegular() {
		return false, &fs.PathError{Op: "write", Path: path, Err: errors.New("not a plain file")}
	}
	beside := filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".new")
	same, err := holds(path, write)
	if !same && err == nil {
		if err = writeSynced(beside, write); err == nil {
			err = os.Rename(beside, path)
		}
	}
	if same || err != nil {
		os.Remove(beside) //nolint:errcheck // it may not be there
		return false, err
	}
	// If this was the ledger, the next run may have begun: nothing more is written.
	return true, syncFolder(filepath.Dir(path))
}

func writeSynced(path string, write func(io.Writer) error) (err error) {
	os.Remove(path) //nolint:errcheck // it is there only after a kill; if it stays, the next step says so
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	b := bufio.NewWriterSize(f, 1<<20)
	if err := write(b); err != nil {
		return err
	}
	if err := b.Flush(); err != nil {
		return err
	}
	return f.Sync()
}

// syncFolder makes a renaming last.
func syncFolder(folder string) error {
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	return f.Sync()
}

// holds says whether the file at path has just what write writes.
func holds(path string, write func(io.Writer) error) (bool, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	} else if err != nil {
		return false, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	rest := bufio.NewReaderSize(f, 1<<20)
	switch err := write(&comparison{r: rest}); {
	case errors.Is(err, errDiffers):
		return false, nil
	case err != nil:
		return false, err
	}
	_, err = rest.ReadByte()
	return errors.Is(err, io.EOF), nil
}

var errDiffers = errors.New("the file has something else")

// comparison takes only what the reader has too.
type comparison struct {
	r    io.Reader
	have []byte
}

func (c *comparison) Write(p []byte) (int, error) {
	c.have = slices.Grow(c.have[:0], len(p))[:len(p)]
	if _, err := io.ReadFull(c.r, c.have); err != nil || !bytes.Equal(c.have, p) {
		return 0, errDiffers
	}
	return len(p), nil
}
