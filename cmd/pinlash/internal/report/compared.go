package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// compared is the chapter that holds chains and revisions against each other.
type compared struct {
	Figure   string // in words
	Several  bool   // revisions
	Blocks   []comparison
	Joints   plotted
	Distance plotted
	Rounds   []roundRow // every inspection, where there are several distances
	Spans    []spanRow
	SpanPlot plotted
	SpanRan  plotted
	Notes    []string
}

// comparison is one way of holding the chains against each other: as they were
// found last, or by running distance.
type comparison struct {
	Title       string
	Pairs       []pairSays
	Says        []string
	Revisions   []revisionRow
	Chains      []roundRow
	Differences []differenceRow
	ByModel     []differenceRow
	Correction  string
	Apart       string
	Parts       []spreadPart
	Worth       string
	Outliers    []string
	Notes       []string
}

type revisionRow struct {
	Name           string
	Chains, Joints int
	Mean           figure
	Next           string
}

// roundRow is a chain at one inspection.
type roundRow struct {
	Name, Link, Revision, Inspection string
	Joints, Photos                   int
	Mean                             figure
	Most                             string
}

type differenceRow struct {
	Name    string
	Value   figure
	P       string
	Effect  figure // not by the model
	Verdict string
}

// pairSays is what the comparison says of two revisions.
type pairSays struct{ Verdict, More string }

type spreadPart struct{ Name, SD, Share string }

// jointFigure chooses what joints are compared by: what each adds to the
// length, where every photo tells it, and else its play.
func jointFigure(photos []*photo) string {
	for _, p := range photos {
		if q, ok := p.record.Growth.Find("joint_growth"); !ok || q.Unit != "mm" {
			return "play"
		}
	}
	return "joint_growth"
}

// compared makes the chapter, nil where there is nothing to compare: two
// chains are wanted, or one at two distances.
func (b *builder) compared() *compared {
	var joints, spans []*photo
	for _, p := range b.measured {
		if _, ok := p.record.Results.Find("play"); ok && ofJoint(p.record) {
			joints = append(joints, p)
		}
		if _, ok := p.record.Results.Find("elongation"); ok && p.record.Kind == record.Span {
			spans = append(spans, p)
		}
	}
	joints, without := placed(joints)
	name := jointFigure(joints)
	unit := distanceUnit(slices.Concat(joints, spans))
	all, notes := b.study(joints, unit, func(r *record.Record) (uncert.Quantity, bool) {
		if name == "play" {
			return r.Results.Find(name)
		}
		return r.Growth.Find(name)
	})
	c := &compared{Figure: record.Words(name)}
	c.Several = len(revisionsOf(all)) > 1
	_, length := b.length(1)
	if len(all) > 1 {
		c.Notes = slices.Concat(without, notes, mixed(joints))
		c.compare(all, name == "joint_growth", length, unit)
		c.Joints = jointsPlot(all, c.Figure, length)
	}
	if distances(all) > 1 {
		c.Rounds = b.roundRows(all, length, unit)
		c.Distance = b.ranPlot(meanSeries(all, length), revisionsOf(all), "running, "+unit, c.Figure+", "+length, "mean "+c.Figure+" of the chain's joints")
	}
	b.comparedSpans(c, spans, unit)
	if c.Blocks == nil && c.Rounds == nil && c.Spans == nil {
		return nil
	}
	return c
}

// title names the chapter by what it compares.
func (c *compared) title() string {
	switch {
	case c.Several:
		return "Comparing revisions"
	case c.Blocks != nil || c.Spans != nil:
		return "Comparing chains"
	}
	return "Wear against distance"
}

// mixed says whether joints were measured in different ways.
func mixed(photos []*photo) []string {
	moved := 0
	for _, p := range photos {
		if p.record.Kind == record.Play {
			moved++
		}
	}
	if moved == 0 || moved == len(photos) {
		return nil
	}
	return []string{fmt.Sprintf("%s measured end-on and %d by movement: what the two ways of measuring differ by is in the differences.", count(len(photos)-moved, "joint photo was", "joint photos were"), moved)}
}

// compare fills the comparisons.
func (c *compared) compare(all []*studied, fromNew bool, length, unit string) {
	last, rates := compare.NewStudy(length, unit), compare.NewStudy(length, unit)
	used, rated := 0, 0
	for _, s := range all {
		if !s.ordered() {
			c.Notes = append(c.Notes, fmt.Sprintf("Chain %s of revision %s has %d inspections that no distance puts in order; it is left out of the tests.", s.name, s.revision, len(s.rounds)))
			continue
		}
		used++
		for i := range s.rounds {
			if err := s.addTo(last, i); err != nil {
				c.Notes = append(c.Notes, sentence(err.Error()))
			}
		}
		if s.last().distance == 0 {
			continue // it has not run, or nobody knows how far
		}
		rated++
		for i := range s.rounds {
			if err := s.addTo(rates, i); err != nil {
				c.Notes = append(c.Notes, sentence(err.Error()))
			}
		}
	}
	if used < 2 {
		return
	}
	f, err := last.At("")
	if err != nil {
		c.Notes = append(c.Notes, sentence(err.Error()))
		return
	}
	c.add("As found at the last inspection", f, all)
	if rated < used || !(apart(f.Chains) || everyTwice(all)) {
		return
	}
	f, err = rates.Rates(fromNew)
	if err != nil {
		c.Notes = append(c.Notes, sentence("no comparison by running distance: "+err.Error()))
		return
	}
	c.add("By running distance", f, all)
	if apart(f.Chains) {
		slices.Reverse(c.Blocks) // chains that ran further are more worn
	}
}

