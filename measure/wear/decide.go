package wear

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/measure/uncert"
)

// Verdict is the answer to whether a growth is past its limit.
type Verdict string

// The verdicts.
const (
	Past     Verdict = "past the limit"
	Within   Verdict = "within the limit"
	TooClose Verdict = "too close to call"
)

// Decision is a growth held against its limit.
type Decision struct {
	Verdict Verdict
	Limit   Limit
	// PastLeast and PastMost are the probabilities that the true growth lies
	// past the limit, for the two ends of the growth; equal when it is one
	// figure.
	PastLeast, PastMost float64
	// MoreJoints is how many further joints of the chain would settle a
	// decision too close to call, if they are like those measured; 0 where
	// it cannot be said or no number would do.
	MoreJoints int
	// Settles says in words what would settle it, "" when it is settled.
	Settles string
}

// JointsDiffer names the part of the uncertainty of a mean joint that more
// joints make smaller.
const JointsDiffer = "joints differ"

// mostJoints is where the search for further joints gives up; chains of more
// joints than that are not measured one by one.
const mostJoints = 500

// Decide holds a growth against a limit in the same unit, by its 95 % interval
// and not by its value (guarded acceptance and guarded rejection of JCGM
// 106:2012, 8.3.2 and 8.3.3, with a guard band of the half width of the
// interval): past the limit when the whole interval is above it, within when
// the whole interval is at or below it. Of a growth with two ends both must
// say so. joints is the number of joints whose mean the growth is, 0 if it
// comes from elsewhere.
func Decide(g Growth, limit Limit, joints int) (Decision, error) {
	if err := positive("limit", limit.Value); err != nil {
		return Decision{}, err
	}
	if err := atLeast("number of joints", joints, 0); err != nil {
		return Decision{}, err
	}
	for _, q := range []uncert.Quantity{g.Least, g.Most} {
		if err := usable("growth", q, limit.Unit); err != nil {
			return Decision{}, err
		}
	}
	d := Decision{
		Verdict:   verdict(g.Least, g.Most, limit.Value),
		Limit:     limit,
		PastLeast: 1 - Conformance(g.Least, limit.Value),
		PastMost:  1 - Conformance(g.Most, limit.Value),
	}
	if d.Verdict == TooClose {
		d.MoreJoints, d.Settles = settle(g, limit, joints)
	}
	return d, nil
}

func verdict(least, most uncert.Quantity, limit float64) Verdict {
	switch {
	case least.Lower > limit:
		return Past
	case most.Upper <= limit:
		return Within
	}
	return TooClose
}

// Conformance returns the probability that the true value is at or below an
// upper limit (JCGM 106:2012, 7.3),
//
//	F((limit - value)/u),
//
// with F the normal distribution, or Student's for a figure with few degrees
// of freedom.
func Conformance(q uncert.Quantity, limit float64) float64 {
	z := limit - q.Value
	switch {
	case q.U > 0 && q.DF > 0:
		return distuv.StudentsT{Sigma: 1, Nu: q.DF}.CDF(z / q.U)
	case q.U > 0:
		return distuv.UnitNormal.CDF(z / q.U)
	case z >= 0:
		return 1
	}
	return 0
}

// settle looks for what would settle a decision too close to call.
func settle(g Growth, limit Limit, joints int) (more int, how string) {
	if !g.Known() && g.Least.Value < limit.Value && limit.Value < g.Most.Value {
		return 0, "the two ends lie on either side of the limit: " + g.Open
	}
	if joints == 0 {
		return 0, "a figure with less uncertainty, or the growth of single joints"
	}
	if !shrinks(g.Least) || !shrinks(g.Most) {
		return 0, "at least one more joint, which shows how far the joints differ"
	}
	for n := joints + 1; n <= mostJoints; n++ {
		if verdict(withJoints(g.Least, joints, n), withJoints(g.Most, joints, n), limit.Value) != TooClose {
			more = n - joints
			return more, fmt.Sprintf("%d more %s like these", more, plural(more, "joint", "joints"))
		}
	}
	largest := without(g.Most.Budget, JointsDiffer).Largest()
	if len(largest) == 0 {
		return 0, "no number of joints: the growth is at the limit"
	}
	return 0, "no number of joints; the largest other part of the uncertainty is: " + largest[0].Name
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func shrinks(q uncert.Quantity) bool {
	return slices.ContainsFunc(q.Budget, func(t uncert.Term) bool { return t.Name == JointsDiffer })
}

// withJoints is the figure as it would be with another number of joints of the
// same mean and scatter.
func withJoints(q uncert.Quantity, have, want int) uncert.Quantity {
	budget := slices.Clone(q.Budget)
	for i, t := range budget {
		if t.Name != JointsDiffer {
			continue
		}
		budget[i].U *= math.Sqrt(float64(have) / float64(want))
		if t.DF > 0 {
			budget[i].DF = float64(want - 1)
		}
	}
	return uncert.Combine(q.Value, q.Unit, budget)
}

func without(b uncert.Budget, name string) uncert.Budget {
	return slices.DeleteFunc(slices.Clone(b), func(t uncert.Term) bool { return t.Name == name })
}
