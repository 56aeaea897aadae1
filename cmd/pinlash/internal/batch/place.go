package batch

import (
	"errors"
	"io"
	"iter"
	"os"
	"slices"
)

// place is where a line stands in a ledger, whose lines stay where they are for
// as long as a run or a join is at work. So however many lines there are, none
// has to be kept in memory.
type place struct {
	file     io.ReaderAt
	at, size int64
}

// text returns the line without its break, in buf if that is large enough.
func (p place) text(buf []byte) ([]byte, error) {
	text := slices.Grow(buf[:0], int(p.size)+1)[:p.size] // the break may be wanted again
	if n, err := p.file.ReadAt(text, p.at); n < len(text) {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF // somebody cut the file
		}
		return nil, err
	}
	return text, nil
}

// texts goes through the lines in their places and then the further ones. Each
// holds until the next.
func texts(done []*finished, further [][]byte) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		var buf []byte
		for _, d := range done {
			text, err := d.text(buf)
			if !yield(text, err) {
				return
			}
			buf = text
		}
		for _, text := range further {
			if !yield(slices.Clip(text), nil) {
				return
			}
		}
	}
}

// shut is a file that is opened for each piece that is read from it: there may
// be more of them than can be open at once.
type shut string

func (s shut) ReadAt(piece []byte, at int64) (int, error) {
	f, err := os.Open(string(s))
	if err != nil {
		return 0, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	return f.ReadAt(piece, at)
}
