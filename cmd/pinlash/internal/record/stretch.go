package record

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"pinlash/measure/check"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// Stretch is what the elongation model makes of readings that were typed in.
type Stretch struct {
	Title   Sentence // for people
	Version string   // of pinlash
	Source  string   // "flags", "-" for standard input, or a file's name
	Chain   string   // "" when only its pitch is known
	Span    *Counted
	Results Figures
	Growth  Figures
	// Readings are the growths that the readings leave open: of an odd span
	// two, one for each kind of link that may begin it.
	Readings   []Reading
	Cams       []Cam
	Drive      Figures
	Running    Figures // wear coefficient and what it comes from
	Limit      *Limit
	Decision   *Decision
	Forecast   Figures
	CrossCheck *CrossCheck
	Maker      []MakerReading
	Checks     []check.Check
	Notes      []string
	Cautions   []string
	Says       []Sentence // for people, not part of the JSON
	// Batch is set on lines that a batch writes.
	Batch *Batch
}

const stretchKind Kind = "stretch"

// Counted is the length of a span in pitches, as it was counted.
type Counted struct {
	Pitches   int    `json:"pitches"`
	Words     string `json:"words"`
	Reference string `json:"reference"` // pin to pin, bush to bush, or not stated
}

// Reading is one way to read an ambiguous length.
type Reading struct {
	Name   string  `json:"reading"`
	Growth Figures `json:"growth"`
}

// Cam is what the growth does to one camshaft.
type Cam struct {
	Name          string // printable
	Teeth         int
	PitchDiameter float64 // mm
	Strand        float64 // pitches in tension between it and the driver
	// What a tooth jumped on its wheel would be, deg.
	ToothCam, ToothCrank float64
	Figures              Figures
}

