package report

import (
	"fmt"
	"slices"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// spanRow is a span of a chain at its last inspection.
type spanRow struct {
	Name, Revision, Inspection string
	Photo                      *photo
	figure
}

// comparedSpans sets the growths of spans beside each other, where there are
// spans of several chains. Each has the interval of its measuring: a span
// takes all its joints together, so it shows no scatter between them.
func (b *builder) comparedSpans(c *compared, spans []*photo, unit string) {
	spans, without := placed(spans)
	all, notes := b.study(spans, unit, func(r *record.Record) (uncert.Quantity, bool) { return r.Results.Find("elongation") })
	if len(all) < 2 {
		return
	}
	c.Several = c.Several || len(revisionsOf(all)) > 1
	for _, n := range slices.Concat(without, notes) {
		c.Notes = append(c.Notes, "Of spans: "+n)
	}
	var rows []lyingRow
	var says []string
	revisions := revisionsOf(all)
	var lines []series
	for _, s := range all {
		if s.ordered() {
			for _, f := range s.last().figures {
				c.Spans = append(c.Spans, spanRow{s.name, s.revision, s.last().at.Label, f.photo, b.figure("", f.q)})
				style := revisionStyles[slices.Index(revisions, s.revision)%len(revisionStyles)].mark
				rows = append(rows, lyingRow{clipped(s.name, 16), f.q.Value, f.q.Lower, f.q.Upper, style})
				says = append(says, fmt.Sprintf("%s: %s.", capital(called("chain", s.name)), b.words(f.q)))
			}
		} else {
			c.Notes = append(c.Notes, fmt.Sprintf("Spans of chain %s of revision %s are left out: no distance puts its inspections in order.", s.name, s.revision))
		}
		line := series{label: s.name, revision: slices.Index(revisions, s.revision)}
		for _, r := range s.rounds {
			for _, f := range r.figures {
				if r.known() {
					line.at = append(line.at, spot{x: r.distance, y: f.q.Value, low: f.q.Lower, high: f.q.Upper})
				}
			}
		}
		if line.at != nil {
			lines = append(lines, line)
		}
	}
	if rows != nil {
		caption := "Growth of every span at its chain's last inspection, with the 95 % interval of measuring." + marks(revisions)
		if len(rows) > mostRows {
			caption += fmt.Sprintf(" The first %d of %d; all are in the table.", mostRows, len(rows))
			rows = rows[:mostRows]
		}
		c.SpanPlot = lyingPlot(rows, "growth of the span, %", []levelLine{{upright: true, colour: faint}}, caption, strings.Join(says, " "))
	}
	if distances(all) > 1 {
		c.SpanRan = b.ranPlot(lines, revisions, "running, "+unit, "growth of the span, %", "growth of spans")
	}
}

// marks says which mark stands for which revision, where the marks tell them
// apart.
func marks(revisions []string) string {
	if len(revisions) < 2 || len(revisions) > len(revisionStyles) {
		return ""
	}
	parts := make([]string, len(revisions))
	for i, r := range revisions {
		parts[i] = revisionStyles[i].words + ": " + r
	}
	return " " + capital(strings.Join(parts, "; ")) + "."
}
