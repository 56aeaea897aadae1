package wear_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// Limits of workshop manuals, makers withheld, that are no length of the chain
// (extracts C and E, seen): a chain laid round its wheel measures 97.4 mm
// across the rollers when new and at least 96.2 mm, which is the wear of the
// wheel; a chain that moves more than 3.175 mm when the cam bolt is turned to
// and fro with 41 Nm is to be renewed. The uncertainties are the caliper's and
// a rule's (0.5 mm divisions), the readings near the limits chosen by them.
func TestMakersReadings(t *testing.T) {
	caliper := func(v float64) uncert.Quantity { return must[uncert.Quantity](t)(wear.CaliperReading(v, 0.01, false)) }
	rule := func(v float64) uncert.Quantity { return mm(v, 0.5/math.Sqrt(12), "reading as stated") }
	across := wear.Limit{Name: "wheel across the rollers", Value: 96.2, Unit: "mm"}
	moves := wear.Limit{Name: "movement of the chain", Value: 3.175, Unit: "mm"}
	for _, r := range []struct {
		name    string
		reading uncert.Quantity
		limit   wear.Limit
		side    wear.Side
		want    wear.Verdict
	}{
		{"new wheel", caliper(97.4), across, wear.LowerLimit, wear.Within},
		{"worn wheel, just good", caliper(96.23), across, wear.LowerLimit, wear.Within},
		{"at its limit", caliper(96.2), across, wear.LowerLimit, wear.TooClose},
		{"worn wheel, just past", caliper(96.17), across, wear.LowerLimit, wear.Past},
		{"the other side would be past", caliper(97.4), across, wear.UpperLimit, wear.Past},
		{"tight", rule(2.5), moves, wear.UpperLimit, wear.Within},
		{"near", rule(3.3), moves, wear.UpperLimit, wear.TooClose},
		{"slack", rule(3.5), moves, wear.UpperLimit, wear.Past},
	} {
		d := must[wear.Decision](t)(wear.DecideReading(r.reading, r.limit, r.side))
		if d.Verdict != r.want || d.Limit != r.limit || (d.Settles == "") != (r.want != wear.TooClose) {
			t.Errorf("%s: %+v, want %s", r.name, d, r.want)
		}
	}
	d := must[wear.Decision](t)(wear.DecideReading(caliper(96.2), across, wear.LowerLimit))
	near(t, "probability at the limit", d.PastMost, 0.5, 1e-12)
	if !strings.Contains(d.Settles, wear.CaliperError) {
		t.Errorf("settled by %q, want the caliper named", d.Settles)
	}
	for name, err := range map[string]error{
		"other unit":   second(wear.DecideReading(percent(1), across, wear.LowerLimit)),
		"no limit":     second(wear.DecideReading(caliper(97.4), wear.Limit{Unit: "mm"}, wear.LowerLimit)),
		"not a number": second(wear.DecideReading(uncert.Quantity{Value: math.NaN(), Unit: "mm"}, across, wear.UpperLimit)),
	} {
		if err == nil {
			t.Errorf("%s accepted", name)
		}
	}
}

// Against an upper limit a reading is decided as a growth of that figure is,
// and what is past one side of a limit is within the other.
func TestDecideReadingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := percent(rapid.Float64Range(0, 4).Draw(t, "value"), uncert.Term{Name: "rule", U: rapid.Float64Range(1e-3, 1).Draw(t, "u"), DF: float64(rapid.IntRange(0, 30).Draw(t, "df"))})
		growth, err1 := wear.Decide(wear.Figure(q), limit(1.5), 0)
		upper, err2 := wear.DecideReading(q, limit(1.5), wear.UpperLimit)
		lower, err3 := wear.DecideReading(q, limit(1.5), wear.LowerLimit)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		if upper.Verdict != growth.Verdict || upper.PastMost != growth.PastMost {
			t.Fatalf("reading %+v, growth %+v", upper, growth)
		}
		if math.Abs(upper.PastMost+lower.PastMost-1) > 1e-12 {
			t.Fatalf("past with %g above and %g below", upper.PastMost, lower.PastMost)
		}
		other := map[wear.Verdict]wear.Verdict{wear.Past: wear.Within, wear.Within: wear.Past, wear.TooClose: wear.TooClose}
		if lower.Verdict != other[upper.Verdict] {
			t.Fatalf("%s above, %s below", upper.Verdict, lower.Verdict)
		}
	})
}
