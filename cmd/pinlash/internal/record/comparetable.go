package record

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// mostChainRows is how many chains the table shows; the JSON has all.
const mostChainRows = 60

// comparisonTable is a comparison on its way to people.
type comparisonTable struct {
	bytes.Buffer
	style  Style
	tables int // so far
}

// WriteComparison writes the comparison for people, in one call to w.
func WriteComparison(w io.Writer, c Comparison, style Style) error {
	t := &comparisonTable{style: style}
	joints := 0
	for _, r := range c.Revisions {
		joints += r.Joints
	}
	t.title(c.Basis, fmt.Sprintf("%s, %s, %s", counted(len(c.Revisions), "revision"), counted(len(c.Chains), "chain"), counted(joints, c.jointWord())))
	t.revisions(c)
	t.chains(c)
	t.model(c)
	t.outliers(c)
	t.differences(c)
	t.notes(c.Notes)
	_, err := w.Write(t.Bytes())
	return err
}

// title says what is compared and where it comes from.
func (t *comparisonTable) title(b Basis, what string) {
	if t.style.Quiet {
		return
	}
	from := make([]string, len(b.From))
	for i, kind := range b.From {
		from[i] = string(kind)
	}
	fmt.Fprintf(t, "%s from %s photos: %s\n", Words(b.Figure), strings.Join(from, " and "), what)
	for _, f := range b.Sources {
		fmt.Fprintf(t, "  Results: %s (sha256 %.12s...).\n", SafeName(f.Path), f.SHA256)
	}
}

// jointWord is what the comparison counts in a chain.
func (c Comparison) jointWord() string {
	for _, kind := range c.From {
		if kind == Span {
			return "span"
		}
	}
	return "joint"
}

