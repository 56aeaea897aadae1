package record

import (
	"encoding/csv"
	"io"
	"iter"
	"strconv"
	"strings"
	"unicode/utf8"

	"pinlash/measure/uncert"
)

// csvHead names the columns of WriteCSV.
var csvHead = []string{
	"specimen", "revision", "chain", "inspection", "distance_km", "hours", "oil", "joint", "repeat", "by",
	"kind", "photo", "figure", "index", "link", "value", "unit", "u", "lower", "upper",
	"distinct_from_zero", "verdict", "refused", "message", "remedy",
}

// WriteCSV writes the figures of the lines as a table, one figure a row, for
// spreadsheets and statistics programs.
//
// Every row says whose figure it is. The pitches of a span are figures named
// pitch, told apart by index and link. A photo that was refused has one row
// with the code, message and remedy instead of a figure, so that none goes
// unseen. distinct_from_zero stands beside a play that was measured from
// motion, verdict beside all figures of a chain that was held against a limit
// and beside each reading that its maker limits. What is no figure with an
// interval (profiles, tracks, budgets, the readings that an ambiguous figure
// covers) is in the JSON alone. What is not known is an empty cell; figures
// have all the digits of the JSON.
//
// The table begins with the mark by which spreadsheets know UTF-8. A text that
// begins with = + - @, wide or narrow, a tab or a return gets an apostrophe in
// front: a spreadsheet would take it for a formula, and a file's name must not
// be one. Text that is not printable is quoted as by SafeName.
func WriteCSV(w io.Writer, lines iter.Seq2[Line, error]) error {
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	if err := out.Write(csvHead); err != nil {
		return err
	}
	for line, err := range lines {
		if err != nil {
			return err
		}
		for _, row := range csvRows(line) {
			if err := out.Write(row.cells()); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}

// csvRow is one row of the table.
type csvRow struct {
	levels   Levels
	kind     Kind
	photo    string
	figure   string
	pitch    *Pitch // of which the figure is the length
	quantity *uncert.Quantity
	distinct *bool
	verdict  string
	refused  refusalCells
}

type refusalCells struct{ code, message, remedy string }

func csvRows(line Line) []csvRow {
	var head csvRow
	if b := line.Batch(); b != nil {
		head.levels = b.Levels
	}
	var rows []csvRow
	add := func(figures Figures) {
		for _, f := range figures {
			row := head
			row.figure, row.quantity = f.Name, &f.Quantity
			rows = append(rows, row)
		}
	}
	if s := line.Stretch; s != nil {
		head.kind = stretchKind
		if s.Decision != nil {
			head.verdict = string(s.Decision.Verdict)
		}
		add(s.figures())
		for i, m := range s.Maker { // the last of the figures, each with a limit of its own
			row := &rows[len(rows)-len(s.Maker)+i]
			row.verdict = ""
			if m.Decision != nil {
				row.verdict = string(m.Decision.Verdict)
			}
		}
		return rows
	}
	r := line.Record
	head.kind, head.photo = r.Kind, r.Photo.Path
	if r.Refused != nil {
		head.refused = refusalCells{string(r.Refused.Code), r.Refused.Message, r.Refused.Remedy}
		return []csvRow{head}
	}
	add(r.Figures())
	for i := range rows {
		if rows[i].figure == "play" {
			rows[i].distinct = r.Distinct
		}
	}
	for _, p := range r.Pitches {
		row := head
		row.figure, row.pitch, row.quantity = "pitch", &p, &p.Length
		rows = append(rows, row)
	}
	return rows
}

func (row csvRow) cells() []string {
	l := row.levels
	cells := []string{
		csvText(l.Specimen), csvText(l.Revision), csvText(l.Chain), csvText(l.Inspection), known(l.DistanceKM), known(l.Hours),
		csvText(l.Oil), csvText(l.Joint), "", csvText(l.By), string(row.kind), csvText(row.photo), csvText(row.figure),
	}
	if l.Repeat > 0 {
		cells[8] = strconv.Itoa(l.Repeat)
	}
	if p := row.pitch; p != nil {
		cells = append(cells, strconv.Itoa(p.Index), csvText(string(p.Link)))
	} else {
		cells = append(cells, "", "")
	}
	if q := row.quantity; q != nil {
		cells = append(cells, csvNumber(q.Value), csvText(q.Unit), csvNumber(q.U), csvNumber(q.Lower), csvNumber(q.Upper))
	} else {
		cells = append(cells, "", "", "", "", "")
	}
	distinct := ""
	if row.distinct != nil {
		distinct = strconv.FormatBool(*row.distinct)
	}
	return append(cells, distinct, csvText(row.verdict),
		csvText(row.refused.code), csvText(row.refused.message), csvText(row.refused.remedy))
}

// csvNumber writes all digits of v.
func csvNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// known writes v, which is zero if it is not known.
func known(v float64) string {
	if v == 0 {
		return ""
	}
	return csvNumber(v)
}

// csvText is a text that no spreadsheet takes for a formula.
func csvText(s string) string {
	s = SafeName(s)
	if first, size := utf8.DecodeRuneInString(s); size > 0 && strings.ContainsRune("=+-@\t\r＝＋－＠", first) {
		return "'" + s
	}
	return s
}
