package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"pinlash/measure/check"
)

// digits is a number that JSON shows with nine significant digits, beyond
// which no photo tells anything.
type digits float64

// rounded returns v to one part in that many of its unit.
func rounded(v, parts float64) *digits {
	d := digits(math.Round(v*parts) / parts)
	return &d
}

// MarshalJSON writes the shortest form of the rounded number.
func (d digits) MarshalJSON() ([]byte, error) {
	v := float64(d)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil, errors.New("record: number is not finite")
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 8, 64), 64)
	if err != nil {
		return nil, err
	}
	return json.Marshal(rounded)
}

type measuredJSON struct {
	Kind      Kind         `json:"kind"`
	Photo     string       `json:"photo"`
	SHA256    string       `json:"sha256"`
	Version   string       `json:"pinlash"`
	Photos    []StatePhoto `json:"photos,omitempty"`
	Scale     *Scale       `json:"scale,omitempty"`
	Results   Figures      `json:"results"`
	Distinct  *bool        `json:"distinct_from_zero,omitempty"`
	Clip      *Clip        `json:"clip,omitempty"`
	Reference string       `json:"reference,omitempty"`
	Pitches   []Pitch      `json:"pitches,omitempty"`
	Growth    Figures      `json:"growth,omitempty"`
	Readings  []Reading    `json:"readings,omitempty"`
	Profile   []WearBin    `json:"profile,omitempty"`
	Checks    []checkJSON  `json:"checks"`
	Notes     []string     `json:"notes"`
	Batch     *Batch       `json:"batch,omitempty"`
}

type checkJSON struct {
	Name  string `json:"name"`
	Value digits `json:"value"`
	Limit digits `json:"limit"`
	OK    bool   `json:"ok"`
}

type refusedJSON struct {
	Kind    Kind           `json:"kind"`
	Photo   string         `json:"photo"`
	Refused *check.Refusal `json:"refused"`
	Batch   *Batch         `json:"batch,omitempty"`
}

// MarshalJSON writes the record without line breaks.
func (r Record) MarshalJSON() ([]byte, error) {
	if r.Refused != nil {
		return marshal(refusedJSON{r.Kind, r.Photo.Path, r.Refused, r.Batch})
	}
	out := measuredJSON{
		Kind: r.Kind, Photo: r.Photo.Path, SHA256: r.Photo.SHA256, Version: r.Version,
		Scale: r.Scale, Results: r.Results, Growth: r.Growth, Profile: r.Profile,
		Photos: r.Photos, Distinct: r.Distinct, Clip: r.Clip,
		Reference: r.Reference, Pitches: r.Pitches, Readings: r.Readings,
		Checks: checksJSON(r.Checks), Notes: r.Notes, Batch: r.Batch,
	}
	if r.Decision != "" {
		out.Notes = append([]string{r.Decision}, out.Notes...)
	}
	if out.Notes == nil {
		out.Notes = []string{}
	}
	return marshal(out)
}

func checksJSON(checks []check.Check) []checkJSON {
	out := make([]checkJSON, len(checks))
	for i, c := range checks {
		out[i] = checkJSON{c.Name, digits(c.Value), digits(c.Limit), c.OK}
	}
	return out
}

// marshal is json.Marshal without the escapes that only matter inside HTML, and
// with those that keep a file's name from acting on a terminal.
func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	line := bytes.TrimSuffix(b.Bytes(), []byte("\n"))
	var out []byte
	for _, r := range string(line) { // what is not printable stands inside a JSON string
		if unicode.IsPrint(r) {
			out = utf8.AppendRune(out, r)
			continue
		}
		for _, unit := range utf16.AppendRune(nil, r) {
			out = fmt.Appendf(out, `\u%04x`, unit)
		}
	}
	return out, nil
}

// WriteLine writes v as one line of JSON, in one call to w.
func WriteLine(w io.Writer, v any) error {
	line, err := marshal(v)
	if err != nil {
		return err
	}
	_, err = w.Write(append(line, '\n'))
	return err
}
