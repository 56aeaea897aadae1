package cli

import (
	"errors"
	"io/fs"

	"pinlash/cmd/pinlash/internal/record"
)

// writeData reads the results once more and writes those that were compared.
func (o *compareCommand) writeData(basis record.Basis, compared func(m *record.Measured) bool) (err error) {
	f, err := record.NewDataFile(o.out, basis)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	sources, err := readMeasured(o.results, func(m *record.Measured) error {
		if m.Refused || !o.wanted(m.Kind) || !compared(m) {
			return nil
		}
		q, ok, err := m.Figure(basis.Figure)
		if err != nil || !ok {
			return err
		}
		return f.Add(m, basis.Figure, q)
	})
	if err != nil {
		return err
	}
	for i, s := range sources {
		if s.SHA256 != basis.Sources[i].SHA256 {
			return &fs.PathError{Op: "read", Path: s.Path, Err: errors.New("it changed while it was being compared")}
		}
	}
	return f.Commit()
}
