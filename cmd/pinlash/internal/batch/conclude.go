package batch

import (
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"

	"pinlash/cmd/pinlash/internal/record"
)

// conclude makes results.csv and results.jsonl of the lines of all works. The
// ledger comes last: once its new file is there, a next run may begin.
func conclude(s *Summary, folder string, lines [][]byte, finish Finish) error {
	if finish != nil {
		further, err := finish(lines)
		if err != nil {
			return err
		}
		for _, line := range further {
			if _, _, err := reread(line); err != nil {
				return err
			}
		}
		lines = slices.Concat(lines, further)
	}
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

func writeLines(w io.Writer, lines [][]byte) error {
	for _, line := range lines {
		if _, err := w.Write(append(slices.Clip(line), '\n')); err != nil {
			return err
		}
	}
	return nil
}

func decodedLines(lines [][]byte) iter.Seq2[record.Line, error] {
	return func(yield func(record.Line, error) bool) {
		for i, line := range lines {
			decoded, err := record.Decode(line)
			if err != nil {
				err = fmt.Errorf("result %d: %w", i+1, err)
			}
			if !yield(decoded, err) {
				return
			}
		}
	}
}
