package cli

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// revisions gathers the figures of joints by chain and revision.
type revisions struct {
	opts      *compareCommand
	studies   map[record.Kind]*compare.Study
	unplaced  map[record.Kind]int // results without revision or chain
	unnamed   map[record.Kind]missing
	specimens map[string]bool
	last      namedPlace
	hours     bool // distances are hours
	distances bool // some are known
}

// namedPlace is where the last joint belongs, as its study calls it: the next
// mostly belongs there as well.
type namedPlace struct {
	of                          record.Levels
	revision, chain, inspection string
}

// missing counts the results that lack each.
type missing struct{ revision, chain int }

// begin forgets everything.
func (r *revisions) begin() taker {
	*r = revisions{
		opts: r.opts, studies: map[record.Kind]*compare.Study{}, unplaced: map[record.Kind]int{},
		unnamed: map[record.Kind]missing{}, specimens: map[string]bool{}, hours: r.opts.rate.is == perHours,
	}
	return r.take
}

func (r *revisions) take(m *record.Measured, q uncert.Quantity) error {
	l := m.Levels
	if l.Revision == "" || l.Chain == "" {
		r.unplaced[m.Kind]++
		n := r.unnamed[m.Kind]
		if l.Revision == "" {
			n.revision++
		}
		if l.Chain == "" {
			n.chain++
		}
		r.unnamed[m.Kind] = n
		return nil
	}
	distance, err := r.distance(l)
	if err != nil {
		return err
	}
	study := r.studies[m.Kind]
	if study == nil {
		unit := someUnit
		if r.opts.rate.is != "" {
			unit = r.distanceUnit()
		}
		study = compare.NewStudy(q.Unit, unit)
		r.studies[m.Kind] = study
	}
	if last := r.last.of; l.Specimen != last.Specimen || l.Revision != last.Revision || l.Chain != last.Chain || l.Inspection != last.Inspection || len(r.specimens) == 0 {
		r.specimens[shownName(l.Specimen)] = true
		r.last = namedPlace{l, shownName(l.Revision), chainKey(l), shownName(l.Inspection)}
	}
	err = study.Add(compare.Joint{
		Revision: r.last.revision, Chain: r.last.chain, Inspection: r.last.inspection,
		Joint: shownName(l.Joint), Value: q.Value, U: q.U, Distance: distance,
	})
	if err != nil {
		return usageErrorf("%s: %s", record.SafeName(m.Photo()), r.called(err.Error()))
	}
	return nil
}

// chainKey is what a chain is called within a study: "left" of one machine and
// "left" of another are two chains. No printable name has a zero byte in it.
func chainKey(l record.Levels) string { return shownName(l.Specimen) + "\x00" + shownName(l.Chain) }

// distance returns what the chain has run, in the unit of the first that says.
func (r *revisions) distance(l record.Levels) (float64, error) {
	if r.opts.rate.is == "" {
		if !r.distances && l.DistanceKM == 0 && l.Hours > 0 {
			r.hours = true
		}
		if r.hours && l.Hours == 0 && l.DistanceKM > 0 || !r.hours && l.DistanceKM == 0 && l.Hours > 0 {
			return 0, usageErrorf("some chains ran so many km and others so many hours: state the same of all in their job cards, or say --rate km or --rate hours")
		}
	}
	r.distances = r.distances || l.DistanceKM > 0 || l.Hours > 0
	distance := l.DistanceKM
	if r.hours {
		distance = l.Hours
	}
	if distance == 0 && r.opts.rate.is == "" && ofNew.MatchString(l.Inspection) {
		return newDistance, nil
	}
	return distance, nil
}

// ofNew are the names of inspections of chains that have not run. Results do
// not tell a distance of zero from none, and the inspection could not be put
// before the others.
var ofNew = regexp.MustCompile(`(?i)^(new|0+([.,]0+)? ?(km|h|hours)?)$`)

// newDistance stands for zero in a study: a metre, or seconds. Rates are not
// counted from it, for running-in is no wear to go on with.
const newDistance = 0.001

func (r *revisions) distanceUnit() string {
	if r.hours {
		return "h"
	}
	return "km"
}

// someUnit stands in the notes of a study for the unit of its distances, which
// the first results may not tell.
const someUnit = "\x01"

// called puts the names of chains, and the unit of distances, into a text as
// people know them.
func (r *revisions) called(text string) string {
	text = strings.ReplaceAll(text, someUnit, r.distanceUnit())
	if len(r.specimens) == 1 {
		for specimen := range r.specimens {
			return strings.ReplaceAll(text, specimen+"\x00", "")
		}
	}
	return strings.ReplaceAll(strings.ReplaceAll(text, " \x00", " "), "\x00", ", ")
}

// chainOf is the other way round than chainKey.
func chainOf(key string) (specimen, name string) {
	specimen, name, _ = strings.Cut(key, "\x00")
	return specimen, name
}

// fromNew are the figures that are zero for a new chain.
var fromNew = map[string]bool{
	"joint_growth": true, "chain_growth": true, "elongation": true, "chain_elongation": true,
	"wear_depth_pin": true, "wear_depth_bore": true,
}

