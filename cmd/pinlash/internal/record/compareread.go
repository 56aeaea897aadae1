package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"pinlash/measure/uncert"
)

// Measured is what a comparison takes from one line of results.
type Measured struct {
	Kind    Kind
	Levels  Levels
	Refused bool

	line            int    // from 1
	last            place  // of the line before
	photo, sha256   []byte // as they are spelt
	results, growth []byte // objects of quantities
}

// place is what lines next to each other often share.
type place struct {
	kind   Kind
	levels Levels
}

func (m *Measured) place() place { return place{m.Kind, m.Levels} }

// ReadMeasured reads lines of results as Read does, but only as much of them
// as a comparison needs. A line may hold profiles and budgets of many
// kilobytes; they are passed over by their brackets, and what stands between
// these is not looked at. What is handed over holds until the next line.
func ReadMeasured(r io.Reader, each func(m *Measured) error) error {
	var m Measured // one for all lines
	return readLines(r, func(n int, text []byte) error {
		m = Measured{line: n, last: m.place()}
		if err := m.decode(text); err != nil {
			return &LineError{n, err}
		}
		return each(&m)
	})
}

func (m *Measured) decode(text []byte) error {
	end, err := members(text, 0, func(key []byte, at int) (int, error) {
		switch string(key) {
		case "kind":
			return decodeText(text, at, (*string)(&m.Kind), string(m.last.kind))
		case "photo":
			return keep(text, at, &m.photo)
		case "sha256":
			return keep(text, at, &m.sha256)
		case "refused":
			m.Refused = true
		case "results":
			return keep(text, at, &m.results)
		case "growth":
			return keep(text, at, &m.growth)
		case "batch":
			return members(text, at, func(key []byte, at int) (int, error) {
				if string(key) == "levels" {
					return decodeLevels(text, at, &m.Levels, m.last.levels)
				}
				return valueEnd(text, at)
			})
		}
		return valueEnd(text, at)
	})
	switch {
	case err != nil:
		return err
	case blank(text, end) < len(text):
		return errBroken
	case m.Kind == "":
		return errors.New("a result without its kind")
	}
	return nil
}

// Photo returns the photo's file, or the first of them.
func (m *Measured) Photo() string { return m.text(m.photo) }

// SHA256 returns the hash of that file.
func (m *Measured) SHA256() string { return m.text(m.sha256) }

// text reads a string that may be missing.
func (m *Measured) text(value []byte) string {
	var s string
	if value == nil {
		return ""
	}
	if _, err := decodeText(value, 0, &s, ""); err != nil {
		return "" // no text: nothing hangs on it
	}
	return s
}

// Figure returns the figure of that name without its degrees of freedom, which
// a line does not hold but by the width of the interval. Its errors are of type *LineError.
func (m *Measured) Figure(name string) (q uncert.Quantity, ok bool, err error) {
	for _, object := range [][]byte{m.results, m.growth} {
		if object == nil || ok {
			continue
		}
		_, err := members(object, 0, func(key []byte, at int) (int, error) {
			if ok || string(key) != name {
				return valueEnd(object, at)
			}
			ok = true
			return decodeFigure(object, at, &q)
		})
		if err != nil {
			return uncert.Quantity{}, false, &LineError{m.line, fmt.Errorf("%s: %w", name, err)}
		}
	}
	return q, ok, nil
}

// Names hands over the name of each figure, with errors like those of Figure.
func (m *Measured) Names(each func(name []byte)) error {
	for _, object := range [][]byte{m.results, m.growth} {
		if object == nil {
			continue
		}
		_, err := members(object, 0, func(key []byte, at int) (int, error) {
			each(key)
			return valueEnd(object, at)
		})
		if err != nil {
			return &LineError{m.line, err}
		}
	}
	return nil
}

func decodeLevels(b []byte, at int, l *Levels, last Levels) (end int, err error) {
	return members(b, at, func(key []byte, at int) (int, error) {
		switch string(key) {
		case "specimen":
			return decodeText(b, at, &l.Specimen, last.Specimen)
		case "revision":
			return decodeText(b, at, &l.Revision, last.Revision)
		case "chain":
			return decodeText(b, at, &l.Chain, last.Chain)
		case "inspection":
			return decodeText(b, at, &l.Inspection, last.Inspection)
		case "joint":
			return decodeText(b, at, &l.Joint, last.Joint)
		case "repeat":
			return decodeJSON(b, at, &l.Repeat)
		case "by":
			return decodeText(b, at, &l.By, last.By)
		case "distance_km":
			return decodeNumber(b, at, &l.DistanceKM)
		case "hours":
			return decodeNumber(b, at, &l.Hours)
		case "oil":
			return decodeText(b, at, &l.Oil, last.Oil)
		}
		return valueEnd(b, at)
	})
}

