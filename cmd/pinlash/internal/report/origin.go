package report

import (
	"slices"

	"pinlash/cmd/pinlash/internal/record"
)

// origin is where the page comes from: the files by content, and the
// versions that measured.
type origin struct {
	Source   string
	Versions []string
	Version  string // that made the page
	Files    []fileRow
	Lines    int
}

type fileRow struct{ Name, SHA256 string }

func (b *builder) origin() origin {
	o := origin{Source: record.SafeName(b.in.Source), Version: b.in.Version, Lines: len(b.in.Lines)}
	seen := map[fileRow]bool{}
	file := func(path, sum string) {
		row := fileRow{record.SafeName(path), sum}
		if !seen[row] {
			seen[row] = true
			o.Files = append(o.Files, row)
		}
	}
	version := func(v string) {
		if v != "" && !slices.Contains(o.Versions, v) {
			o.Versions = append(o.Versions, v)
		}
	}
	for _, line := range b.in.Lines {
		if line.Stretch != nil {
			version(line.Stretch.Version)
		}
		if batch := line.Batch(); batch != nil {
			for _, f := range batch.Files {
				file(f.Path, f.SHA256)
			}
			if len(batch.Files) > 0 {
				if line.Record != nil {
					version(line.Record.Version)
				}
				continue
			}
		}
		if r := line.Record; r != nil {
			version(r.Version)
			if len(r.Photos) == 0 {
				file(r.Photo.Path, r.Photo.SHA256)
			}
			for _, p := range r.Photos {
				file(p.Path, p.SHA256)
			}
		}
	}
	return o
}

// method is what the reader has to know to judge the figures.
type method struct {
	Inches                                        bool
	Joints, Plays, Spans, Cams, Decided, Forecast bool
}

func (b *builder) method() method {
	m := method{Inches: b.Inch}
	for _, p := range b.measured {
		switch p.record.Kind {
		case record.Joint:
			m.Joints = true
		case record.Play:
			m.Plays = true
		case record.Span:
			m.Spans = true
		case record.Ruler:
		}
	}
	for _, s := range b.stretch {
		m.Cams = m.Cams || len(s.Cams) > 0
		m.Decided = m.Decided || s.Decision != nil
		m.Forecast = m.Forecast || len(s.Forecast) > 0
	}
	return m
}

// benchCautions hold for everybody who opens a drive and takes joints apart.
var benchCautions = []string{
	"The figures advise. The maker's procedure and limit govern, and the decision is for someone licensed to take it.",
	"With the chain of an engine off, turn neither crank nor cam: in an interference engine valves can strike pistons.",
	"Cutting or grinding pins: wear eye protection. Hardened pins shatter, and a wheel may burst.",
	"Do not refit a link that was cut open or pulled on test. Pull with a light load only, about 1 % of the breaking load.",
	"Solvents and used oil: wear gloves, let air in, keep flames away, and let the parts dry before they are photographed.",
	"Do not look into a bright ring light through the optics.",
}

// cautions are those of the lines, the timing drives' among them, and those of
// the bench.
func (b *builder) cautions() []string {
	var all []string
	for _, s := range b.stretch {
		for _, caution := range s.Cautions {
			if text := sentence(caution); !slices.Contains(all, text) {
				all = append(all, text)
			}
		}
	}
	timing := len(all) > 0
	for i, caution := range benchCautions {
		if timing && i < 2 { // said by the lines in their own words
			continue
		}
		all = append(all, caution)
	}
	return all
}
