package compare

import (
	"math"
	"testing"
)

func TestUnusableJoints(t *testing.T) {
	s := study(t, Joint{Chain: "1", Inspection: "first", Value: 1, Distance: 100})
	for name, j := range map[string]Joint{
		"no chain":                {Value: 1},
		"not a number":            {Chain: "1", Value: math.NaN()},
		"infinite":                {Chain: "1", Value: math.Inf(1)},
		"negative u":              {Chain: "1", U: -1},
		"u not a number":          {Chain: "1", U: math.NaN()},
		"negative distance":       {Chain: "1", Distance: -1},
		"no distance to speak of": {Chain: "1", Distance: 1e-300},
		"two distances":           {Chain: "1", Inspection: "first", Distance: 200},
	} {
		if err := s.Add(j); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	f, err := s.At("")
	if err != nil || len(f.Chains) != 1 || f.Chains[0].Joints != 1 || f.Chains[0].Mean != 1 {
		t.Errorf("%v, %+v: something was added by an error", err, f)
	}
	if _, err := NewStudy("mm", "km").At(""); err == nil {
		t.Error("an empty study has figures")
	}
	if _, err := NewStudy("mm", "km").Rates(true); err == nil {
		t.Error("an empty study has rates")
	}
	if _, err := Compare(Figures{}, 0); err == nil {
		t.Error("no chains were compared")
	}
	if _, err := Compare(f, math.NaN()); err == nil {
		t.Error("a margin that is no number was taken")
	}
}

func TestInspections(t *testing.T) {
	s := study(t,
		Joint{Revision: "A", Chain: "1", Value: 0.1, Distance: 10000},
		Joint{Revision: "A", Chain: "1", Value: 0.3, Distance: 30000},
		Joint{Revision: "A", Chain: "1", Value: 0.2, Distance: 20000},
		Joint{Revision: "A", Chain: "2", Inspection: "spring", Value: 0.5, Distance: 10000},
	)
	last, err := s.At("")
	if err != nil || len(last.Chains) != 2 || last.Chains[0].Mean != 0.3 || last.Chains[0].Distance != 30000 || !noted(last.Notes, "the last is taken") {
		t.Errorf("%v, %+v", err, last)
	}
	spring, err := s.At("spring")
	if err != nil || len(spring.Chains) != 1 || spring.Chains[0].Name != "2" || !noted(spring.Notes, `chain 1 of revision A has no inspection "spring"`) {
		t.Errorf("%v, %+v", err, spring)
	}
	if _, err := s.At("autumn"); err == nil {
		t.Error("an inspection that is not there has figures")
	}
	unordered := study(t,
		Joint{Chain: "1", Inspection: "first", Value: 0.1},
		Joint{Chain: "1", Inspection: "second", Value: 0.2},
	)
	if _, err := unordered.At(""); err == nil {
		t.Error("inspections without distances were put in order")
	}
	if f, err := unordered.At("second"); err != nil || f.Chains[0].Mean != 0.2 {
		t.Errorf("%v, %+v", err, f)
	}
}

// Rates are slopes where there are two inspections of each chain: play of 0.05
// when new and 0.02 of running-in do not show in them.
func TestRates(t *testing.T) {
	var joints []Joint
	for _, chain := range []string{"1", "2"} {
		for _, d := range []float64{10000, 20000, 40000} {
			for _, off := range []float64{-0.01, 0.01} {
				joints = append(joints, Joint{Revision: "A", Chain: chain, Value: 0.07 + 2e-6*d + off, Distance: d})
			}
		}
	}
	f, err := study(t, joints...).Rates(false)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range f.Chains {
		near(t, "slope of chain "+c.Name, c.Mean, 0.002, 1e-12, "made so")
		if c.Joints != 2 || c.Photos != 6 {
			t.Errorf("%+v", c)
		}
	}
	one := study(t, append(joints, Joint{Revision: "B", Chain: "3", Value: 0.04, Distance: 20000})...)
	if _, err := one.Rates(false); err == nil {
		t.Error("a rate from one inspection of play")
	}
	f, err = one.Rates(true)
	if err != nil || !noted(f.Notes, "counted from new") {
		t.Fatal(err, f.Notes)
	}
	near(t, "from new, last inspection", f.Chains[0].Mean, 0.15/40, 1e-12, "made so")
	level, err := one.At("")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "from new, u", f.Chains[0].Interval.U, level.Chains[0].Interval.U/40, 1e-12, "the figure over 40 thousand")
	near(t, "from new", f.Chains[2].Mean, 0.04/20, 1e-12, "made so")
	unknown := study(t, Joint{Chain: "1", Value: 1}, Joint{Chain: "2", Value: 1, Distance: 1000})
	if f, err := unknown.Rates(true); err != nil || len(f.Chains) != 1 || !noted(f.Notes, "no running distance") {
		t.Errorf("%v, %+v", err, f)
	}
}
