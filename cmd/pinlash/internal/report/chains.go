package report

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
)

// chain is all that is known of one chain: a chapter of the page.
type chain struct {
	ID, Label   string
	JointsID    string
	Place       string // its levels in full, "" where Label has them all
	Verdict     verdict
	Inspections []*inspection
	Joints      []jointRow
	Refused     int

	Growth     plotted
	GrowthRows []growthRow
	Map        chainMap
	Play       plotted
	Pitches    []plotted
	Cams       []camRow // of the latest inspection that has any, like the three that follow
	CamsAt     string
	CamPlot    plotted
	Drive      []figure
	Maker      []makerRow
	Running    []figure
	Forecast   []figure
	Trend      plotted
	CrossCheck []crossCheck
	Whole      []whole // figures of the whole chain, one a stretch line, the latest first
	Several    bool    // inspections

	levels record.Levels
	limit  *record.Limit
}

// inspection is a chain at one time.
type inspection struct {
	Label     string // "" where there is nothing to tell it by
	Full      string // uncut
	Short     string // for the rows of a plot
	levels    record.Levels
	stretches []*record.Stretch
	photos    []*photo
}

// photo is a record with its place on the page.
type photo struct {
	ID       string
	Name     name
	Heading  string
	Kind     string
	Figures  []figure
	Readings []readingRow
	Headline string // its main figure, for the closed heading
	Meaning  string
	Scale    string
	Clip     string
	Failed   []checkRow
	Passed   []checkRow
	Notes    []string
	Command  string
	Levels   []string
	Shown    shown
	Alt      string
	Wear     plotted
	Pitch    plotted
	Pitches  []pitchRow
	Track    plotted
	Refused  *refusal
	Open     bool

	record *record.Record
	levels record.Levels
	chain  *chain
	at     *inspection
}

// Budget says whether any figure's uncertainty is known in parts.
func (p *photo) Budget() bool {
	return slices.ContainsFunc(p.Figures, func(f figure) bool { return len(f.Parts) > 0 })
}

type refusal struct{ Code, Message, Remedy string }

type checkRow struct{ Name, Value, Limit string }

type readingRow struct {
	Name    string
	Figures []figure
}

type pitchRow struct {
	Index int
	Link  string
	figure
}

// builder makes the page's parts from the lines.
type builder struct {
	units
	in       Input
	chains   []*chain
	measured []*photo // in the order of the lines
	refused  []*photo
	stretch  []*record.Stretch
}

func newBuilder(in Input) *builder {
	b := &builder{units: units{record.Units{Inch: in.Inches}}, in: in}
	b.group()
	b.pictures()
	for i, c := range b.chains {
		c.ID, c.JointsID = "chain-"+strconv.Itoa(i+1), "joints-"+strconv.Itoa(i+1)
		b.fill(c)
	}
	return b
}

// group sorts the lines into chains and inspections, in the order in which
// they come; inspections by distance and hours.
func (b *builder) group() {
	type place struct{ specimen, revision, chain string }
	type time struct {
		place
		inspection string
		km, hours  float64
	}
	chains, times := map[place]*chain{}, map[time]*inspection{}
	find := func(l record.Levels) (*chain, *inspection) {
		at := place{l.Specimen, l.Revision, l.Chain}
		c := chains[at]
		if c == nil {
			c = &chain{levels: l}
			chains[at] = c
			b.chains = append(b.chains, c)
		}
		when := time{at, l.Inspection, l.DistanceKM, l.Hours}
		in := times[when]
		if in == nil {
			in = &inspection{levels: l, Label: inspectionLabel(l, 40), Full: inspectionLabel(l, 1<<20), Short: inspectionShort(l)}
			times[when] = in
			c.Inspections = append(c.Inspections, in)
		}
		return c, in
	}
	for _, line := range b.in.Lines {
		var levels record.Levels
		if batch := line.Batch(); batch != nil {
			levels = batch.Levels
		}
		c, at := find(levels)
		if s := line.Stretch; s != nil {
			at.stretches = append(at.stretches, s)
			b.stretch = append(b.stretch, s)
			continue
		}
		p := &photo{record: line.Record, levels: levels, chain: c, at: at}
		at.photos = append(at.photos, p)
		if line.Record.Refused != nil {
			b.refused = append(b.refused, p)
			c.Refused++
		} else {
			b.measured = append(b.measured, p)
		}
	}
	labels := map[string]int{}
	for _, c := range b.chains {
		slices.SortStableFunc(c.Inspections, func(x, y *inspection) int {
			return cmp.Or(cmp.Compare(x.levels.DistanceKM, y.levels.DistanceKM), cmp.Compare(x.levels.Hours, y.levels.Hours))
		})
		c.name(false)
		labels[c.Label]++
	}
	for _, c := range b.chains {
		if labels[c.Label] > 1 {
			c.name(true)
		}
	}
}

