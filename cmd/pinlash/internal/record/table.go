package record

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// Style chooses what the table shows.
type Style struct {
	Quiet   bool // the figures only: no heads, notes or sentences
	Explain bool // under every figure the parts of its uncertainty
	Units   Units
}

// WriteTable writes a measured record for people, in one call to w.
func WriteTable(w io.Writer, r Record, style Style) error {
	var b bytes.Buffer
	if !style.Quiet {
		fmt.Fprintln(&b, r.title())
	}
	writeFigures(&b, append(r.Figures(), pitchFigures(r.Pitches)...), style)
	if !style.Quiet {
		if meaning := r.Meaning.In(style.Units); meaning != "" {
			fmt.Fprintf(&b, "  %s\n", meaning)
		}
		if r.Decision != "" {
			fmt.Fprintf(&b, "  Decision: %s.\n", r.Decision)
		}
		if r.Scale != nil {
			fmt.Fprintf(&b, "  Scale: %s.\n", r.Scale.In(style.Units))
		}
		if r.Clip != nil {
			fmt.Fprintf(&b, "  Clip: %s.\n", r.Clip.Words())
		}
		writeRemarks(&b, r.Checks, r.Notes)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// writeRemarks writes the checks that failed, and the notes.
func writeRemarks(b *bytes.Buffer, checks []check.Check, notes []string) {
	for _, c := range checks {
		if !c.OK {
			fmt.Fprintf(b, "  Check: %s is %.4g, limit %.4g.\n", Words(c.Name), c.Value, c.Limit)
		}
	}
	for _, note := range notes {
		fmt.Fprintf(b, "  Note: %s.\n", strings.TrimSuffix(note, "."))
	}
}

func writeFigures(b *bytes.Buffer, figures Figures, style Style) {
	lines := figures.Lines(style.Units)
	if style.Quiet {
		lines = lines[1:]
	}
	head := len(lines) - len(figures)
	for i, line := range lines {
		fmt.Fprintf(b, "  %s\n", line)
		if style.Explain && i >= head {
			writeBudget(b, style.Units.Of(figures[i-head].Quantity))
		}
	}
}

// pitchFigures names the pitches of a span for the table.
func pitchFigures(pitches []Pitch) Figures {
	figures := make(Figures, len(pitches))
	for i, p := range pitches {
		figures[i] = Figure{fmt.Sprintf("pitch %d, %s link", p.Index, p.Link), p.Length}
	}
	return figures
}

// Lines returns the figures in columns, one a line, below a line of heads.
func (f Figures) Lines(u Units) []string {
	rows := [][]string{{"", "value", "95 % interval", "unit"}}
	for _, figure := range f {
		q := u.Of(figure.Quantity)
		p := q.Printed()
		interval := p.Lower + " to " + p.Upper
		if q.U == 0 {
			interval = "exact"
		}
		rows = append(rows, []string{u.name(figure.Name), p.Value, interval, q.Unit})
	}
	return Columns(rows, "lrrl")
}

// Columns returns each row as a line with its cells below one another, set to
// the left or right as the letters l and r of align say, to the left beyond
// them. All rows are of one length.
func Columns(rows [][]string, align string) []string {
	width := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
		}
	}
	lines := make([]string, len(rows))
	for j, row := range rows {
		var line strings.Builder
		for i, cell := range row {
			space := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if i < len(align) && align[i] == 'r' {
				line.WriteString(space + cell + "  ")
			} else {
				line.WriteString(cell + space + "  ")
			}
		}
		lines[j] = strings.TrimRight(line.String(), " ")
	}
	return lines
}

func writeBudget(b *bytes.Buffer, q uncert.Quantity) {
	if q.U == 0 {
		return
	}
	for _, part := range q.Budget.Merge().Largest() {
		share := 100 * part.U * part.U / (q.U * q.U)
		fmt.Fprintf(b, "      u %-9.2g %3.0f %%  %s%s\n", part.U, share, part.Name, freedom(part.DF))
	}
	fmt.Fprintf(b, "      u %-9.2g        together%s\n", q.U, freedom(q.DF))
}

// freedom says how few degrees of freedom there are; a thousand are as good as
// infinitely many.
func freedom(df float64) string {
	if df == 0 || df >= 1000 {
		return ""
	}
	return fmt.Sprintf(" (%.3g degrees of freedom)", df)
}

// Words turns a JSON name into words.
func Words(name string) string { return strings.ReplaceAll(name, "_", " ") }

// Words describes the scale in a phrase.
func (s *Scale) Words() string { return s.In(Units{}) }

// In describes the scale in a phrase.
func (s *Scale) In(u Units) string {
	q := u.Of(uncert.Combine(float64(s.MMPerPx), "mm/px", uncert.Budget{{U: float64(s.U)}}))
	text := u.Short(q) + " (u " + q.Printed().U + ") from the " + s.Source
	if s.Marks > 0 {
		tenths := math.Round(10 * float64(s.AngleDeg)) // of a degree; plus zero wipes a minus off
		marks := "marks"
		if s.Source == "grid" {
			marks = "points"
		}
		text += fmt.Sprintf(", %d %s of %s at %.1f deg", s.Marks, marks, u.Length(s.DivisionMM), tenths/10+0)
	}
	return text
}

// SafeName returns a file name as it may stand on a terminal: as it is, or
// quoted when it holds anything that is not printable text.
func SafeName(path string) string {
	for _, r := range path {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return strconv.Quote(path)
		}
	}
	return path
}
