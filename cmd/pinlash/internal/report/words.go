package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// shorten returns a name fit for a heading: printable, and cut at its front
// when it is long, since the end of a path names the photo.
func shorten(name string, most int) string {
	name = record.SafeName(name)
	n := utf8.RuneCountInString(name)
	if n <= most {
		return name
	}
	return "…" + string([]rune(name)[n-most+1:])
}

// name is a file's or a chain's name: Short for headings, Full to be read in
// full.
type name struct{ Short, Full string }

func named(s string) name { return name{shorten(s, 60), record.SafeName(s)} }

// Cut says whether Short leaves anything out.
func (n name) Cut() bool { return n.Short != n.Full }

// units shows lengths in millimetres or inches.
type units struct{ record.Units }

// of returns a figure in the unit in which it is shown.
func (u units) of(q uncert.Quantity) uncert.Quantity {
	if q.Unit == "%/km" || q.Unit == "%/h" { // a number with six noughts is not read
		return q.Scaled(1000, "% per 1000 "+q.Unit[2:])
	}
	return u.Of(q)
}

const mmPerInch = 25.4

// length returns a bare length in the unit shown, and that unit.
func (u units) length(mm float64) (float64, string) {
	if u.Inch {
		return mm / mmPerInch, "in"
	}
	return mm, "mm"
}

// figure is a row of figures.
type figure struct {
	Name, Value, U, Interval, Unit string
	Sort                           float64
	Parts                          []part
	Small                          int // parts that are too small to name
}

// leastShare is the share of the variance from which a part is named.
const leastShare = 0.005

// part is a row of an uncertainty's budget.
type part struct {
	Name, U, Share, Freedom string
}

func (u units) figure(name string, q uncert.Quantity) figure {
	q = u.of(q)
	p := q.Printed()
	f := figure{Name: record.SafeName(record.Words(name)), Value: p.Value, U: p.U, Interval: p.Lower + " to " + p.Upper, Unit: record.SafeName(q.Unit), Sort: q.Value}
	if q.U == 0 {
		f.Interval = "exact"
		return f
	}
	for _, t := range q.Budget.Merge().Largest() {
		if t.U*t.U < leastShare*q.U*q.U {
			f.Small++
			continue
		}
		f.Parts = append(f.Parts, part{
			Name:    record.SafeName(t.Name),
			U:       fmt.Sprintf("%.2g", t.U),
			Share:   fmt.Sprintf("%.0f %%", 100*t.U*t.U/(q.U*q.U)),
			Freedom: freedom(t.DF),
		})
	}
	return f
}

// freedom prints degrees of freedom, "" if there are many: a thousand are as
// good as infinitely many.
func freedom(df float64) string {
	if df == 0 || df >= 1000 {
		return ""
	}
	return fmt.Sprintf("%.3g", df)
}

func (u units) figures(all record.Figures) []figure {
	out := make([]figure, len(all))
	for i, f := range all {
		out[i] = u.figure(f.Name, f.Quantity)
	}
	return out
}

// words is a figure in a sentence.
func (u units) words(q uncert.Quantity) string {
	q = u.of(q)
	p := q.Printed()
	if q.U == 0 {
		return p.Value + " " + q.Unit
	}
	return fmt.Sprintf("%s %s (95 %% interval %s to %s %s)", p.Value, q.Unit, p.Lower, p.Upper, q.Unit)
}

// probability prints a probability without feigning certainty.
func probability(p float64) string {
	switch {
	case p < 0.001:
		return "under 0.1 %"
	case p > 0.999:
		return "over 99.9 %"
	case p < 0.1 || p > 0.9:
		return strconv.FormatFloat(100*p, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(100*p, 'f', 0, 64) + " %"
}

// count prints a number with its noun.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// drawable says whether a number can stand on an axis; a figure may be any
// that JSON can hold.
func drawable(values ...float64) bool {
	for _, v := range values {
		if !(math.Abs(v) < 1e9) {
			return false
		}
	}
	return true
}

// grouped prints a count of running with its thousands apart.
func grouped(v float64) string {
	text := strconv.FormatFloat(v, 'f', -1, 64)
	whole, rest, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0 && len(whole) > 4; i -= 3 {
		whole = whole[:i] + "\u202f" + whole[i:]
	}
	if rest != "" {
		whole += "." + rest
	}
	return whole
}
