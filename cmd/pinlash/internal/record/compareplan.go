package record

import (
	"fmt"
	"io"
	"strconv"

	"pinlash/measure/compare"
)

// Plan says how many chains and joints a study of two revisions needs.
type Plan struct {
	Basis
	Unit       string       `json:"unit"`
	Difference digits       `json:"difference"` // to be found
	Power      digits       `json:"power"`
	Spread     PlanSpread   `json:"spread"`
	Designs    []PlanDesign `json:"designs"`
	// Present is a study of two revisions as large as the one at hand.
	Present *PresentStudy `json:"present,omitempty"`
	Notes   []string      `json:"notes"`
}

// PlanSpread has the standard deviations that the plan goes by. What is not
// told from the joints is zero.
type PlanSpread struct {
	Chain     digits `json:"chain"`
	Joint     digits `json:"joint"`
	Measuring digits `json:"measuring"`
}

// PlanDesign is a study of two revisions.
type PlanDesign struct {
	Chains int    `json:"chains"` // of each revision
	Joints int    `json:"joints"` // of each chain
	Power  digits `json:"power"`
}

// PresentStudy is the smallest difference that a study of that size finds.
type PresentStudy struct {
	Chains   int    `json:"chains"`
	Joints   int    `json:"joints"`
	Smallest digits `json:"smallest_difference"`
}

// NewPlan returns the printed form of a plan.
func NewPlan(b Basis, unit string, difference, power float64, s compare.Spread, designs []compare.Design, notes []string) Plan {
	p := Plan{
		Basis: b, Unit: unit, Difference: digits(difference), Power: digits(power),
		Spread: PlanSpread{digits(s.Chain), digits(s.Joint), digits(s.Measuring)}, Notes: notes,
	}
	for _, d := range designs {
		p.Designs = append(p.Designs, PlanDesign{d.Chains, d.Joints, digits(d.Power)})
	}
	return p
}

// SetPresent says what a study of the present size finds.
func (p *Plan) SetPresent(chains, joints int, smallest float64) {
	p.Present = &PresentStudy{chains, joints, digits(smallest)}
}

// MarshalJSON writes the plan without line breaks.
func (p Plan) MarshalJSON() ([]byte, error) {
	type fields Plan
	p.Notes = notNil(p.Notes)
	return marshal(struct {
		Kind string `json:"kind"`
		fields
	}{planKind, fields(p)})
}

// WritePlan writes the plan for people, in one call to w.
func WritePlan(w io.Writer, p Plan, style Style) error {
	t := &comparisonTable{style: style}
	unit := t.unit(p.Unit)
	difference := t.number(float64(p.Difference), p.Unit) + " " + unit
	t.title(p.Basis, fmt.Sprintf("for a chance of %.3g %% to find a difference of %s between two revisions", 100*float64(p.Power), difference))
	var rows [][]string
	for _, d := range p.Designs {
		rows = append(rows, []string{
			strconv.Itoa(d.Chains), strconv.Itoa(d.Joints), strconv.Itoa(2 * d.Chains * d.Joints), fmt.Sprintf("%.1f %%", 100*float64(d.Power)),
		})
	}
	t.table([]string{"chains of each revision", "joints of each chain", "to measure in all", "chance to find it"}, "rrrr", rows)
	t.say("Each line is one way to do it; more joints than in the last save no more chains.")
	text := fmt.Sprintf("sd between chains %s, between joints %s", t.fixed(p.Spread.Chain, p.Unit), t.fixed(p.Spread.Joint, p.Unit))
	if p.Spread.Measuring > 0 {
		text += ", of measuring " + t.fixed(p.Spread.Measuring, p.Unit)
	} else {
		text += " with measuring in it"
	}
	t.say("It goes by the spread in these results: %s %s.", text, unit)
	if s := p.Present; s != nil {
		t.say("A study as large as this one, %s of each revision with %s each, finds %s and more with that chance.",
			counted(s.Chains, "chain"), counted(s.Joints, "joint"), t.fixed(s.Smallest, p.Unit)+" "+unit)
	}
	t.notes(p.Notes)
	_, err := w.Write(t.Bytes())
	return err
}