// apart says whether chains ran distances that differ by more than a tenth.
func apart(chains []compare.Chain) bool {
	least, most := math.Inf(1), 0.0
	for _, c := range chains {
		least, most = min(least, c.Distance), max(most, c.Distance)
	}
	return most > 1.1*least
}

// everyTwice says whether every chain has inspections enough for a rate of its
// own.
func everyTwice(all []*studied) bool {
	return !slices.ContainsFunc(all, func(s *studied) bool { return len(s.rounds) < 2 })
}

func (c *compared) add(title string, f compare.Figures, all []*studied) {
	got, err := compare.Compare(f, 0)
	if err != nil {
		c.Notes = append(c.Notes, sentence(err.Error()))
		return
	}
	x := comparison{Title: title, Correction: got.Correction, Apart: chainsApart(got)}
	x.Pairs, x.Says = c.says(got)
	for _, r := range got.Revisions {
		row := revisionRow{Name: r.Name, Chains: r.Chains, Joints: r.Joints, Mean: meanFigure(r.Mean, got.Unit, r.Interval, "one chain")}
		if r.NextChain != nil {
			p := r.NextChain.Printed()
			row.Next = p.Lower + " to " + p.Upper
		}
		x.Revisions = append(x.Revisions, row)
	}
	for _, chain := range got.Chains {
		x.Chains = append(x.Chains, chainRow(chain, got.Unit, all))
	}
	for _, d := range got.Differences {
		row := differenceRow{
			Name: d.B + " less " + d.A, Value: units{}.figure("", d.Value), P: chance(d.P),
			Effect: units{}.figure("", d.Effect),
		}
		row.Verdict, _, _ = strings.Cut(string(d.Verdict), ":")
		x.Differences = append(x.Differences, row)
		if m := d.ByModel; m != nil {
			x.ByModel = append(x.ByModel, differenceRow{Name: row.Name, Value: units{}.figure("", m.Value), P: chance(m.P)})
		}
	}
	if m := got.Model; m != nil {
		for _, p := range m.Parts {
			x.Parts = append(x.Parts, spreadPart{p.Name, significant(p.SD, 2) + " " + got.Unit, fmt.Sprintf("%.0f %%", 100*p.Share)})
		}
		x.Worth = fmt.Sprintf("The mean of the joints photographed of a typical chain is worth that of %s independent joints: joints of one chain wore together.", significant(m.JointsWorth, 2))
	}
	for _, o := range got.Outliers {
		x.Outliers = append(x.Outliers, standsOut(o, got.Unit))
	}
	for _, n := range got.Notes {
		x.Notes = append(x.Notes, sentence(n))
	}
	c.Blocks = append(c.Blocks, x)
}

// mostSentences is how many pairs of revisions are spoken of one by one.
const mostSentences = 6

// says tells in sentences what the comparison comes to.
func (c *compared) says(got compare.Comparison) (pairs []pairSays, says []string) {
	var single []string
	for _, r := range got.Revisions {
		if r.Chains == 1 {
			single = append(single, r.Name)
		}
	}
	undecided := 0
	for _, d := range got.Differences {
		if len(got.Differences) > mostSentences && d.Verdict == compare.Undecided {
			undecided++
			continue
		}
		pairs = append(pairs, c.pair(d))
	}
	if undecided > 0 {
		says = append(says, fmt.Sprintf("Of %d pairs of revisions %d are undecided: neither a difference nor its absence is shown.", len(got.Differences), undecided))
	}
	switch {
	case len(got.Revisions) == 1:
		says = append(says, fmt.Sprintf("All %d chains are of one revision (%s): there is no other to compare it with.", len(got.Chains), got.Revisions[0].Name))
	case len(single) == len(got.Revisions):
		says = append(says, "No statement about the revisions is possible with one chain per revision: chains of one revision differ too.")
	case len(single) == 1:
		says = append(says, fmt.Sprintf("No statement about revision %s is possible with one chain of it.", single[0]))
	case len(single) > 1:
		says = append(says, fmt.Sprintf("No statement about the revisions %s is possible with one chain of each.", strings.Join(single, ", ")))
	}
	return pairs, says
}

