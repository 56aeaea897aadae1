package record

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"unicode"

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
	return placedLines(r, func(n int, _ int64, text []byte) error { return each(n, text) })
}

// placedLines is readLines with the place in r where each text begins.
func placedLines(r io.Reader, each func(n int, at int64, text []byte) error) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, lineBuffer), longestLine)
	n := 0
	var begin, end int64 // of the line with its break
	lines.Split(func(data []byte, atEOF bool) (int, []byte, error) {
		advance, token, err := bufio.ScanLines(data, atEOF)
		begin, end = end, end+int64(advance)
		return advance, token, err
	})
	for lines.Scan() {
		n++
		line := bytes.TrimLeftFunc(lines.Bytes(), unicode.IsSpace)
		at := begin + int64(len(lines.Bytes())-len(line))
		text := bytes.TrimSpace(line)
		if len(text) == 0 {
			continue
		}
		if err := each(n, at, text); err != nil {
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

// ReadBrief is Read for a batch, which goes through all its lines at every
// start and keeps what it learns from each: it hands over a photo's line with
// no more than its kind, photo and refusal, the figures that a chain's are made
// of, and of its batch the task, levels and pictures. That is read as Decode
// does; the rest has to be JSON. The text of the line begins at at in r and is
// size long.
func ReadBrief(r io.Reader, each func(line Line, at, size int64) error) error {
	return placedLines(r, func(n int, at int64, text []byte) error {
		line, err := decodeBrief(text)
		if err != nil {
			return &LineError{n, err}
		}
		return each(line, at, int64(len(text)))
	})
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
	if err := whole(r.Photo.Path, r.Refused, r.Scale != nil && len(r.Results) > 0); err != nil {
		return nil, err
	}
	if r.Batch != nil {
		r.Meaning = Say("%s", r.Batch.Meaning)
		r.Results.addBudgets(r.Batch.Budgets)
		r.Growth.addBudgets(r.Batch.Budgets)
	}
	return r, nil
}

// whole says what a photo's line lacks.
func whole(photo string, refused *check.Refusal, figures bool) error {
	switch {
	case photo == "":
		return errors.New("a result without its photo")
	case refused != nil && refused.Code == "":
		return errors.New("a refusal without a code")
	case refused == nil && !figures:
		return errors.New("a result without figures")
	}
	return nil
}

// ofChains are the figures of photos that those of a chain are made of.
var ofChains = []string{"play", "joint_growth", "elongation", "chain_elongation"}

func decodeBrief(text []byte) (Line, error) {
	var in struct {
		Kind    Kind           `json:"kind"`
		Photo   string         `json:"photo"`
		Scale   *struct{}      `json:"scale"`
		Results Figures        `json:"results"`
		Growth  Figures        `json:"growth"`
		Refused *check.Refusal `json:"refused"`
		Batch   *struct {
			Task     string                     `json:"task"`
			Levels   Levels                     `json:"levels"`
			Pictures []string                   `json:"pictures"`
			Budgets  map[string]json.RawMessage `json:"budgets"`
		} `json:"batch"`
	}
	if err := json.Unmarshal(text, &in); err != nil {
		return Line{}, err
	}
	switch in.Kind {
	case Joint, Ruler, Span, Play:
	default:
		return Decode(text) // a chain's line, of which there are few, or one not known
	}
	if err := whole(in.Photo, in.Refused, in.Scale != nil && len(in.Results) > 0); err != nil {
		return Line{}, err
	}
	r := &Record{
		Kind: in.Kind, Photo: Photo{Path: in.Photo}, Refused: in.Refused,
		Results: in.Results.only(ofChains), Growth: in.Growth.only(ofChains),
	}
	if b := in.Batch; b != nil {
		r.Batch = &Batch{Task: b.Task, Levels: b.Levels, Pictures: b.Pictures}
		budgets := map[string][]Part{}
		for _, f := range slices.Concat(r.Results, r.Growth) {
			if budget, ok := b.Budgets[f.Name]; ok {
				var parts []Part
				if err := json.Unmarshal(budget, &parts); err != nil {
					return Line{}, fmt.Errorf("budget of %s: %w", f.Name, err)
				}
				budgets[f.Name] = parts
			}
		}
		r.Results.addBudgets(budgets)
		r.Growth.addBudgets(budgets)
	}
	return Line{Record: r}, nil
}

// only returns those of the figures that are named.
func (f Figures) only(names []string) Figures {
	var out Figures
	for _, figure := range f {
		if slices.Contains(names, figure.Name) {
			out = append(out, figure)
		}
	}
	return out
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
