package batch

import (
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"

	"pinlash/cmd/pinlash/internal/record"
)

// conclude makes results.csv and results.jsonl of all works that are done. The
// ledger comes last: once its new file is there, a next run may begin.
func conclude(s *Summary, folder string, done []*finished, finish Finish) error {
	var further [][]byte
	if finish != nil {
		brief := make([]record.Line, len(done))
		for i, d := range done {
			brief[i] = d.line
		}
		var err error
		if further, err = finish(brief); err != nil {
			return err
		}
		for _, line := range further {
			if _, _, err := reread(line); err != nil {
				return err
			}
		}
	}
	lines := texts(done, further)
	results, table := filepath.Join(folder, Results), filepath.Join(folder, Table)
	s.Files = []string{results, table}
	same, err := holds(results, func(w io.Writer) error { return writeLines(w, lines) })
	if err != nil {
		return err
	}
	if same {
		// The table was written before them, so it is of the same lines.
		if at, err := os.Stat(table); err == nil && at.Mode().IsRegular() {
			return nil
		}
	}
	for _, file := range []struct {
		path  string
		write func(io.Writer) error
	}{
		{table, func(w io.Writer) error { return record.WriteCSV(w, decodedLines(lines)) }},
		{results, func(w io.Writer) error { return writeLines(w, lines) }},
	} {
		changed, err := replace(file.path, file.write)
		if err != nil {
			return err
		}
		s.Changed = s.Changed || changed
	}
	return nil
}

func writeLines(w io.Writer, lines iter.Seq2[[]byte, error]) error {
	for line, err := range lines {
		if err != nil {
			return err
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}

func decodedLines(lines iter.Seq2[[]byte, error]) iter.Seq2[record.Line, error] {
	return func(yield func(record.Line, error) bool) {
		n := 0
		for line, err := range lines {
			n++
			var decoded record.Line
			if err == nil {
				decoded, err = record.Decode(line)
			}
			if err != nil {
				err = fmt.Errorf("result %d: %w", n, err)
			}
			if !yield(decoded, err) {
				return
			}
		}
	}
}