// pair puts a difference in words.
func (c *compared) pair(d compare.Difference) pairSays {
	bound := d.Value
	bound.Value = d.NoLargerThan
	most := fmt.Sprintf("A one-sided test at 5 %% shows that it is not larger than %s %s.", bound.Printed().Value, bound.Unit)
	if d.Verdict == compare.Undecided || d.Verdict == compare.Equivalent {
		verdict := "undecided. Neither a difference nor its absence is shown."
		if d.Verdict == compare.Equivalent {
			verdict = "no difference that matters."
		}
		return pairSays{
			fmt.Sprintf("%s and %s: %s", d.A, d.B, verdict),
			fmt.Sprintf("The %s of %s less that of %s is %s. %s", c.Figure, d.B, d.A, units{}.words(d.Value), most),
		}
	}
	more, less, value := d.B, d.A, d.Value
	if value.Value < 0 {
		more, less, value = d.A, d.B, value.Scaled(-1, value.Unit)
	}
	little := ""
	if d.Verdict == compare.DifferLittle {
		little = ", but by less than matters"
	}
	return pairSays{
		fmt.Sprintf("%s and %s differ%s.", d.A, d.B, little),
		fmt.Sprintf("The %s of %s is larger than that of %s by %s. %s", c.Figure, more, less, units{}.words(value), most),
	}
}

// meanFigure shows a mean, with its interval where there is one.
func meanFigure(mean float64, unit string, interval *uncert.Quantity, why string) figure {
	if interval == nil {
		return figure{Value: bare(mean, unit), Interval: "none: " + why, Unit: unit, Sort: mean}
	}
	return units{}.figure("", *interval)
}

func chainRow(chain compare.Chain, unit string, all []*studied) roundRow {
	row := roundRow{Name: chain.Name, Revision: chain.Revision, Joints: chain.Joints, Photos: chain.Photos}
	for _, s := range all {
		if s.name != chain.Name || s.revision != chain.Revision {
			continue
		}
		row.Link = s.chain.ID
		row.Inspection = s.last().at.Label
	}
	why := "one joint"
	if chain.Joints > 1 {
		why = "no scatter"
	}
	row.Mean = meanFigure(chain.Mean, unit, chain.Interval, why)
	if lower, upper, ok := chain.MostJoints(); ok {
		p := uncert.Quantity{Value: chain.Mean, U: (upper - lower) / 4, Lower: lower, Upper: upper}.Printed()
		row.Most = p.Lower + " to " + p.Upper
	}
	return row
}

// roundRows lists the chains at every inspection.
func (b *builder) roundRows(all []*studied, length, unit string) []roundRow {
	var rows []roundRow
	for _, s := range all {
		for i, r := range s.rounds {
			chain, err := s.mean(i, length)
			if err != nil {
				continue // it is in the notes
			}
			row := chainRow(chain, length, all)
			row.Inspection = r.at.Label
			rows = append(rows, row)
		}
	}
	return rows
}

func chainsApart(got compare.Comparison) string {
	a := got.ChainsApart
	if a == nil {
		return ""
	}
	of := "Chains of one revision differ"
	if !slices.ContainsFunc(got.Revisions, func(r compare.Revision) bool { return r.Chains > 1 }) {
		of = "The chains differ"
	}
	verdict := "no more than the scatter of their joints explains"
	if a.P < 0.05 {
		verdict = "by more than the scatter of their joints explains"
	}
	return fmt.Sprintf("%s %s (analysis of variance, F %s for %.3g and %.3g degrees of freedom, p %s).", of, verdict, significant(a.F, 3), a.BetweenFreedom, a.WithinFreedom, chance(a.P))
}

func standsOut(o compare.Outlier, unit string) string {
	what := fmt.Sprintf("Chain %s of revision %s", o.Chain, o.Revision)
	if o.IsJoint {
		joint := "a joint"
		if o.Joint != "" {
			joint = called("joint", shorten(o.Joint, longestName))
		}
		what = fmt.Sprintf("%s of chain %s, revision %s", capital(joint), o.Chain, o.Revision)
	}
	return fmt.Sprintf("%s: %s %s, %s standard deviations from the mean (chance seldom exceeds %s).", what, bare(o.Value, unit), unit, significant(o.Distance, 3), significant(o.Critical, 3))
}

// bare prints a figure without an interval to tell its digits by: to a tenth
// of a micrometre, or of a thousandth of an inch.
func bare(v float64, unit string) string {
	text := strconv.FormatFloat(v, 'f', 4, 64)
	if strings.HasPrefix(unit, "in") {
		text = strconv.FormatFloat(v, 'f', 5, 64)
	}
	return text
}

// chance prints a probability as tests have it.
func chance(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return significant(p, 2)
}

// significant prints a number to so many digits, never with an exponent.
func significant(v float64, digits int) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil {
		rounded = v
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