// jointsPerChain is the mean over the revisions with several chains, as the
// model has them.
func (c Comparison) jointsPerChain() float64 {
	joints, chains := 0, 0
	for _, r := range c.Revisions {
		if r.Chains > 1 {
			joints += r.Joints
			chains += r.Chains
		}
	}
	return float64(joints) / float64(max(chains, 1))
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// table writes rows under heads.
func (t *comparisonTable) table(heads []string, align string, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	lines := Columns(append([][]string{heads}, rows...), align)
	switch {
	case t.style.Quiet:
		lines = lines[1:]
	case t.tables > 0:
		t.WriteByte('\n')
	}
	t.tables++
	for _, line := range lines {
		fmt.Fprintf(t, "  %s\n", line)
	}
}

// say writes a sentence.
func (t *comparisonTable) say(format string, args ...any) {
	if !t.style.Quiet {
		fmt.Fprintf(t, "  "+format+"\n", args...)
	}
}

func (t *comparisonTable) notes(notes []string) {
	if !t.style.Quiet {
		writeRemarks(&t.Buffer, nil, notes)
	}
}

func (t *comparisonTable) revisions(c Comparison) {
	var rows [][]string
	for _, r := range c.Revisions {
		value, interval := t.mean(r.Mean, c.Unit, r.Interval)
		next := "-"
		if r.NextChain != nil {
			_, next = t.mean(r.Mean, c.Unit, r.NextChain)
		}
		rows = append(rows, []string{SafeName(r.Name), strconv.Itoa(r.Chains), strconv.Itoa(r.Joints), value, interval, next, t.unit(c.Unit)})
	}
	t.table([]string{"revision", "chains", c.jointWord() + "s", "mean", "95 % interval", "one more chain", "unit"}, "lrrrrrl", rows)
}

func (t *comparisonTable) chains(c Comparison) {
	several := false
	for _, chain := range c.Chains {
		several = several || chain.Specimen != c.Chains[0].Specimen
	}
	var rows [][]string
	for _, chain := range c.Chains {
		if len(rows) == mostChainRows {
			break
		}
		name := SafeName(chain.Name)
		if several {
			name = SafeName(chain.Specimen) + ", " + name
		}
		value, interval := t.mean(chain.Mean, c.Unit, chain.Interval)
		most := "-"
		if b := chain.MostJoints; b != nil {
			q := t.shown(uncert.Quantity{Value: float64(chain.Mean), Unit: c.Unit, U: chain.Interval.U, Lower: float64(b.Lower), Upper: float64(b.Upper)})
			most = q.Printed().Lower + " to " + q.Printed().Upper
		}
		rows = append(rows, []string{SafeName(chain.Revision), name, chain.at(), strconv.Itoa(chain.Joints), value, interval, most, t.unit(c.Unit)})
	}
	word := c.jointWord() + "s"
	t.table([]string{"revision", "chain", "at", word, "mean", "95 % interval", "95 % of its " + word, "unit"}, "lllrrrrl", rows)
	if len(rows) < len(c.Chains) {
		t.say("%d of %d chains are shown; --json has them all.", len(rows), len(c.Chains))
	}
}

// at says when the chain was inspected.
func (c ComparedChain) at() string {
	switch {
	case c.Inspection != "":
		return SafeName(c.Inspection)
	case c.DistanceKM > 0:
		return fmt.Sprintf("%.6g km", float64(c.DistanceKM))
	case c.Hours > 0:
		return fmt.Sprintf("%.6g h", float64(c.Hours))
	}
	return "-"
}

func (t *comparisonTable) differences(c Comparison) {
	var rows [][]string
	add := func(name string, q uncert.Quantity, p digits, effect, most string) {
		printed := t.shown(q).Printed()
		rows = append(rows, []string{name, printed.Value, printed.Lower + " to " + printed.Upper, t.unit(c.Unit), chance(p), effect, most})
	}
	for _, d := range c.Differences {
		name := SafeName(d.B) + " less " + SafeName(d.A)
		e := d.Effect.Printed()
		add(name, d.Difference, d.P, e.Value+" ("+e.Lower+" to "+e.Upper+")", t.like(d.Difference, d.NoLargerThan))
		if m := d.ByModel; m != nil {
			add("  by the mixed model", m.Difference, m.P, "", "")
		}
	}
	t.table([]string{"difference", "value", "95 % interval", "unit", "p", "effect size (95 %)", "not larger than"}, "lrrlrrr", rows)
	for _, d := range c.Differences {
		t.say("%s and %s: %s.", SafeName(d.A), SafeName(d.B), t.verdict(d, c))
	}
	if c.Correction != "" {
		t.say("Intervals and p of the differences hold for all of them together (%s).", c.Correction)
	}
}

// verdict says in a plain sentence what a difference comes to.
func (t *comparisonTable) verdict(d ComparedDifference, c Comparison) string {
	above := d.Difference
	word := "above"
	if above.Value < 0 {
		above, word = above.Scaled(-1, above.Unit), "below"
	}
	unit := " " + t.unit(c.Unit)
	margin := t.number(float64(c.Margin), c.Unit) + unit
	most := t.like(d.Difference, d.NoLargerThan) + unit
	p := t.shown(above).Printed()
	size := fmt.Sprintf("%s lies %s%s %s %s (%s to %s%s)", SafeName(d.B), p.Value, unit, word, SafeName(d.A), p.Lower, p.Upper, unit)
	switch d.Verdict {
	case compare.Differ:
		text := fmt.Sprintf("%s: %s", d.Verdict, size)
		if d.Equivalence != nil {
			text += fmt.Sprintf("; that this is less than %s is not shown", margin)
		}
		return text
	case compare.DifferLittle:
		return fmt.Sprintf("%s: %s, and %s would matter", d.Verdict, size, margin)
	case compare.Equivalent:
		return fmt.Sprintf("%s: it is no larger than %s, and %s would matter", d.Verdict, most, margin)
	default:
		return fmt.Sprintf("%s; differences of up to %s are not ruled out", d.Verdict, most)
	}
}

func (t *comparisonTable) model(c Comparison) {
	if m := c.Model; m != nil {
		var rows [][]string
		for _, p := range m.Parts {
			rows = append(rows, []string{p.Name, fmt.Sprintf("%.0f %%", 100*float64(p.Share)), t.fixed(p.SD, c.Unit), t.unit(c.Unit)})
		}
		t.table([]string{"spread of single figures", "of the variance", "sd", "unit"}, "lrrl", rows)
		t.say("The %ss of a chain, %.3g on average, are worth %.3g independent ones.", c.jointWord(), c.jointsPerChain(), float64(m.JointsWorth))
	}
	if a := c.ChainsApart; a != nil {
		which := "The chains"
		for _, r := range c.Revisions {
			if r.Chains > 1 {
				which = "Chains of one revision"
			}
		}
		if a.P < 0.05 {
			t.say("%s differ by more than the scatter of their joints explains (p %s): joints of a chain are no independent samples.", which, chance(a.P))
		} else {
			t.say("%s do not differ by more than the scatter of their joints explains (p %s).", which, chance(a.P))
		}
	}
}

func (t *comparisonTable) outliers(c Comparison) {
	for _, o := range c.Outliers {
		what := fmt.Sprintf("chain %s of revision %s", SafeName(o.Chain), SafeName(o.Revision))
		if o.Specimen != "" {
			what = SafeName(o.Specimen) + ", " + what
		}
		switch {
		case o.What == "joint" && o.Joint != "":
			what = "joint " + SafeName(o.Joint) + " of " + what
		case o.What == "joint":
			what = "a joint of " + what
		}
		t.say("Stands out: %s with %s %s, %.3g standard deviations from the mean, by chance seldom over %.3g. It is kept; look at its photo.",
			what, t.fixed(o.Value, c.Unit), t.unit(c.Unit), float64(o.Distance), float64(o.Critical))
	}
}

// shown returns a figure in the units of the table.
func (t *comparisonTable) shown(q uncert.Quantity) uncert.Quantity { return t.style.Units.compared(q) }

func (t *comparisonTable) unit(unit string) string {
	return t.shown(uncert.Quantity{Unit: unit, U: 1}).Unit
}

// fixed prints a figure without interval to four digits, noughts and all.
func (t *comparisonTable) fixed(v digits, unit string) string {
	shown := t.shown(uncert.Quantity{Value: float64(v), Unit: unit, U: 1}).Value
	if shown == 0 {
		return "0"
	}
	places := 3 - int(math.Floor(math.Log10(math.Abs(shown))))
	return strconv.FormatFloat(significant(shown, 4), 'f', max(places, 0), 64)
}

// number prints what somebody stated, to four digits.
func (t *comparisonTable) number(v float64, unit string) string {
	v = t.shown(uncert.Quantity{Value: v, Unit: unit, U: 1}).Value
	return strconv.FormatFloat(significant(v, 4), 'f', -1, 64)
}

// like prints v with as many decimals as q has.
func (t *comparisonTable) like(q uncert.Quantity, v digits) string {
	q.Value = float64(v)
	return t.shown(q).Printed().Value
}

// mean prints a mean and its interval, if it has one.
func (t *comparisonTable) mean(v digits, unit string, q *uncert.Quantity) (value, interval string) {
	if q == nil {
		return t.fixed(v, unit), "-"
	}
	p := t.shown(*q).Printed()
	return p.Value, p.Lower + " to " + p.Upper
}

// chance prints a probability.
func chance(p digits) string {
	if p < 0.001 {
		return "<0.001"
	}
	return strconv.FormatFloat(float64(p), 'f', 3, 64)
}
