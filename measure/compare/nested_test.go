package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func noted(notes []string, part string) bool {
	for _, n := range notes {
		if strings.Contains(n, part) {
			return true
		}
	}
	return false
}

// spreadOut makes joints of chains of a revision.
func spreadOut(r *rand.Rand, revision string, chains, joints int, mean, chainSD, jointSD float64) []Joint {
	var out []Joint
	for c := range chains {
		of := mean + chainSD*r.NormFloat64()
		for range joints {
			out = append(out, Joint{Revision: revision, Chain: fmt.Sprintf("%s%03d", revision, c), Value: of + jointSD*r.NormFloat64()})
		}
	}
	return out
}

// One chain of each revision, however many joints, says nothing about the
// revisions; the chains are still told apart.
func TestOneChainARevision(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	joints := append(spreadOut(r, "A", 1, 200, 0.10, 0, 0.01), spreadOut(r, "B", 1, 200, 0.15, 0, 0.01)...)
	c := compared(t, study(t, joints...), 0)
	if len(c.Differences) != 0 || c.Model != nil {
		t.Errorf("a statement on revisions: %+v, %+v", c.Differences, c.Model)
	}
	for _, part := range []string{"one chain of revision A: no statement", "one chain of revision B: no statement", "no revision has two chains"} {
		if !noted(c.Notes, part) {
			t.Errorf("no note %q in %q", part, c.Notes)
		}
	}
	if len(c.Chains) != 2 || c.Chains[0].Interval == nil || c.Revisions[0].Interval != nil || c.Revisions[0].NextChain != nil {
		t.Errorf("chains %+v, revisions %+v", c.Chains, c.Revisions)
	}
	if c.ChainsApart == nil || c.ChainsApart.P > 1e-6 {
		t.Errorf("chains half a dozen standard deviations apart are not told apart: %+v", c.ChainsApart)
	}
}

// A revision with one chain beside others that have more.
func TestOneRevisionWithOneChain(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	joints := append(spreadOut(r, "A", 4, 10, 0.10, 0.01, 0.01), spreadOut(r, "B", 1, 10, 0.15, 0, 0.01)...)
	joints = append(joints, spreadOut(r, "C", 5, 10, 0.2, 0.01, 0.01)...)
	c := compared(t, study(t, joints...), 0)
	if len(c.Differences) != 1 || c.Differences[0].A != "A" || c.Differences[0].B != "C" || c.Correction != "" {
		t.Fatalf("differences %+v, correction %q", c.Differences, c.Correction)
	}
	if d := c.Differences[0]; d.Verdict != Differ || d.ByModel == nil || d.Value.Lower < 0 {
		t.Errorf("%+v", d)
	}
	if c.Model == nil || c.Model.Freedom != 7 {
		t.Errorf("model %+v", c.Model)
	}
}

func TestTooFewChainsForTheModel(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 3))
	joints := append(spreadOut(r, "A", 2, 10, 0.10, 0.01, 0.01), spreadOut(r, "B", 3, 10, 0.15, 0.01, 0.01)...)
	c := compared(t, study(t, joints...), 0)
	if c.Model != nil || !noted(c.Notes, "too few chains for the mixed model") || !noted(c.Notes, "two chains of revision A") {
		t.Errorf("model %+v, notes %q", c.Model, c.Notes)
	}
	if len(c.Differences) != 1 || c.Differences[0].ByModel != nil {
		t.Errorf("%+v", c.Differences)
	}
}

// What the sweep found of three chains against many is said.
func TestUnevenChainsAreSaid(t *testing.T) {
	for _, tt := range []struct {
		a, b int
		said bool
	}{{3, 10, true}, {10, 3, true}, {2, 5, true}, {3, 6, false}, {4, 10, false}} {
		r := rand.New(rand.NewPCG(1, 10))
		joints := append(spreadOut(r, "A", tt.a, 5, 0, 1, 1), spreadOut(r, "B", tt.b, 5, 0, 1, 1)...)
		if c := compared(t, study(t, joints...), 0); noted(c.Notes, "too narrow") != tt.said {
			t.Errorf("%+v: %q", tt, c.Notes)
		}
	}
}

