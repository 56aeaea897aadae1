package report

import (
	"fmt"
	"slices"
	"strconv"

	"pinlash/measure/compare"
)

// repeats is the chapter on how well measuring repeats.
type repeats struct {
	Says   []string
	Shares []shareRow
	Advice []string
	Notes  []string
}

// shareRow is a part of the spread by either method.
type shareRow struct{ Name, ByAnova, ByRange string }

// repeats makes the chapter, nil where no joint was photographed twice.
// Inspections are kept apart: a joint that has worn is another, and so are
// photos taken end-on and movements.
func (b *builder) repeats() *repeats {
	_, unit := b.length(1)
	var readings []compare.Reading
	times := map[[2]string]int{}
	for _, p := range b.measured {
		q, ok := p.record.Results.Find("play")
		if !ok || !ofJoint(p.record) || p.levels.Joint == "" || !drawable(q.Value) {
			continue
		}
		c := slices.Index(b.chains, p.chain)
		joint := fmt.Sprintf("%d %d %s %s", c, slices.Index(p.chain.Inspections, p.at), p.record.Kind, p.levels.Joint)
		times[[2]string{joint, p.levels.By}]++
		readings = append(readings, compare.Reading{Joint: joint, Person: p.levels.By, Value: b.of(q).Value})
	}
	// Joints photographed once say nothing of repeating, whoever did it.
	readings = slices.DeleteFunc(readings, func(r compare.Reading) bool { return times[[2]string{r.Joint, r.Person}] < 2 })
	if len(readings) == 0 {
		return nil
	}
	got, err := compare.Repeatability(readings, unit, 0)
	if err != nil {
		return &repeats{Says: []string{sentence("joints were photographed repeatedly, but how well measuring repeats cannot be told: " + err.Error())}}
	}
	r := &repeats{Says: []string{
		fmt.Sprintf("%s photographed %s %d times each. One photo of one joint by one person scatters by %s (standard deviation of the play).",
			count(got.People, "person", "people"), count(got.Joints, "joint", "joints"), got.Times, units{}.words(got.OnePhoto)),
		fmt.Sprintf("By these photos %s of play can be told apart.", count(got.ByAnova.Levels, "level", "levels")),
	}}
	if got.People > 1 && got.InteractionP < 0.05 {
		r.Says = append(r.Says, fmt.Sprintf("People do not see the same joints as the worse ones (p %s).", chance(got.InteractionP)))
	}
	for _, row := range []struct {
		name string
		of   func(compare.Gauge) float64
	}{
		{"repeatability: photos by one person", func(g compare.Gauge) float64 { return g.Repeatability }},
		{"reproducibility: between people", func(g compare.Gauge) float64 { return g.Reproducibility }},
		{"measuring, both together", func(g compare.Gauge) float64 { return g.Measuring }},
		{"between joints", func(g compare.Gauge) float64 { return g.Joints }},
		{"total", func(g compare.Gauge) float64 { return g.Total }},
	} {
		if got.People == 1 && row.name == "reproducibility: between people" {
			continue
		}
		r.Shares = append(r.Shares, shareRow{row.name, significant(row.of(got.ByAnova), 2) + " " + unit, significant(row.of(got.ByRange), 2) + " " + unit})
	}
	r.Shares = append(r.Shares,
		shareRow{"measuring, share of the total", significant(got.ByAnova.OfTotal, 2) + " %", significant(got.ByRange.OfTotal, 2) + " %"},
		shareRow{"levels told apart", strconv.Itoa(got.ByAnova.Levels), strconv.Itoa(got.ByRange.Levels)})
	for _, a := range got.Advice {
		r.Advice = append(r.Advice, sentence(a))
	}
	for _, n := range got.Notes {
		r.Notes = append(r.Notes, sentence(n))
	}
	return r
}
