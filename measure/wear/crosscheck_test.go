package wear_test

import (
	"fmt"
	"testing"

	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func TestCrossCheck(t *testing.T) {
	joint := func(v float64) wear.Growth { return wear.Figure(mm(v, 0.004, "edges")) }
	span := func(v float64) wear.Growth { return wear.Figure(mm(v, 0.003, "caliper")) }
	// u of the difference is 0.005: beyond 0.0098 they disagree.
	for _, r := range []struct {
		joints, spans wear.Growth
		want          wear.Agreement
	}{
		{joint(0.060), span(0.065), wear.Agree},
		{joint(0.060), span(0.0697), wear.Agree},
		{joint(0.060), span(0.0699), wear.SpansGrewMore},
		{joint(0.060), span(0.0501), wear.JointsWorn},
		// An unknown shape, 0.05 to 0.10, holds what lies between.
		{wear.Growth{Least: mm(0.05, 0.004, "edges"), Most: mm(0.10, 0.004, "edges"), Open: wear.OpenShape}, span(0.075), wear.Agree},
		{wear.Growth{Least: mm(0.05, 0.004, "edges"), Most: mm(0.10, 0.004, "edges"), Open: wear.OpenShape}, span(0.115), wear.SpansGrewMore},
		// So does an odd span with two readings.
		{joint(0.060), wear.Growth{Least: mm(0.05, 0.003, "caliper"), Most: mm(0.10, 0.003, "caliper"), Open: wear.OpenLinks}, wear.Agree},
		{joint(0.115), wear.Growth{Least: mm(0.05, 0.003, "caliper"), Most: mm(0.10, 0.003, "caliper"), Open: wear.OpenLinks}, wear.JointsWorn},
	} {
		c := must[wear.CrossCheck](t)(wear.CheckJointsAgainstSpans(r.joints, r.spans))
		if c.Agreement != r.want {
			t.Errorf("%g to %g against %g: %s, want %s", r.joints.Least.Value, r.joints.Most.Value, r.spans.Most.Value, c.Agreement, r.want)
		}
		if (len(c.Missing) == 0) != (r.want == wear.Agree) {
			t.Errorf("%s: missing %q", c.Agreement, c.Missing)
		}
	}
	if _, err := wear.CheckJointsAgainstSpans(wear.Figure(percent(1)), span(0.1)); err == nil {
		t.Error("percent against mm accepted")
	}
	// One scale in both cancels where both are the same.
	a := wear.Figure(mm(0.06, 0.01, "scale"))
	c := must[wear.CrossCheck](t)(wear.CheckJointsAgainstSpans(a, a, "scale"))
	near(t, "u of the difference", c.Difference.Most.U, 0, 0)
}

func ExampleCheckJointsAgainstSpans() {
	joints := wear.Figure(uncert.Combine(0.060, "mm", uncert.Budget{{Name: "edges", U: 0.003}}))
	spans := wear.Figure(uncert.Combine(0.085, "mm", uncert.Budget{{Name: "caliper", U: 0.004}}))
	c, err := wear.CheckJointsAgainstSpans(joints, spans)
	if err != nil {
		panic(err)
	}
	fmt.Println(c.Agreement)
	fmt.Println(c.Missing[0])
	// Output:
	// the spans have grown more than their joints explain
	// plates stretched, or their holes widened: measure the pitch of single inner and outer links
}
