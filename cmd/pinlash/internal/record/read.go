package record

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// longestLine bounds a line of results: a clip of many thousand frames stays
// far below it.
const longestLine = 16 << 20

// lineBuffer is how much of a file is read at a time, enough for most lines.
const lineBuffer = 64 << 10

// Line is one line of results: a photo's record, or what the elongation model
// made of a whole chain.
type Line struct {
	Record  *Record
	Stretch *Stretch
}

// Batch returns what a batch added to the line, nil if no batch wrote it.
func (l Line) Batch() *Batch {
	if l.Record != nil {
		return l.Record.Batch
	}
	return l.Stretch.Batch
}

// LineError is a line of results that cannot be read.
type LineError struct {
	Line int // from 1
	Err  error
}

func (e *LineError) Error() string { return fmt.Sprintf("line %d: %v", e.Line, e.Err) }
func (e *LineError) Unwrap() error { return e.Err }

// Read reads lines of results and hands over each with its text, which holds
// until the next. It ends at the first error, its own or of each; its own are
// of type *LineError unless reading itself fails. An empty line is skipped.
func Read(r io.Reader, each func(line Line, text []byte) error) error {
	return readLines(r, func(n int, text []byte) error {
		line, err := Decode(text)
		if err != nil {
			return &LineError{n, err}
		}
		return each(line, text)
	})
}

// readLines hands over the text of each line that is not empty, and its
// number.
func readLines(r io.Reader, each func(n int, text []byte) error) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, lineBuffer), longestLine)
	n := 0
	for lines.Scan() {
		n++
		text := bytes.TrimSpace(lines.Bytes())
		if len(text) == 0 {
			continue
		}
		if err := each(n, text); err != nil {
			return err
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return &LineError{n + 1, fmt.Errorf("longer than %d bytes", longestLine)}
	} else if err != nil {
		return err
	}
	return nil
}

// Decode reads one line as MarshalJSON wrote it. Fields that it does not know
// are passed over, so that a later pinlash may add some.
func Decode(text []byte) (Line, error) {
	var head struct {
		Kind Kind `json:"kind"`
	}
	if err := json.Unmarshal(text, &head); err != nil {
		return Line{}, err
	}
	switch head.Kind {
	case Joint, Ruler, Span, Play:
		r, err := decodeRecord(text)
		return Line{Record: r}, err
	case stretchKind:
		s, err := decodeStretch(text)
		return Line{Stretch: s}, err
	}
	return Line{}, fmt.Errorf("a result of kind %q is not known", head.Kind)
}

func decodeRecord(text []byte) (*Record, error) {
	var in struct {
		measuredJSON
		Refused *check.Refusal `json:"refused"`
	}
	if err := json.Unmarshal(text, &in); err != nil {
		return nil, err
	}
	r := &Record{
		Kind: in.Kind, Photo: Photo{in.Photo, in.SHA256}, Version: in.Version,
		Photos: in.Photos, Clip: in.Clip, Scale: in.Scale, Results: in.Results,
		Growth: in.Growth, Distinct: in.Distinct, Readings: in.Readings,
		Reference: in.Reference, Pitches: in.Pitches, Profile: in.Profile,
		Checks: readChecks(in.Checks), Notes: in.Notes, Refused: in.Refused, Batch: in.Batch,
	}
	switch {
	case r.Photo.Path == "":
		return nil, errors.New("a result without its photo")
	case r.Refused != nil && r.Refused.Code == "":
		return nil, errors.New("a refusal without a code")
	case r.Refused == nil && (r.Scale == nil || len(r.Results) == 0):
		return nil, errors.New("a result without figures")
	}
	if r.Batch != nil {
		r.Meaning = Say("%s", r.Batch.Meaning)
		r.Results.addBudgets(r.Batch.Budgets)
		r.Growth.addBudgets(r.Batch.Budgets)
	}
	return r, nil
}

func decodeStretch(text []byte) (*Stretch, error) {
	var in stretchJSON
	if err := json.Unmarshal(text, &in); err != nil {
		return nil, err
	}
	s := &Stretch{
		Version: in.Version, Source: in.Source, Chain: in.Chain, Span: in.Span,
		Results: in.Results, Growth: in.Growth, Readings: in.Readings, Drive: in.Drive,
		Limit: in.Limit, Decision: in.Decision, Forecast: in.Forecast, CrossCheck: in.CrossCheck,
		Running: in.Running, Maker: in.Maker,
		Checks: readChecks(in.Checks), Notes: in.Notes, Cautions: in.Cautions, Batch: in.Batch,
	}
	if s.Batch != nil {
		s.Results.addBudgets(s.Batch.Budgets)
		s.Growth.addBudgets(s.Batch.Budgets)
	}
	for _, c := range in.Cams {
		s.Cams = append(s.Cams, Cam{c.Name, c.Teeth, float64(c.PitchDiameter), float64(c.Strand), float64(c.ToothCam), float64(c.ToothCrank), c.Figures})
	}
	return s, nil
}

func readChecks(in []checkJSON) []check.Check {
	out := make([]check.Check, len(in))
	for i, c := range in {
		out[i] = check.Check{Name: c.Name, Value: float64(c.Value), Limit: float64(c.Limit), OK: c.OK}
	}
	return out
}

// addBudgets gives the figures the parts of their uncertainty again.
func (f Figures) addBudgets(budgets map[string][]Part) {
	for i := range f {
		for _, p := range budgets[f[i].Name] {
			f[i].Budget = append(f[i].Budget, uncert.Term{Name: p.Name, U: float64(p.U), DF: float64(p.DF)})
		}
	}
}

// UnmarshalJSON reads an object of quantities in its order.
func (f *Figures) UnmarshalJSON(data []byte) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	start, err := dec.Token()
	switch {
	case err != nil:
		return err
	case start == nil: // null
		return nil
	case start != json.Delim('{'):
		return errors.New("figures are no object")
	}
	for dec.More() {
		name, err := dec.Token()
		if err != nil {
			return err
		}
		var q uncert.Quantity
		if err := dec.Decode(&q); err != nil {
			return fmt.Errorf("%v: %w", name, err)
		}
		*f = append(*f, Figure{name.(string), q}) // a key of an object is always text
	}
	_, err = dec.Token()
	return err
}

// ReadAll reads all lines of results.
func ReadAll(r io.Reader) ([]Line, error) {
	var lines []Line
	err := Read(r, func(l Line, _ []byte) error {
		lines = append(lines, l)
		return nil
	})
	return lines, err
}