// Many revisions get the correction that widens.
func TestManyRevisionsAreCorrected(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 4))
	a, b := spreadOut(r, "A", 5, 10, 0.10, 0.01, 0.01), spreadOut(r, "B", 5, 10, 0.11, 0.01, 0.01)
	two := compared(t, study(t, append(a, b...)...), 0.02)
	three := compared(t, study(t, append(append(a, b...), spreadOut(r, "C", 5, 10, 0.12, 0.01, 0.01)...)...), 0.02)
	if two.Correction != "" || three.Correction != "Games-Howell" || len(three.Differences) != 3 {
		t.Fatalf("%q, %q, %d differences", two.Correction, three.Correction, len(three.Differences))
	}
	p, q := two.Differences[0], three.Differences[0]
	if p.Value.Value != q.Value.Value || p.Value.U != q.Value.U || q.Value.Upper <= p.Value.Upper || q.P <= p.P ||
		q.Equivalence.P <= p.Equivalence.P || q.NoLargerThan <= p.NoLargerThan {
		t.Errorf("alone %+v, one of three %+v", p, q)
	}
}

// Equivalence is shown by many chains, not by few.
func TestEquivalence(t *testing.T) {
	for _, tt := range []struct {
		chains int
		apart  float64
		margin float64
		want   Verdict
	}{
		{30, 0, 0.02, Equivalent},
		{3, 0, 0.02, Undecided},
		{40, 0.1, 0.02, Differ},
		{200, 0.01, 0.02, DifferLittle},
		{30, 0, 0, Undecided},
	} {
		r := rand.New(rand.NewPCG(1, 5))
		joints := append(spreadOut(r, "A", tt.chains, 10, 0.10, 0.01, 0.02), spreadOut(r, "B", tt.chains, 10, 0.10+tt.apart, 0.01, 0.02)...)
		d := compared(t, study(t, joints...), tt.margin).Differences[0]
		if d.Verdict != tt.want {
			t.Errorf("%+v: %q, %+v", tt, d.Verdict, d)
		}
		if (d.Equivalence != nil) != (tt.margin > 0) {
			t.Errorf("%+v: equivalence %+v", tt, d.Equivalence)
		}
	}
}

// The textbook recipe: the difference is smaller than the margin at 5 % when
// its 90 % interval lies within the margins.
func TestEquivalenceIsTheNinetyPercentInterval(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	for range 200 {
		joints := append(spreadOut(r, "A", 4, 3, 0, 0.01, 0.01), spreadOut(r, "B", 5, 3, 0, 0.01, 0.01)...)
		d := compared(t, study(t, joints...), 0.015).Differences[0]
		lower, upper := d.Value.Interval(0.90)
		if inside := lower > -0.015 && upper < 0.015; inside != d.Equivalence.Holds {
			t.Fatalf("90 %% from %v to %v, but %+v", lower, upper, d.Equivalence)
		}
		if most := max(-lower, upper); math.Abs(most-d.NoLargerThan) > 1e-12 {
			t.Fatalf("90 %% from %v to %v, but no larger than %v", lower, upper, d.NoLargerThan)
		}
	}
}

