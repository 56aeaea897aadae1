package record

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
)

const comparedLine = `{"kind":"joint","photo":"a.jpg","profile":[{"angle_deg":1,"x":"}]\""}],"results":{"play":{"value":0.05,"unit":"mm","u":0.001,"lower":0.048,"upper":0.052}},"batch":{"levels":{"revision":"A","repeat":2}}}`

func TestReadMeasuredRefuses(t *testing.T) {
	for _, c := range []struct{ old, new, message string }{
		{`{"kind"`, `"kind"`, "not a JSON object"},
		{`{"kind":"joint",`, `{`, "without its kind"},
		{`"kind":"joint"`, `"kind":7`, "cannot unmarshal"},
		{`"repeat":2`, `"repeat":"b"`, "cannot unmarshal"},
		{`"repeat":2}}}`, `"repeat":2}}`, "not a JSON object"},
		{`"repeat":2}}}`, `"repeat":2}}} {}`, "not a JSON object"},
		{`"a.jpg"`, `"a.jpg`, "not a JSON object"},
		{`"value":0.05`, `"value":NaN`, "play: \"NaN\" is no number"},
		{`"value":0.05`, `"value":0x1`, "play: \"0x1\" is no number"},
		{`"value":0.05`, `"value":1e999`, "play: \"1e999\" is no number"},
		{`"value":0.05`, `"value":"5"`, "is no number"},
		{`"value":0.05,`, ``, "value, unit, u, lower and upper"},
		{`"unit":"mm"`, `"unit":""`, "value, unit, u, lower and upper"},
		{`"u":0.001`, `"u":-1`, "below zero"},
		{`"lower":0.048`, `"lower":0.06`, "upside down"},
	} {
		line := strings.Replace(comparedLine, c.old, c.new, 1)
		err := ReadMeasured(strings.NewReader(comparedLine+"\n\n"+line), func(m *Measured) error {
			_, _, err := m.Figure("play")
			return err
		})
		var at *LineError
		if !errors.As(err, &at) || at.Line != 3 || !strings.Contains(err.Error(), c.message) {
			t.Errorf("%s: %v, want %q at line 3", line, err, c.message)
		}
	}
}

// FuzzMembers: an object that is JSON is walked through to its end, with as
// many members as it has; anything else is an error or not, but no more.
func FuzzMembers(f *testing.F) {
	for _, seed := range []string{comparedLine, `{}`, ` { "a" : [ 1 , "\\" ] , "b" : null } `, `{"a":{"b":"\"}"}}`, `{"`, `{"a":`, `{"a":1,}`, `[]`, `{"a"}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		n := 0
		_, err := members(text, 0, func(_ []byte, at int) (int, error) {
			n++
			return valueEnd(text, at)
		})
		var object map[string]json.RawMessage
		if json.Unmarshal(text, &object) != nil || object == nil {
			return
		}
		if err != nil || n < len(object) {
			t.Errorf("%q: %d members, want %d, %v", text, n, len(object), err)
		}
	})
}

func TestChance(t *testing.T) {
	for p, want := range map[digits]string{0: "<0.001", 0.00099: "<0.001", 0.001: "0.001", 0.0504: "0.050", 1: "1.000"} {
		if got := chance(p); got != want {
			t.Errorf("%g: %s, want %s", float64(p), got, want)
		}
	}
}
