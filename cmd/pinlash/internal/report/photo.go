package report

import (
	"fmt"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// kinds are the kinds of photo in words.
var kinds = map[record.Kind]string{
	record.Joint: "joint seen end-on",
	record.Play:  "play of a joint from photos of it pushed and pulled",
	record.Span:  "span of the chain",
	record.Ruler: "scale",
}

// describe puts a record into words.
func (b *builder) describe(p *photo) {
	r := p.record
	p.Name = named(r.Photo.Path)
	p.Heading = p.Name.Short
	p.Kind = kinds[r.Kind]
	if r.Clip != nil {
		p.Kind = "play of a joint from a clip"
	}
	p.Command = command(r)
	p.Levels = levelWords(p.levels)
	if r.Refused != nil {
		p.Refused = &refusal{string(r.Refused.Code), sentence(r.Refused.Message), sentence(r.Refused.Remedy)}
		p.Alt = "The refused photo " + p.Name.Short + " with what was found in it."
		return
	}
	p.Figures = b.figures(r.Figures())
	for _, reading := range r.Readings {
		p.Readings = append(p.Readings, readingRow{record.SafeName(reading.Name), b.figures(reading.Growth)})
	}
	p.Headline = b.headline(r)
	p.Meaning = record.SafeName(r.Meaning.In(b.Units))
	if r.Scale != nil {
		p.Scale = record.SafeName(r.Scale.In(b.Units))
	}
	if r.Clip != nil {
		p.Clip = r.Clip.Words()
		p.Track = b.trackPlot(r.Clip)
	}
	p.Failed, p.Passed = checkRows(r.Checks)
	for _, note := range r.Notes {
		p.Notes = append(p.Notes, sentence(note))
	}
	for _, pitch := range r.Pitches {
		p.Pitches = append(p.Pitches, pitchRow{pitch.Index, string(pitch.Link), b.figure("", pitch.Length)})
	}
	p.Alt = alt(p)
	p.Wear = b.wearPlot(r)
	p.Pitch = b.pitchPlot(r)
}

// sentence begins with a capital and ends with a stop. Its text is made safe
// like a name: what turns the direction of writing, too, is not obeyed.
func sentence(s string) string {
	if s == "" {
		return s
	}
	s = record.SafeName(s)
	return capital(strings.TrimSuffix(s, ".")) + "."
}

func levelWords(l record.Levels) []string {
	var words []string
	for _, part := range []struct{ what, value string }{
		{"specimen", l.Specimen},
		{"revision", l.Revision},
		{"chain", l.Chain},
		{"inspection", l.Inspection},
		{"joint", l.Joint},
		{"photographed by", l.By},
		{"oil", l.Oil},
	} {
		if part.value != "" {
			words = append(words, called(part.what, record.SafeName(part.value)))
		}
	}
	if l.Repeat > 1 {
		words = append(words, fmt.Sprintf("repeat %d", l.Repeat))
	}
	words = append(words, running(l)...)
	return words
}

// headline is the figure that a photo is taken for.
func (b *builder) headline(r *record.Record) string {
	for _, name := range []string{"play", "elongation", "mean_pitch", "mm_per_px"} {
		if q, ok := r.Results.Find(name); ok {
			q = b.of(q)
			p := q.Printed()
			if r.Distinct != nil && !*r.Distinct {
				return fmt.Sprintf("no play seen, at most %s %s", p.Upper, q.Unit)
			}
			if name == "mm_per_px" {
				return p.Value + " " + q.Unit
			}
			return fmt.Sprintf("%s %s %s", record.Words(name), p.Value, q.Unit)
		}
	}
	return ""
}

func checkRows(checks []check.Check) (failed, passed []checkRow) {
	for _, c := range checks {
		row := checkRow{record.SafeName(record.Words(c.Name)), fmt.Sprintf("%.4g", c.Value), fmt.Sprintf("%.4g", c.Limit)}
		if c.OK {
			passed = append(passed, row)
		} else {
			failed = append(failed, row)
		}
	}
	return failed, passed
}

// alt says what is to be seen in a photo with its overlay.
func alt(p *photo) string {
	what := map[record.Kind]string{
		record.Joint: "a pin end in its bush, with the circles fitted to the bore and the pin, the edge points behind them, and the marks of the scale",
		record.Play:  "a joint from the side, with the moving link, its way along the pull, and the marks of the scale",
		record.Span:  "a length of chain from the side, with the pin heads that were found, every pitch beside its number, and the marks of the scale",
		record.Ruler: "a scale with the marks that were found",
	}[p.record.Kind]
	text := "Photo " + p.Name.Short + ": " + what + "."
	if p.Headline != "" {
		text += " " + capital(p.Headline) + "."
	}
	return text
}