// name labels a chain by the first of its levels that is known, or by all.
func (c *chain) name(all bool) {
	var shorts, fulls []string
	for _, part := range []struct{ what, value string }{
		{"chain", c.levels.Chain}, {"revision", c.levels.Revision}, {"specimen", c.levels.Specimen},
	} {
		if part.value != "" {
			shorts = append(shorts, called(part.what, shorten(part.value, 40)))
			fulls = append(fulls, called(part.what, record.SafeName(part.value)))
		}
	}
	if shorts == nil {
		c.Label = "The chain"
		return
	}
	if !all {
		shorts = shorts[:1]
	}
	c.Label, c.Place = capital(strings.Join(shorts, ", ")), capital(strings.Join(fulls, ", "))
	if c.Label == c.Place {
		c.Place = ""
	}
}

// called puts what a name names before it, unless the name says so.
func called(what, name string) string {
	if strings.HasPrefix(strings.ToLower(name), what) {
		return name
	}
	return what + " " + name
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func inspectionLabel(l record.Levels, most int) string {
	var parts []string
	if l.Inspection != "" {
		parts = append(parts, called("inspection", shorten(l.Inspection, most)))
	}
	parts = append(parts, running(l)...)
	return strings.Join(parts, ", ")
}

func inspectionShort(l record.Levels) string {
	if l.Inspection != "" {
		return shorten(l.Inspection, 12)
	}
	return strings.Join(running(l), ", ")
}

// running says how far and how long a chain has run, as far as the name of the
// inspection does not.
func running(l record.Levels) []string {
	var parts []string
	for _, run := range []struct {
		much float64
		unit string
	}{{l.DistanceKM, "km"}, {l.Hours, "h"}} {
		said := strings.ReplaceAll(l.Inspection, " ", "") == fmt.Sprintf("%g%s", run.much, run.unit)
		if run.much > 0 && !said {
			parts = append(parts, grouped(run.much)+" "+run.unit)
		}
	}
	return parts
}

// last is the latest inspection that has photos measured or a verdict.
func (c *chain) last() *inspection {
	for _, in := range slices.Backward(c.Inspections) {
		if len(in.stretches) > 0 || slices.ContainsFunc(in.photos, func(p *photo) bool { return p.record.Refused == nil }) {
			return in
		}
	}
	return c.Inspections[len(c.Inspections)-1]
}

func (b *builder) pictures() {
	all := slices.Concat(b.measured, b.refused)
	records := make([]*record.Record, len(all))
	for i, p := range all {
		records[i] = p.record
	}
	for i, s := range loadPictures(b.in.Pictures, records) {
		all[i].Shown = s
	}
	for i, p := range all {
		p.ID = "photo-" + strconv.Itoa(i+1)
		b.describe(p)
		p.Open = len(b.measured) <= 6
	}
}

// fill works out a chain's chapter from its lines.
func (b *builder) fill(c *chain) {
	for _, in := range slices.Backward(c.Inspections) {
		for _, s := range slices.Backward(in.stretches) {
			if c.limit == nil {
				c.limit = s.Limit
			}
		}
	}
	c.Several = len(c.Inspections) > 1
	c.Joints = b.joints(c)
	c.Map = b.chainMap(c)
	b.growth(c)
	c.Play = b.playPlot(c)
	b.wholes(c)
	c.Verdict = b.verdict(c)
}

// scaleOnly says whether nothing but scales was photographed there: a saved
// scale belongs to no chain.
func (c *chain) scaleOnly() bool {
	for _, in := range c.Inspections {
		if len(in.stretches) > 0 || slices.ContainsFunc(in.photos, func(p *photo) bool { return p.record.Kind != record.Ruler }) {
			return false
		}
	}
	return true
}

// photoGroup is the photos of one chain.
type photoGroup struct {
	Label  string
	Photos []*photo
}

func (b *builder) photosByChain() []photoGroup {
	var all []photoGroup
	for _, c := range b.chains {
		g := photoGroup{Label: c.Label}
		if c.scaleOnly() {
			g.Label = "Scales"
		}
		for _, in := range c.Inspections {
			for _, p := range in.photos {
				if p.record.Refused == nil {
					g.Photos = append(g.Photos, p)
				}
			}
		}
		if g.Photos != nil {
			all = append(all, g)
		}
	}
	return all
}

// plotted is a drawing with the words that say the same.
type plotted struct {
	SVG     template.HTML
	Caption string
	Says    string // for those who cannot see it
}
