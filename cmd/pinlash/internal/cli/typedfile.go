package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"pinlash/cmd/pinlash/internal/tomlfile"
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
	return t, tomlfile.Decode(text, &t)
}

// placed puts the line before an error of the decoder.
func placed(text []byte, err error) error {
	if unknown := tomlfile.Unknown(err); len(unknown) > 0 {
		lines := make([]string, len(unknown))
		for i := range unknown {
			line, _ := unknown[i].Position()
			lines[i] = fmt.Sprintf("line %d: unknown key %q", line, strings.Join(unknown[i].Key(), "."))
		}
		return errors.New(strings.Join(lines, "; "))
	}
	if broken := tomlfile.Broken(err); broken != nil {
		line, column := broken.Position()
		hints := map[string]string{"[]cli.typedLength": "it wants a list, like [136.9, 136.85]"}
		return fmt.Errorf("line %d, column %d: %s", line, column, tomlfile.Plainly(broken, hints))
	}
	line := tomlfile.Line(text, func(text []byte) error {
		_, err := decodeStrictly(text)
		return err
	})
	return fmt.Errorf("line %d: %w", line, err)
}
