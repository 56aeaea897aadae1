package record

import (
	"testing"

	"pinlash/measure/uncert"
)

// TestUnits prints figures in both units; the inch is 25.4 mm (international
// yard and pound agreement, 1959).
func TestUnits(t *testing.T) {
	inch := Units{Inch: true}
	percent := uncert.Combine(0.366, "%", uncert.Budget{{U: 0.006}})
	for _, c := range []struct {
		figure   interface{ In(Units) string }
		mm, inch string
	}{
		{Length(25.4), "25.4 mm", "1 in"},
		{Length(9.525), "9.525 mm", "0.375 in"},
		{Length(0.396875), "0.396875 mm", "0.015625 in"}, // 1/64 in
		{Length(0.05), "0.05 mm", "0.0019685 in"},
		{Length(136.63), "136.63 mm", "5.37913 in"},
		{Say("%s", mm(0.1197, 0.0011)), "0.1197 mm", "0.004713 in"},
		{Say("%s", mm(3.48011, 0.0009)), "3.48011 mm", "0.137012 in"},
		{Say("%s", percent), "0.3660 %", "0.3660 %"},
		{Upper(mm(0, 0.001)), "0.0020 mm", "0.000077 in"},
		{Range{5.0701, 6.7602}, "5.07 to 6.76 mm", "0.1996 to 0.2661 in"},
		{Range{0.05, 0.1}, "0.0500 to 0.1000 mm", "0.001969 to 0.003937 in"},
		{Rounded{0.0059999, 4}, "6 um", "0.0002362 in"},
		{Rounded{10.2412, 3}, "10.2 mm", "0.403 in"},
		{
			&Scale{MMPerPx: 0.006, U: 0.000001, Source: "rule", DivisionMM: 0.1, Marks: 9},
			"0.0060000 mm/px (u 0.0000010) from the rule, 9 marks of 0.1 mm at 0.0 deg",
			"0.000236220 in/px (u 0.000000039) from the rule, 9 marks of 0.00393701 in at 0.0 deg",
		},
	} {
		if got := c.figure.In(Units{}); got != c.mm {
			t.Errorf("%v prints %q in mm, want %q", c.figure, got, c.mm)
		}
		if got := c.figure.In(inch); got != c.inch {
			t.Errorf("%v prints %q in inches, want %q", c.figure, got, c.inch)
		}
	}
}

// TestSentence: what is within a sentence follows its units at any depth, and
// text is never taken for a format.
func TestSentence(t *testing.T) {
	s := Say("chain %s", "100%d").Then(": %s", Say("%s of %d", Length(12.7), 3)).Then(", 95 %%.")
	if got, want := s.String(), "chain 100%d: 12.7 mm of 3, 95 %."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := s.In(Units{Inch: true}), "chain 100%d: 0.5 in of 3, 95 %."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := (Sentence{}).String(); got != "" {
		t.Errorf("no sentence prints %q", got)
	}
}
