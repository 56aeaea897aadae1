package jobcard

import (
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"pinlash/cmd/pinlash/internal/tomlfile"
)

// CardName is the name of a job card in its folder.
const CardName = "jobcard.toml"

// mostCardBytes is far more than anybody types.
const mostCardBytes = 1 << 20

// FileError is a job card that cannot be used. Message and Excerpt may hold
// whatever bytes the card holds.
type FileError struct {
	Path         string // like those of a Task
	Line, Column int    // from 1; 0 where there is none
	Message      string
	Excerpt      string // of the card about the place, a few lines; may be empty
}

// Error names the place and what is wrong there, without the excerpt.
func (e *FileError) Error() string {
	switch {
	case e.Line == 0:
		return e.Path + ": " + e.Message
	case e.Column == 0:
		return fmt.Sprintf("%s: line %d: %s", e.Path, e.Line, e.Message)
	}
	return fmt.Sprintf("%s: line %d, column %d: %s", e.Path, e.Line, e.Column, e.Message)
}

// card is a job card as it was typed.
type card struct {
	statement

	// These are for pinlash stretch, which knows their keys.
	Drive    map[string]any `toml:"drive"`
	Limit    map[string]any `toml:"limit"`
	Forecast map[string]any `toml:"forecast"`

	Joints []entry `toml:"joint"`
	Plays  []play  `toml:"play"`
	Spans  []entry `toml:"span"`
	Scales []kept  `toml:"scale_photo"`

	path   string
	items  []item
	stated []byte           // see Card.Drive
	lines  map[string][]int // on which the entries of each kind begin
}

// entry says of photos what they are.
type entry struct {
	statement
	Joint word      `toml:"joint"`
	Files []pattern `toml:"files"`
}

// play says which photos or clips show a joint that is rocked.
type play struct {
	statement
	Joint    word      `toml:"joint"`
	Together []pattern `toml:"together"`
	Apart    []pattern `toml:"apart"`
	Clip     pattern   `toml:"clip"`
	Moving   rectangle `toml:"moving"`
	Fixed    rectangle `toml:"fixed"`
}

// kept says which photos show a scale alone, and where it is kept.
type kept struct {
	statement
	Files []pattern `toml:"files"`
	Save  word      `toml:"save"`
}

// decode reads a card and refuses every key that it does not know. Its errors
// are of type *FileError, without a path.
func decode(text []byte) (card, error) {
	if len(text) > mostCardBytes {
		return card{}, &FileError{Message: fmt.Sprintf("longer than %d bytes", mostCardBytes)}
	}
	c, err := decodeStrictly(text)
	if err != nil {
		return card{}, placed(text, err)
	}
	c.stated, c.lines = outline(text)
	return c, nil
}

func decodeStrictly(text []byte) (card, error) {
	var c card
	if err := tomlfile.Decode(text, &c); err != nil {
		return c, err
	}
	var limit struct {
		Limit struct {
			Percent percent `toml:"percent"`
		} `toml:"limit"`
	}
	err := toml.Unmarshal(text, &limit)
	c.percent = limit.Limit.Percent
	return c, err
}

// placed says where the error of the decoder lies.
func placed(text []byte, err error) *FileError {
	if unknown := tomlfile.Unknown(err); len(unknown) > 0 {
		first := unknown[0]
		fault := &FileError{Message: fmt.Sprintf("unknown key %q", strings.Join(first.Key(), ".")), Excerpt: excerpt(first.String())}
		fault.Line, fault.Column = first.Position()
		for i, e := range unknown[1:] {
			if i == mostUnknown {
				fault.Message += fmt.Sprintf("; and %d more", len(unknown)-1-i)
				break
			}
			line, _ := e.Position()
			fault.Message += fmt.Sprintf("; line %d: unknown key %q", line, strings.Join(e.Key(), "."))
		}
		return fault
	}
	if broken := tomlfile.Broken(err); broken != nil {
		hints := map[string]string{"[]jobcard.pattern": `it wants a list, like ["a*.jpg"]`}
		fault := &FileError{Message: tomlfile.Plainly(broken, hints), Excerpt: excerpt(broken.String())}
		fault.Line, fault.Column = broken.Position()
		return fault
	}
	line := tomlfile.Line(text, func(text []byte) error {
		_, err := decodeStrictly(text)
		return err
	})
	return &FileError{Line: line, Message: strings.TrimPrefix(err.Error(), "toml: ")}
}

// Bounds of what is said of a card with a long list of errors or long lines.
const (
	mostUnknown = 5
	mostExcerpt = 1000
)

func excerpt(s string) string {
	if len(s) > mostExcerpt {
		return ""
	}
	return s
}