// Limit is what the growth was held against.
type Limit struct {
	Name       string  `json:"name"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	Source     string  `json:"source"`
	Provenance string  `json:"provenance"`
}

// NewLimit returns the printed form of l.
func NewLimit(l wear.Limit) *Limit {
	return &Limit{l.Name, l.Value, l.Unit, l.Source, l.Provenance}
}

// words describe the limit in a phrase.
func (l *Limit) words(u Units) string {
	return fmt.Sprintf("%s, %s (%s)", l.figure(u), l.Name, l.Source)
}

// figure prints a percentage in round digits, a maker's length as it was given.
func (l *Limit) figure(u Units) string {
	if l.Unit == "%" {
		return fmt.Sprintf("%.4g %%", l.Value)
	}
	return u.Short(uncert.Combine(l.Value, l.Unit, nil))
}

// Decision is a growth held against its limit.
type Decision struct {
	Verdict wear.Verdict `json:"verdict"`
	// PastLeast and PastMost bound the probability of being past the limit.
	PastLeast  digits `json:"probability_past_least"`
	PastMost   digits `json:"probability_past_most"`
	MoreJoints int    `json:"more_joints,omitempty"`
	Settles    string `json:"settles,omitempty"`
}

// NewDecision returns the printed form of d.
func NewDecision(d wear.Decision) *Decision {
	least, most := min(d.PastLeast, d.PastMost), max(d.PastLeast, d.PastMost)
	return &Decision{d.Verdict, digits(least), digits(most), d.MoreJoints, d.Settles}
}

// Words says the decision in a sentence without its stop.
func (d *Decision) Words(l *Limit) string { return d.words(l, Units{}) }

func (d *Decision) words(l *Limit, u Units) string {
	if d.Verdict == wear.TooClose {
		return fmt.Sprintf("%s to %s; what would settle it: %s", d.Verdict, l.figure(u), d.Settles)
	}
	return fmt.Sprintf("%s of %s", d.Verdict, l.figure(u))
}

// MakerReading is a reading that its maker gives a limit for, one of Most and
// Least, mm.
type MakerReading struct {
	What     string          `json:"what"` // printable
	Reading  uncert.Quantity `json:"reading"`
	Most     digits          `json:"most_mm,omitempty"`
	Least    digits          `json:"least_mm,omitempty"`
	Decision *Decision       `json:"decision"`
}

// NewMakerReading returns the printed form of a reading held against its limit.
func NewMakerReading(what string, reading uncert.Quantity, side wear.Side, d wear.Decision) MakerReading {
	m := MakerReading{What: what, Reading: reading, Decision: NewDecision(d)}
	if side == wear.LowerLimit {
		m.Least = digits(d.Limit.Value)
	} else {
		m.Most = digits(d.Limit.Value)
	}
	return m
}

// words say the decision in a sentence without its stop.
func (m MakerReading) words(u Units) string {
	side, limit := "most", m.Most
	if m.Least > 0 {
		side, limit = "least", m.Least
	}
	words := fmt.Sprintf("%s, at %s %s: %s", m.What, side, u.Length(float64(limit)), m.Decision.Verdict)
	if m.Decision.Settles != "" {
		words += "; what would settle it: " + m.Decision.Settles
	}
	return words
}

// CrossCheck is the growth of the joints against that of the span.
type CrossCheck struct {
	Agreement  wear.Agreement  `json:"agreement"`
	Difference uncert.Quantity `json:"difference"`
	Missing    []string        `json:"missing,omitempty"`
}

// NewCrossCheck returns the printed form of c.
func NewCrossCheck(c wear.CrossCheck) *CrossCheck {
	return &CrossCheck{c.Agreement, c.Difference.Mid(), c.Missing}
}

type camJSON struct {
	Name          string  `json:"name"`
	Teeth         int     `json:"teeth"`
	PitchDiameter digits  `json:"pitch_diameter_mm"`
	Strand        digits  `json:"strand_pitches"`
	ToothCam      digits  `json:"jumped_tooth_cam_deg"`
	ToothCrank    digits  `json:"jumped_tooth_crank_deg"`
	Figures       Figures `json:"timing"`
}

type stretchJSON struct {
	Kind       Kind           `json:"kind"`
	Version    string         `json:"pinlash"`
	Source     string         `json:"source"`
	Chain      string         `json:"chain,omitempty"`
	Span       *Counted       `json:"span,omitempty"`
	Results    Figures        `json:"results,omitempty"`
	Growth     Figures        `json:"growth,omitempty"`
	Readings   []Reading      `json:"readings,omitempty"`
	Cams       []camJSON      `json:"cams,omitempty"`
	Drive      Figures        `json:"drive,omitempty"`
	Running    Figures        `json:"running,omitempty"`
	Limit      *Limit         `json:"limit,omitempty"`
	Decision   *Decision      `json:"decision,omitempty"`
	Forecast   Figures        `json:"forecast,omitempty"`
	CrossCheck *CrossCheck    `json:"cross_check,omitempty"`
	Maker      []MakerReading `json:"maker,omitempty"`
	Checks     []checkJSON    `json:"checks"`
	Notes      []string       `json:"notes"`
	Cautions   []string       `json:"cautions,omitempty"`
	Batch      *Batch         `json:"batch,omitempty"`
}

// MarshalJSON writes the record without line breaks.
func (s Stretch) MarshalJSON() ([]byte, error) {
	out := stretchJSON{
		Kind: stretchKind, Version: s.Version, Source: s.Source, Chain: s.Chain, Span: s.Span,
		Results: s.Results, Growth: s.Growth, Drive: s.Drive, Running: s.Running, Limit: s.Limit, Decision: s.Decision,
		Forecast: s.Forecast, CrossCheck: s.CrossCheck, Readings: s.Readings, Maker: s.Maker,
		Checks: checksJSON(s.Checks), Notes: s.Notes, Cautions: s.Cautions, Batch: s.Batch,
	}
	for _, c := range s.Cams {
		out.Cams = append(out.Cams, camJSON{c.Name, c.Teeth, digits(c.PitchDiameter), digits(c.Strand), digits(c.ToothCam), digits(c.ToothCrank), c.Figures})
	}
	if out.Notes == nil {
		out.Notes = []string{}
	}
	return marshal(out)
}

// Meaning is what the figures mean, in one line and in millimetres.
func (s Stretch) Meaning() string {
	says := make([]string, len(s.Says))
	for i, sentence := range s.Says {
		says[i] = sentence.String()
	}
	return strings.Join(says, " ")
}

// figures returns all figures in the order of print, those of a camshaft
// under its name.
func (s Stretch) figures() Figures {
	all := append(append(Figures{}, s.Results...), s.Growth...)
	for _, c := range s.Cams {
		for _, f := range c.Figures {
			all = append(all, Figure{c.Name + " " + f.Name, f.Quantity})
		}
	}
	all = slices.Concat(all, s.Drive, s.Running, s.Forecast)
	for _, m := range s.Maker {
		all = append(all, Figure{m.What, m.Reading})
	}
	return all
}

// WriteStretch writes the record for people, in one call to w.
func WriteStretch(w io.Writer, s Stretch, style Style) error {
	var b bytes.Buffer
	if !style.Quiet {
		fmt.Fprintln(&b, s.Title.In(style.Units))
	}
	writeFigures(&b, s.figures(), style)
	if !style.Quiet {
		for _, sentence := range s.Says {
			fmt.Fprintf(&b, "  %s\n", sentence.In(style.Units))
		}
		if s.Limit != nil {
			fmt.Fprintf(&b, "  Limit: %s.\n", s.Limit.words(style.Units))
		}
		if s.Decision != nil {
			fmt.Fprintf(&b, "  Decision: %s.\n", s.Decision.words(s.Limit, style.Units))
		}
		for _, m := range s.Maker {
			fmt.Fprintf(&b, "  Maker's limit: %s.\n", m.words(style.Units))
		}
		writeRemarks(&b, s.Checks, s.Notes)
		for _, caution := range s.Cautions {
			fmt.Fprintf(&b, "  Caution: %s.\n", strings.TrimSuffix(caution, "."))
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}