func (o *compareCommand) runRevisions(streams Streams) error {
	r := &revisions{opts: o}
	g, err := o.gather(r.begin)
	if err != nil {
		return err
	}
	from, notes := g.way()
	study := r.studies[from]
	if study == nil {
		return r.nowhere(from)
	}
	figures, err := r.figures(study, g.figure)
	if err != nil {
		return err
	}
	margin, err := o.margin.in(figures.Unit)
	if err != nil {
		return err
	}
	c, err := compare.Compare(figures, margin)
	if err != nil {
		return usageErrorf("%s", r.called(err.Error()))
	}
	used := 0
	for _, chain := range c.Chains {
		used += chain.Photos
	}
	for i, note := range c.Notes {
		c.Notes[i] = r.called(note)
	}
	for i := range c.Chains {
		if c.Chains[i].Distance == newDistance {
			c.Chains[i].Distance = 0
		}
	}
	c.Notes = append(c.Notes, settling(c, margin)...)
	if len(c.Revisions) == 1 {
		notes = append(notes, "there is one revision: nothing to hold it against")
	}
	if n := r.unplaced[from]; n > 0 {
		notes = append(notes, fmt.Sprintf("%s left out, for no %s is known; state it in the job card and run pinlash batch again", results(n), r.unnamed[from].words()))
	}
	notes = append(notes, g.notes(from)...)
	basis := g.basis(used, from)
	if o.out != "" {
		if err := o.writeData(basis, r.compared(c.Chains, from)); err != nil {
			return err
		}
	}
	if o.plan.given() {
		return o.printPlan(streams, basis, c, notes)
	}
	c.Notes = append(c.Notes, notes...)
	out := record.NewComparison(basis, c, margin, r.hours, chainOf)
	out.Inspection = o.inspection
	return o.print(streams, out, func(w io.Writer, style record.Style) error { return record.WriteComparison(w, out, style) })
}

// settlingPower is the chance with which a study that is advised finds what
// matters.
const settlingPower = 0.9

// settling says which study would find a difference that matters, where this
// one is undecided.
func settling(c compare.Comparison, margin float64) []string {
	undecided := slices.ContainsFunc(c.Differences, func(d compare.Difference) bool { return d.Verdict == compare.Undecided })
	if margin == 0 || c.Model == nil || !undecided {
		return nil
	}
	designs, err := compare.Plan(c.Model.Spread, margin, settlingPower)
	if err != nil {
		return []string{fmt.Sprintf("no study of a size that can be done finds a difference of %.4g %s", margin, c.Unit)}
	}
	_, joints := presentSize(c)
	advised := designs[0]
	for _, d := range designs {
		if d.Joints <= joints {
			advised = d
		}
	}
	each := "1 joint"
	if advised.Joints > 1 {
		each = fmt.Sprintf("%d joints", advised.Joints)
	}
	return []string{fmt.Sprintf("what would settle it: %d chains of each of two revisions with %s each find a difference of %.4g %s in %.0f of 100 studies; --plan has other ways",
		advised.Chains, each, margin, c.Unit, 100*advised.Power)}
}

// figures turns a study into a figure for each chain.
func (r *revisions) figures(study *compare.Study, figure string) (compare.Figures, error) {
	var f compare.Figures
	var err error
	if r.opts.rate.is != "" {
		f, err = study.Rates(fromNew[figure])
	} else {
		f, err = study.At(shownName(r.opts.inspection))
	}
	switch {
	case err == nil:
		return f, nil
	case r.opts.inspection != "":
		return f, usageErrorf("no chain has an inspection %q", r.opts.inspection)
	case r.opts.rate.is == "":
		return f, usageErrorf("%s with --inspection", r.called(err.Error()))
	}
	return f, usageErrorf("%s", r.called(err.Error()))
}

// nowhere says what to put into the job card when no result says where it
// belongs.
func (r *revisions) nowhere(from record.Kind) error {
	n := r.unnamed[from]
	return usageErrorf(`none of %d results says of which %s it is: put %s into the jobcard.toml of each chain's folder, and run pinlash batch again`,
		r.unplaced[from], n.words(), n.lines())
}

func (m missing) words() string {
	switch {
	case m.revision > 0 && m.chain > 0:
		return "revision and chain"
	case m.revision > 0:
		return "revision"
	}
	return "chain"
}

func (m missing) lines() string {
	var lines []string
	if m.revision > 0 {
		lines = append(lines, `revision = "..."`)
	}
	if m.chain > 0 {
		lines = append(lines, `chain = "..."`)
	}
	return strings.Join(lines, " and ")
}

// compared says which results the chains' figures come from. Rates come from
// all that have a distance.
func (r *revisions) compared(chains []compare.Chain, from record.Kind) func(m *record.Measured) bool {
	at := map[[2]string]compare.Chain{}
	for _, c := range chains {
		at[[2]string{c.Revision, c.Name}] = c
	}
	return func(m *record.Measured) bool {
		l := m.Levels
		c, ok := at[[2]string{shownName(l.Revision), chainKey(l)}]
		if !ok || m.Kind != from {
			return false
		}
		distance := l.DistanceKM
		if r.hours {
			distance = l.Hours
		}
		switch {
		case r.opts.rate.is != "":
			return distance > 0
		case c.Inspection != "": // names tell inspections apart where there are some
			return c.Inspection == shownName(l.Inspection)
		}
		return c.Distance == distance
	}
}
