package cli

import (
	"io"
	"math"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
)

// printPlan works out from the spread of a comparison how large a study has to
// be.
func (o *compareCommand) printPlan(streams Streams, basis record.Basis, c compare.Comparison, notes []string) error {
	difference, err := o.plan.in(c.Unit)
	if err != nil {
		return err
	}
	if c.Model == nil {
		return usageErrorf("these results do not tell how chains and joints scatter: a plan needs several joints of each chain, several chains of each revision, and four chains more than there are revisions")
	}
	designs, err := compare.Plan(c.Model.Spread, difference, o.power)
	if err != nil {
		return &UsageError{err}
	}
	plan := record.NewPlan(basis, c.Unit, difference, o.power, c.Model.Spread, designs, notes)
	chains, joints := presentSize(c)
	smallest, err := c.Model.Spread.Smallest(chains, joints, o.power)
	if err != nil {
		return &UsageError{err}
	}
	plan.SetPresent(chains, joints, smallest)
	return o.print(streams, plan, func(w io.Writer, style record.Style) error { return record.WritePlan(w, plan, style) })
}

// presentSize is the size of a study of two revisions that is as large as a
// comparison with a model, which has a revision of several chains: the fewest
// chains of a revision, and the joints of a chain on average.
func presentSize(c compare.Comparison) (chains, joints int) {
	chains, all := math.MaxInt, 0
	for _, r := range c.Revisions {
		if r.Chains > 1 {
			chains = min(chains, r.Chains)
			joints += r.Joints
			all += r.Chains
		}
	}
	return chains, max(1, joints/all)
}