// Variances known to the generator come back as shares; photos of one joint
// are not joints.
func TestPartsOfTheSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	const chainSD, jointSD, photoSD, apart = 0.03, 0.02, 0.01, 0.08
	make := func(repeats int, u float64) Comparison {
		s := NewStudy("mm", "km")
		for i, revision := range []string{"A", "B"} {
			for c := range 150 {
				chain := apart*float64(i) + chainSD*r.NormFloat64()
				for j := range 12 {
					joint := chain + jointSD*r.NormFloat64()
					for range repeats {
						if err := s.Add(Joint{revision, fmt.Sprint(c), "", fmt.Sprint(j), joint + photoSD*r.NormFloat64(), u, 0}); err != nil {
							t.Fatal(err)
						}
					}
				}
			}
		}
		return compared(t, s, 0)
	}
	for name, c := range map[string]Comparison{"repeats": make(3, 0), "stated": make(1, photoSD)} {
		// Between two revisions the variance is half the squared difference.
		want := map[string]float64{"revision": apart / math.Sqrt2, "chain": chainSD, "joint": jointSD, "measuring": photoSD}
		total := 0.0
		for _, p := range c.Model.Parts {
			// 298 chains give a standard deviation to 1/sqrt(2·298) = 4 %, 3300
			// joints to 1.2 %; three times that.
			within := 0.13
			if p.Name == "joint" || p.Name == "measuring" {
				within = 0.04
			}
			near(t, name+" "+p.Name, p.SD, want[p.Name], within, "generator")
			total += p.Share
		}
		if len(c.Model.Parts) != 4 || math.Abs(total-1) > 1e-12 {
			t.Errorf("%s: parts %+v", name, c.Model.Parts)
		}
		// n joints are worth (1 + ratio)/(1/n + ratio) independent ones.
		residual := jointSD*jointSD + photoSD*photoSD
		if name == "repeats" {
			residual = jointSD*jointSD + photoSD*photoSD/3
		}
		ratio := chainSD * chainSD / residual
		near(t, name+" joints' worth", c.Model.JointsWorth, (1+ratio)/(1.0/12+ratio), 0.15, "generator")
		if c.Chains[0].Joints != 12 {
			t.Errorf("%s: %d joints", name, c.Chains[0].Joints)
		}
	}
	none := make(1, 0)
	if parts := none.Model.Parts; len(parts) != 3 || parts[2].Name != "joint and measuring" {
		t.Errorf("nothing known of measuring, but parts %+v", parts)
	}
	much := make(1, 1)
	if parts := much.Model.Parts; parts[2].SD != 0 || !noted(much.Notes, "stated too large") {
		t.Errorf("measuring stated as larger than the scatter: parts %+v, notes %q", parts, much.Notes)
	}
}

func TestOutliersAreNamed(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 8))
	joints := spreadOut(r, "A", 8, 20, 0.10, 0.002, 0.01)
	joints = append(joints, spreadOut(r, "B", 8, 20, 0.10, 0.002, 0.01)...)
	if c := compared(t, study(t, joints...), 0); len(c.Outliers) != 0 {
		t.Errorf("none made, but %+v", c.Outliers)
	}
	joints = append(joints, Joint{Revision: "A", Chain: "A003", Joint: "17", Value: 0.2})
	for range 20 {
		joints = append(joints, Joint{Revision: "B", Chain: "odd", Value: 0.15 + 0.01*r.NormFloat64()})
	}
	c := compared(t, study(t, joints...), 0)
	if len(c.Outliers) != 2 {
		t.Fatalf("%+v", c.Outliers)
	}
	joint, chain := c.Outliers[0], c.Outliers[1]
	if joint.Chain != "A003" || joint.Joint != "17" || !joint.IsJoint || math.Abs(joint.Value-0.2) > 1e-12 {
		t.Errorf("%+v", joint)
	}
	if chain.Chain != "odd" || chain.Revision != "B" || chain.IsJoint || chain.Distance <= chain.Critical {
		t.Errorf("%+v", chain)
	}
}

func TestDifferentDistancesAreSaid(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	var joints []Joint
	for i, revision := range []string{"A", "B"} {
		for _, j := range spreadOut(r, revision, 4, 5, 0.02*float64(i+1), 0.001, 0.001) {
			j.Distance = 20000 * float64(i+1)
			joints = append(joints, j)
		}
	}
	s := study(t, joints...)
	if c := compared(t, s, 0); !noted(c.Notes, "different distances, 2e+04 to 4e+04 km") {
		t.Errorf("%q", c.Notes)
	}
	f, err := s.Rates(true)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(f, 0)
	if err != nil {
		t.Fatal(err)
	}
	if noted(c.Notes, "different distances") || c.Unit != "mm/1000 km" || c.Differences[0].Verdict != Undecided {
		t.Errorf("equal rates of wear: %q, %+v", c.Notes, c.Differences)
	}
	near(t, "rate", c.Revisions[1].Mean, 0.001, 0.1, "generator")
}
