package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"sort"
	"strings"
	"unicode"

	"github.com/pelletier/go-toml/v2"
)

// typedFileError is a file of readings that cannot be read. Path is empty for
// standard input.
type typedFileError struct {
	Path string
	Err  error
}

func (e *typedFileError) Error() string {
	if e.Path == "" {
		return "standard input: " + e.Err.Error()
	}
	return e.Path + ": " + e.Err.Error()
}

func (e *typedFileError) Unwrap() error { return e.Err }

// mostTypedBytes is far more than anybody types.
const mostTypedBytes = 64 << 10

// readTyped reads a file of readings, "-" being standard input.
func readTyped(path string, stdin io.Reader) (typed, error) {
	if path == "-" {
		t, err := decodeTyped(stdin)
		if err != nil {
			err = &typedFileError{Err: err}
		}
		return t, err
	}
	f, err := os.Open(path)
	if err != nil {
		return typed{}, err
	}
	defer f.Close()
	t, err := decodeTyped(f)
	if err != nil {
		err = &typedFileError{Path: path, Err: err}
	}
	return t, err
}

// decodeTyped reads TOML and refuses every key that it does not know. Its
// errors name the line.
func decodeTyped(r io.Reader) (typed, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostTypedBytes+1))
	if err != nil {
		return typed{}, err
	}
	if len(text) > mostTypedBytes {
		return typed{}, fmt.Errorf("longer than %d bytes", mostTypedBytes)
	}
	t, err := decodeStrictly(text)
	if err != nil {
		return typed{}, errors.New(onTerminal(placed(text, err).Error()))
	}
	return t, nil
}

// onTerminal wipes out of a message whatever a file could do to a terminal
// with it.
func onTerminal(message string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, message)
}

func decodeStrictly(text []byte) (typed, error) {
	var t typed
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	return t, d.Decode(&t)
}

// placed puts the line before an error of the decoder.
func placed(text []byte, err error) error {
	var unknown *toml.StrictMissingError
	var broken *toml.DecodeError
	switch {
	case errors.As(err, &unknown) && len(unknown.Errors) > 0:
		lines := make([]string, len(unknown.Errors))
		for i := range unknown.Errors {
			line, _ := unknown.Errors[i].Position()
			lines[i] = fmt.Sprintf("line %d: unknown key %q", line, strings.Join(unknown.Errors[i].Key(), "."))
		}
		return errors.New(strings.Join(lines, "; "))
	case errors.As(err, &broken):
		line, column := broken.Position()
		return fmt.Errorf("line %d, column %d: %s", line, column, plainly(broken))
	}
	return fmt.Errorf("line %d: %w", lineOf(text), err)
}

// plainly says in words what the decoder says in Go's types.
func plainly(e *toml.DecodeError) string {
	message := strings.TrimPrefix(e.Error(), "toml: ")
	got, into, ok := strings.Cut(strings.TrimPrefix(message, "cannot decode TOML "), " into ")
	if !ok {
		return message
	}
	message = fmt.Sprintf("%q does not take this kind of value (%s)", strings.Join(e.Key(), "."), got)
	if strings.HasSuffix(into, "[]cli.typedLength") {
		message += "; it wants a list, like [136.9, 136.85]"
	}
	return message
}

// lineOf finds the line of an error to which the decoder gives no place, a
// number that our own types refuse: the last line of the shortest beginning of
// the text with that error.
func lineOf(text []byte) int {
	lines := bytes.SplitAfter(text, []byte("\n"))
	return 1 + sort.Search(len(lines)-1, func(i int) bool {
		_, err := decodeStrictly(bytes.Join(lines[:i+1], nil))
		var unknown *toml.StrictMissingError
		var broken *toml.DecodeError
		return err != nil && !errors.As(err, &unknown) && !errors.As(err, &broken)
	})
}