// decodeFigure reads a quantity as uncert does, but for working back its
// degrees of freedom, which takes longer than all the rest.
func decodeFigure(b []byte, at int, q *uncert.Quantity) (end int, err error) {
	found := 0
	end, err = members(b, at, func(key []byte, at int) (int, error) {
		found++
		switch string(key) {
		case "value":
			return decodeNumber(b, at, &q.Value)
		case "unit":
			return decodeText(b, at, &q.Unit, "mm")
		case "u":
			return decodeNumber(b, at, &q.U)
		case "lower":
			return decodeNumber(b, at, &q.Lower)
		case "upper":
			return decodeNumber(b, at, &q.Upper)
		}
		found--
		return valueEnd(b, at)
	})
	switch {
	case err != nil:
		return 0, err
	case found != 5 || q.Unit == "":
		return 0, errors.New("a quantity is value, unit, u, lower and upper")
	case q.U < 0:
		return 0, errors.New("an uncertainty below zero")
	case q.Lower > q.Upper:
		return 0, errors.New("an interval upside down")
	}
	return end, nil
}

// keep keeps the value that begins at at as it is spelt.
func keep(b []byte, at int, to *[]byte) (end int, err error) {
	end, err = valueEnd(b, at)
	if err == nil {
		*to = b[at:end]
	}
	return end, err
}

func decodeJSON(b []byte, at int, to any) (end int, err error) {
	end, err = valueEnd(b, at)
	if err != nil {
		return 0, err
	}
	return end, json.Unmarshal(b[at:end], to)
}

// decodeText reads a string; one that is as it is spelt goes fast, and one
// that is as likely thought takes no memory.
func decodeText(b []byte, at int, to *string, likely string) (end int, err error) {
	end, err = valueEnd(b, at)
	if err != nil {
		return 0, err
	}
	value := b[at:end]
	if value[0] != '"' || bytes.IndexByte(value, '\\') >= 0 || !utf8.Valid(value) {
		return end, json.Unmarshal(value, to)
	}
	if value = value[1 : len(value)-1]; string(value) == likely {
		*to = likely
	} else {
		*to = string(value)
	}
	return end, nil
}

// decodeNumber reads a number as JSON spells it.
func decodeNumber(b []byte, at int, to *float64) (end int, err error) {
	end, err = valueEnd(b, at)
	if err != nil {
		return 0, err
	}
	value := b[at:end]
	for _, c := range value {
		if (c < '0' || c > '9') && c != '-' && c != '+' && c != '.' && c != 'e' && c != 'E' {
			return 0, fmt.Errorf("%q is no number", value)
		}
	}
	v, err := strconv.ParseFloat(string(value), 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number", value)
	}
	*to = v
	return end, nil
}

var errBroken = errors.New("not a JSON object")

// members hands over each key of the object that begins at i, without its
// quotes and as it is spelt, and where its value begins; each returns where
// the value ends.
func members(b []byte, i int, each func(key []byte, at int) (end int, err error)) (end int, err error) {
	i = blank(b, i)
	if i >= len(b) || b[i] != '{' {
		return 0, errBroken
	}
	i = blank(b, i+1)
	if i < len(b) && b[i] == '}' {
		return i + 1, nil
	}
	for {
		end, err := stringEnd(b, i)
		if err != nil {
			return 0, err
		}
		key := b[i+1 : end-1]
		if i = blank(b, end); i >= len(b) || b[i] != ':' {
			return 0, errBroken
		}
		if end, err = each(key, blank(b, i+1)); err != nil {
			return 0, err
		}
		if i = blank(b, end); i >= len(b) {
			return 0, errBroken
		}
		switch b[i] {
		case '}':
			return i + 1, nil
		case ',':
			i = blank(b, i+1)
		default:
			return 0, errBroken
		}
	}
}

// blank returns where the white space from i on ends.
func blank(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\t' || b[i] == '\n' || b[i] == '\r') {
		i++
	}
	return i
}

// inString, between and afterValue are the bytes to stop at within a string,
// between brackets, and behind a number or word.
var (
	inString   = [256]bool{'"': true, '\\': true}
	between    = [256]bool{'"': true, '{': true, '}': true, '[': true, ']': true}
	afterValue = [256]bool{',': true, ']': true, '}': true, ' ': true, '\t': true, '\r': true, '\n': true}
)

// stringEnd returns where the string that begins at i ends.
func stringEnd(b []byte, i int) (int, error) {
	if i >= len(b) || b[i] != '"' {
		return 0, errBroken
	}
	for i++; i < len(b); i++ {
		if !inString[b[i]] {
			continue
		}
		if b[i] == '"' {
			return i + 1, nil
		}
		i++
	}
	return 0, errBroken
}

// valueEnd returns where the value that begins at i ends.
func valueEnd(b []byte, i int) (int, error) {
	if i >= len(b) {
		return 0, errBroken
	}
	switch b[i] {
	case '"':
		return stringEnd(b, i)
	case '{', '[':
		return bracketsEnd(b, i)
	}
	for end := i; end < len(b); end++ {
		if afterValue[b[end]] {
			if end == i {
				break
			}
			return end, nil
		}
	}
	return 0, errBroken
}

func bracketsEnd(b []byte, i int) (int, error) {
	depth := 0
	for i < len(b) {
		if !between[b[i]] {
			i++
			continue
		}
		switch b[i] {
		case '"':
			end, err := stringEnd(b, i)
			if err != nil {
				return 0, err
			}
			i = end
			continue
		case '{', '[':
			depth++
		default:
			if depth--; depth == 0 {
				return i + 1, nil
			}
		}
		i++
	}
	return 0, errBroken
}
