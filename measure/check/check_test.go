package check

import (
	"errors"
	"fmt"
	"testing"
)

// Every code of the printed contract has a remedy.
func TestEveryCodeHasARemedy(t *testing.T) {
	for _, code := range []Code{
		NoScale, ScaleUnclear, ScalesDisagree, NotFound, Blurred, TooDark, Overexposed,
		TooFewEdges, Unreadable, TooLarge, NotAnImage, WrongScale,
	} {
		r := Refuse(code, "seen 3, limit 2")
		if r.Code != code || r.Message != "seen 3, limit 2" || r.Remedy == "" {
			t.Errorf("%s: %+v", code, r)
		}
		var found *Refusal
		if err := fmt.Errorf("photo: %w", error(r)); !errors.As(err, &found) || found != r || r.Error() != r.Message {
			t.Errorf("%s is not found in an error that wraps it", code)
		}
	}
	if len(remedies) != 12 {
		t.Errorf("%d remedies for 12 codes", len(remedies))
	}
}

func TestUnknownCode(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a code that is not in the table made a refusal")
		}
	}()
	Refuse("no_such_code", "")
}

func TestLimitsAreWithin(t *testing.T) {
	for _, tt := range []struct {
		c  Check
		ok bool
	}{
		{AtMost("focus", 4, 4), true},
		{AtMost("focus", 4.01, 4), false},
		{AtLeast("marks", 8, 8), true},
		{AtLeast("marks", 7, 8), false},
	} {
		if tt.c.OK != tt.ok {
			t.Errorf("%+v, want ok %v", tt.c, tt.ok)
		}
	}
}
