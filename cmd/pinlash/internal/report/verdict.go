package report

import (
	"fmt"
	"slices"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// verdict is what a reader wants to know of a chain, in plain words.
type verdict struct {
	Chain    string
	Link     string // id of the chain's chapter
	State    string // past, within, close or none: names the mark and the style
	Word     string // the state, for the eye
	Headline string
	Place    string // the chain's levels in full and the inspection
	Says     []string
	Settles  string
	Missing  []string
}

// verdict says how a chain stands at its latest inspection.
func (b *builder) verdict(c *chain) verdict {
	v := verdict{Chain: c.Label, Link: c.ID, State: "none", Word: "No verdict"}
	at := c.last()
	v.Place = c.Place
	if at.Label != "" {
		v.Place = strings.TrimPrefix(v.Place+"; "+at.Label, "; ")
	}
	v.Place = capital(v.Place)
	s := decided(at)
	if s == nil {
		v.Headline = fmt.Sprintf("%s: no verdict.", c.Label)
		v.Missing = b.missing(at)
		v.Says = append(v.Says, b.singles(at)...)
	} else {
		grown, known := grownBy(s)
		switch s.Decision.Verdict {
		case wear.Past:
			v.State, v.Word = "past", "Past the limit"
			v.Headline = fmt.Sprintf("%s is past its limit.", c.Label)
		case wear.Within:
			v.State, v.Word = "within", "Within the limit"
			v.Headline = fmt.Sprintf("%s is within its limit.", c.Label)
		case wear.TooClose:
			v.State, v.Word = "close", "Too close to call"
			v.Headline = fmt.Sprintf("%s is too close to its limit to call.", c.Label)
			v.Settles = sentence(s.Decision.Settles)
		default:
			v.Headline = fmt.Sprintf("%s: %s.", c.Label, shorten(string(s.Decision.Verdict), 60))
		}
		limit := b.limit(s.Limit)
		if known {
			v.Says = append(v.Says, fmt.Sprintf("It has grown by %s. The limit is %s.", b.words(grown), limit))
		} else {
			v.Says = append(v.Says, "The limit is "+limit+".")
		}
		least, most := probability(float64(s.Decision.PastLeast)), probability(float64(s.Decision.PastMost))
		if least == most {
			v.Says = append(v.Says, fmt.Sprintf("The probability that it is past the limit is %s.", least))
		} else {
			v.Says = append(v.Says, fmt.Sprintf("The probability that it is past the limit lies between %s and %s.", least, most))
		}
		if q, ok := s.Forecast.Find("limit_met_at"); ok {
			v.Says = append(v.Says, fmt.Sprintf("If it runs on as it has, it meets the limit at %s.", b.words(q)))
		}
	}
	for _, s := range at.stretches {
		for _, m := range s.Maker {
			row := b.maker(m)
			v.Says = append(v.Says, strings.TrimSpace(fmt.Sprintf("%s: %s, %s. %s", capital(row.Name), b.words(m.Reading), row.Limit, capital(row.Verdict)+". "+row.Settles)))
		}
	}
	if _, plays := c.plays(); len(plays) > 0 {
		least, most := spread(plays)
		if len(plays) == 1 {
			v.Says = append(v.Says, fmt.Sprintf("One joint was measured: play %s.", b.words(least)))
		} else {
			digits := uncert.PrintedTogether(b.of(least), b.of(most))
			v.Says = append(v.Says, fmt.Sprintf("The play in %d photos of joints runs from %s to %s %s.", len(plays), digits[0], digits[1], b.of(most).Unit))
		}
	}
	if c.Refused > 0 {
		v.Says = append(v.Says, fmt.Sprintf("%s refused; nothing of %s is in the figures.", count(c.Refused, "photo was", "photos were"), itOrThem(c.Refused)))
	}
	return v
}

func itOrThem(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

// overall counts the verdicts, the gravest first; one speaks for itself.
func overall(all []verdict) string {
	if len(all) < 2 {
		return ""
	}
	counts := map[string]int{}
	for _, v := range all {
		counts[v.State]++
	}
	var parts []string
	for _, s := range []struct{ state, words string }{
		{"past", "past the limit"}, {"close", "too close to call"}, {"none", "without a verdict"}, {"within", "within the limit"},
	} {
		if counts[s.state] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[s.state], s.words))
		}
	}
	return fmt.Sprintf("Of %d chains %s.", len(all), strings.Join(parts, ", "))
}

// decided is the line of an inspection that holds the chain against its limit.
// Of several the gravest counts.
func decided(at *inspection) *record.Stretch {
	grave := []wear.Verdict{wear.Within, wear.TooClose, wear.Past}
	var found *record.Stretch
	for _, s := range at.stretches {
		if s.Decision == nil || s.Limit == nil {
			continue
		}
		if found == nil || slices.Index(grave, s.Decision.Verdict) > slices.Index(grave, found.Decision.Verdict) {
			found = s
		}
	}
	return found
}

// grownBy finds the growth in the unit of the limit.
func grownBy(s *record.Stretch) (uncert.Quantity, bool) {
	if s.Limit != nil && s.Limit.Unit == "mm" {
		return s.Results.Find("reading")
	}
	for _, name := range []string{"elongation", "chain_elongation"} {
		if q, ok := s.Growth.Find(name); ok {
			return q, true
		}
	}
	return uncert.Quantity{}, false
}

// limit puts a limit into words.
func (b *builder) limit(l *record.Limit) string {
	value := fmt.Sprintf("%.4g %%", l.Value)
	if l.Unit == "mm" {
		value = b.Length(l.Value)
	}
	text := fmt.Sprintf("%s, %s (%s)", value, record.SafeName(l.Name), record.SafeName(l.Source))
	if l.Provenance == "M" {
		text += ", which is common practice and no standard"
	}
	return text
}

// missing says what a verdict would need.
func (b *builder) missing(at *inspection) []string {
	var missing []string
	grown, limited := false, false
	for _, s := range at.stretches {
		grown = grown || len(s.Growth) > 0
		limited = limited || s.Limit != nil
	}
	for _, p := range at.photos {
		grown = grown || len(p.record.Growth) > 0
		limited = limited || setting(p.record.Batch, "limit") != ""
	}
	if len(at.stretches) == 0 {
		missing = append(missing, "The results hold single photos and no line for the whole chain. Measure the folder with pinlash batch, or carry the readings on with pinlash stretch.")
	}
	if !grown {
		missing = append(missing, "Growth is not known: a worn joint is held against a new one. Give --new-play, measured on a new joint of the same make, or --chain.")
	}
	if !limited {
		missing = append(missing, "No limit is in the results. Give the maker's with --limit.")
	}
	return missing
}

// singles counts what the photos' own limits made of them.
func (b *builder) singles(at *inspection) []string {
	counts := map[wear.Verdict]int{}
	total := 0
	for _, p := range at.photos {
		for _, note := range p.record.Notes {
			for _, v := range []wear.Verdict{wear.Past, wear.Within, wear.TooClose} {
				if strings.HasPrefix(note, "if every joint is like this one") && strings.Contains(note, string(v)) {
					counts[v]++
					total++
				}
			}
		}
	}
	if total == 0 {
		return nil
	}
	var parts []string
	for _, v := range []wear.Verdict{wear.Past, wear.TooClose, wear.Within} {
		if counts[v] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[v], v))
		}
	}
	return []string{fmt.Sprintf("Held against the stated limit one by one, as if every joint were like it, %s: %s.", count(total, "joint gives", "joints give"), strings.Join(parts, ", "))}
}
