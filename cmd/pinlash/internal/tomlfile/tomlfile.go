// Package tomlfile reads TOML that people write, and says what is wrong with it
// and where.
package tomlfile

import (
	"bytes"
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Decode reads TOML into a struct and refuses every key that it does not know.
// Its errors are the decoder's own, for [Unknown], [Broken] and [Line].
func Decode(text []byte, into any) error {
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	return d.Decode(into)
}

// Unknown returns the keys that an error of Decode refuses, nil if it is of
// another kind.
func Unknown(err error) []toml.DecodeError {
	var unknown *toml.StrictMissingError
	if !errors.As(err, &unknown) {
		return nil
	}
	return unknown.Errors
}

// Broken returns the error if the decoder gives it a place, else nil.
func Broken(err error) *toml.DecodeError {
	var broken *toml.DecodeError
	if !errors.As(err, &broken) {
		return nil
	}
	return broken
}

// Plainly says in words what the decoder says in Go's types. Hints tell, by
// the end of such a type, how it is written.
func Plainly(e *toml.DecodeError, hints map[string]string) string {
	message := strings.TrimPrefix(e.Error(), "toml: ")
	got, into, ok := strings.Cut(strings.TrimPrefix(message, "cannot decode TOML "), " into ")
	if !ok {
		return message
	}
	message = fmt.Sprintf("%q does not take this kind of value (%s)", strings.Join(e.Key(), "."), got)
	for end, hint := range hints {
		if strings.HasSuffix(into, end) {
			message += "; " + hint
		}
	}
	return message
}

// Line finds the line of an error to which the decoder gives no place, a value
// that a type of the caller's refuses: the last line of the shortest beginning
// of the text with that error. Decode is what gave the error for all of it.
func Line(text []byte, decode func(text []byte) error) int {
	lines := bytes.SplitAfter(text, []byte("\n"))
	return 1 + sort.Search(len(lines)-1, func(i int) bool {
		err := decode(bytes.Join(lines[:i+1], nil))
		return err != nil && Unknown(err) == nil && Broken(err) == nil
	})
}
