package cli

import (
	"fmt"
	"math"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// openFaces parts the readings of a length whose faces are not stated.
const openFaces = "which faces the length was read over not known"

// grown is a growth in mm: one figure to go on with, and the ends between
// which the readings leave it.
type grown struct {
	main uncert.Quantity
	ends wear.Growth
}

// spread returns value with an uncertainty that covers the growth's ends, any
// value between them being as likely as the others: about the value, the root
// mean square of a rectangle.
func spread(value uncert.Quantity, ends wear.Growth) grown {
	if ends.Known() {
		return grown{ends.Most, ends}
	}
	width := ends.Most.Value - ends.Least.Value
	aside := (ends.Most.Value+ends.Least.Value)/2 - value.Value
	budget := append(uncert.Budget{{Name: ends.Open, U: math.Sqrt(width*width/12 + aside*aside)}}, value.Budget...)
	return grown{uncert.Combine(value.Value, value.Unit, budget), ends}
}

// known is a growth that is one figure.
func known(q uncert.Quantity) grown { return grown{q, wear.Figure(q)} }

// times returns the growth of so many joints, of which the first is the mean.
func (g grown) times(joints int) (grown, error) {
	ends, err := g.ends.Joints(joints)
	return grown{g.main.Scaled(float64(joints), g.main.Unit), ends}, err
}

// percentOf returns the growth in percent of a new length in mm.
func (g grown) percentOf(length float64) (grown, error) {
	ends, err := g.ends.PercentOf(length)
	if err != nil {
		return grown{}, err
	}
	return grown{g.main.Scaled(100/length, "%"), ends}, nil
}

// newLength names the part of a growth's uncertainty that comes from taking the
// new length from the nominal pitch.
const newLength = "new length taken from the nominal pitch"

// nominal returns the growth against the nominal pitch itself, which is what
// limits in percent go by, and not against a new chain, which may be longer.
func (g grown) nominal() grown {
	exactly := func(q uncert.Quantity) uncert.Quantity {
		var b uncert.Budget
		for _, part := range q.Budget {
			if part.Name != newLength {
				b = append(b, part)
			}
		}
		return uncert.Combine(q.Value, q.Unit, b)
	}
	return grown{exactly(g.main), wear.Growth{Least: exactly(g.ends.Least), Most: exactly(g.ends.Most), Open: g.ends.Open}}
}

// pitchesOf counts the pitches of a span and says in words how.
func (s typedSpan) pitchesOf() (int, string, error) {
	stated := 0
	for _, c := range []count{s.Pins, s.Links, s.Pitches} {
		if c.n > 0 {
			stated++
		}
	}
	if stated != 1 {
		return 0, "", usageErrorf("say how long the span is, in one of pins, links and pitches")
	}
	switch {
	case s.Pins.n > 0:
		n, err := wear.PitchesOfPins(s.Pins.n)
		return n, fmt.Sprintf("%d pins, both ends counted, are %s", s.Pins.n, pitchesInWords(n)), err
	case s.Links.n > 0:
		return s.Links.n, fmt.Sprintf("%d links are %s, from the first to the last of %d pins", s.Links.n, pitchesInWords(s.Links.n), s.Links.n+1), nil
	}
	return s.Pitches.n, fmt.Sprintf("%s, from the first to the last of %d pins", pitchesInWords(s.Pitches.n), s.Pitches.n+1), nil
}

func pitchesInWords(n int) string {
	if n == 1 {
		return "1 pitch"
	}
	return fmt.Sprintf("%d pitches", n)
}

// manner is a way to read a span, with the readings taken so.
type manner struct {
	name      string // of the key or flag
	used, new []typedLength
	faces     wear.Faces
}

func (s typedSpan) manners() []manner {
	var taken []manner
	for _, m := range []manner{
		{"outside", s.Outside, s.NewOutside, wear.OutsideJaws},
		{"inside", s.Inside, s.NewInside, wear.InsideJaws},
		{"edges", s.Edges, s.NewEdges, wear.SameSideEdges},
		{"centres", s.Centres, s.NewCentres, wear.Centres},
		{"length", s.Length, s.NewLength, wear.Centres},
		{"grown", s.Grown, nil, wear.Centres},
	} {
		if len(m.used) > 0 || len(m.new) > 0 {
			taken = append(taken, m)
		}
	}
	return taken
}

// given says whether anything of a span was typed in.
func (s typedSpan) given() bool {
	return len(s.manners()) > 0 || s.Pins.n > 0 || s.Links.n > 0 || s.Pitches.n > 0
}

// spanFound is what the readings of a span show.
type spanFound struct {
	chain    wear.Chain
	pitches  int
	begins   wear.Link
	ref      wear.Reference
	counted  record.Counted
	places   int
	results  record.Figures
	perJoint grown
	worst    *grown          // growth per joint at the worst of several places
	reading  uncert.Quantity // mean of the places as read; no unit for growth only
	readings []faceReading
	checks   []check.Check
	notes    []string
}

// faceReading is the growth under one supposition of the faces touched.
type faceReading struct {
	name     string
	perPitch uncert.Quantity
	perJoint wear.Growth
}

// places is a length read at several places, used and new.
type places struct {
	used  wear.Readings
	fresh uncert.Quantity
}

// span works out the growth of a span.
func (t typed) span(chain wear.Chain) (*spanFound, error) {
	pitches, words, err := t.Span.pitchesOf()
	if err != nil {
		return nil, err
	}
	found := &spanFound{chain: chain, pitches: pitches, counted: record.Counted{Pitches: pitches, Words: words, Reference: "not stated"}}
	if found.ref, found.begins, err = t.Span.reference(); err != nil {
		return nil, err
	}
	if t.Span.Over.is != "" {
		found.counted.Reference = found.ref.String()
	}
	taken := t.Span.manners()
	switch {
	case len(taken) == 0:
		return nil, usageErrorf("no reading of the span: give outside, inside, edges, centres, length or grown")
	case len(taken) == 2 && taken[0].name == "outside" && taken[1].name == "inside":
		return found, t.bothJaws(found, taken[0], taken[1])
	case len(taken) > 1:
		return nil, usageErrorf("%s and %s are two ways to read a span; give one, or outside and inside jaws over the same faces", taken[0].name, taken[1].name)
	case len(taken[0].used) == 0:
		return nil, usageErrorf("new_%s without %s: the worn chain was not read", taken[0].name, taken[0].name)
	case taken[0].name == "grown":
		return found, t.grownOnly(found, taken[0])
	case taken[0].name == "length" && len(taken[0].new) == 0:
		return found, t.eitherFaces(found, taken[0])
	case len(taken[0].new) > 0:
		return found, t.sameFaces(found, taken[0])
	}
	return found, t.againstPitch(found, taken[0])
}

// sameFaces holds a span against a new one that was read in the same manner.
func (t typed) sameFaces(found *spanFound, m manner) error {
	used, err := t.readings(m.used, m.faces)
	if err != nil {
		return err
	}
	fresh, err := t.readings(m.new, m.faces)
	if err != nil {
		return err
	}
	if m.faces != wear.Centres && m.faces != wear.SameSideEdges && t.Span.Over.is != overPins {
		found.notes = append(found.notes, "where the jaws touched rollers, their wear is in the growth; outside and inside jaws together cancel it")
	}
	return t.compare(found, used, fresh)
}

// againstPitch holds a span against the nominal pitch.
func (t typed) againstPitch(found *spanFound, m manner) error {
	read, err := t.readings(m.used, m.faces)
	if err != nil {
		return err
	}
	fresh, err := found.nominal()
	if err != nil {
		return err
	}
	found.notes = append(found.notes, noteNominal)
	if m.faces == wear.Centres || m.faces == wear.SameSideEdges {
		return t.compare(found, read, []uncert.Quantity{fresh})
	}
	d, play, note, err := t.Span.touched(found.chain, m.name)
	if err != nil {
		return err
	}
	found.notes = append(found.notes, note)
	asRead, err := t.atPlaces(read, read)
	if err != nil {
		return err
	}
	found.results = append(found.results, record.Figure{Name: "reading", Quantity: asRead.used.Mean})
	for i := range read {
		if read[i], err = wear.SpanLength(m.faces, read[i], d, play); err != nil {
			return err
		}
	}
	if err := t.compare(found, read, []uncert.Quantity{fresh}); err != nil {
		return err
	}
	found.reading = asRead.used.Mean
	return nil
}

const noteNominal = "elongation is against the nominal pitch; growth in mm is against a new chain, which may be up to 0.15 % longer than that: read a new one of the same make over the same faces"

// reference says what the span was measured between, and the link it begins
// with so far as it was stated.
func (s typedSpan) reference() (wear.Reference, wear.Link, error) {
	ref := wear.PinToPin
	if s.Over.is == overRollers {
		ref = wear.BushToBush
	}
	switch s.FirstLink.is {
	case firstInner, firstOuter:
		if s.Over.is == "" {
			return ref, wear.UnknownLink, usageErrorf("first_link needs over: pins or rollers")
		}
		if s.FirstLink.is == firstInner {
			return ref, wear.InnerLink, nil
		}
		return ref, wear.OuterLink, nil
	}
	return ref, wear.UnknownLink, nil
}

// caliperStep is taken where none is stated.
const caliperStep = 0.01

// readings turns typed lengths into figures with the uncertainty of the
// caliper, or the one that was stated.
func (t typed) readings(lengths []typedLength, faces wear.Faces) ([]uncert.Quantity, error) {
	out := make([]uncert.Quantity, len(lengths))
	for i, l := range lengths {
		q, err := t.Span.reading(l.mm, faces == wear.InsideJaws)
		if err != nil {
			return nil, err
		}
		out[i] = q
	}
	return out, nil
}

func (s typedSpan) reading(mm float64, inside bool) (uncert.Quantity, error) {
	switch {
	case s.U.given && s.Step.given:
		return uncert.Quantity{}, usageErrorf("step is that of a caliper, u the uncertainty of something else; give one")
	case s.U.given && s.U.mm < 0:
		return uncert.Quantity{}, usageErrorf("u of %g mm is below zero", s.U.mm)
	case s.U.given:
		return uncert.Combine(mm, "mm", uncert.Budget{{Name: "reading as stated", U: s.U.mm}}), nil
	}
	step := caliperStep
	if s.Step.given {
		step = s.Step.mm
	}
	return wear.CaliperReading(mm, step, inside)
}

// nominal is the new length of the span by the pitch.
func (f *spanFound) nominal() (uncert.Quantity, error) {
	if f.chain.Pitch == 0 {
		return uncert.Quantity{}, usageErrorf("without a new reading the span is held against the pitch: give the chain or its pitch")
	}
	return nominalSpan(f.chain.Pitch, f.pitches)
}

// nominalSpan is the length of a new chain by its pitch. New chains are up to
// 0.15 % longer; as a value between that and none, about none, that is its root
// mean square.
func nominalSpan(pitch float64, pitches int) (uncert.Quantity, error) {
	fresh, err := wear.NewSpan(pitch, pitches)
	if err != nil {
		return fresh, err
	}
	room := wear.LengthTolerancePercent / 100 * fresh.Value
	return uncert.Combine(fresh.Value, "mm", uncert.Budget{{Name: newLength, U: room / math.Sqrt(3)}}), nil
}

// What the diameters of the chain table may lie above those of a real chain,
// mm: judgement, no standard tells. Rollers are pressed parts with the coarser
// tolerance.
const (
	pinBelowTable    = 0.02
	rollerBelowTable = 0.1
	mostRollerPlay   = 0.1
)

// touched returns the diameter of what the jaws touched and its play.
func (s typedSpan) touched(chain wear.Chain, jaws string) (d, play uncert.Quantity, note string, err error) {
	below := func(name string, largest, room float64) uncert.Quantity {
		return uncert.Combine(largest, "mm", uncert.Budget{{Name: name, U: room / math.Sqrt(3)}})
	}
	switch {
	case s.Over.is == "":
		return d, play, "", usageErrorf("say what the %s jaws touched (over pins or rollers), or give new_%s, or read with both jaws", jaws, jaws)
	case s.Over.is == overPins && s.RollerPlay.given:
		return d, play, "", usageErrorf("roller_play does not go with over pins")
	case s.Diameter.given:
		d = below("diameter touched, as stated", s.Diameter.mm, 0.01)
		note = fmt.Sprintf("the %s are taken to be %g mm, as stated", s.Over.is, s.Diameter.mm)
	case s.Over.is == overPins && chain.PinMax > 0:
		d = below("pin diameter taken from the chain table", chain.PinMax, pinBelowTable)
		note = "the pin diameter is the chain table's largest"
	case s.Over.is == overRollers && chain.RollerMax > 0:
		d = below("roller diameter taken from the chain table", chain.RollerMax, rollerBelowTable)
		note = "the roller diameter is the chain table's largest; outside and inside jaws together cancel it"
	default:
		return d, play, "", usageErrorf("the diameter of the %s is not in the chain table: give diameter, new_%s, or read with both jaws", s.Over.is, jaws)
	}
	switch {
	case s.Over.is == overPins:
		play = uncert.Combine(0, "mm", nil)
	case s.RollerPlay.given:
		play = uncert.Combine(s.RollerPlay.mm, "mm", uncert.Budget{{Name: "roller play, as stated", U: 0.01}})
	default:
		play = below("play of the rollers not known", 0, mostRollerPlay)
	}
	return d, play, note, nil
}

// bothJaws reads the span with outside and inside jaws over the same faces.
func (t typed) bothJaws(found *spanFound, outside, inside manner) error {
	used, err := t.paired(outside.used, inside.used, "outside", "inside")
	if err != nil {
		return err
	}
	if len(used) == 0 {
		return usageErrorf("the worn chain was not read")
	}
	fresh, err := t.paired(outside.new, inside.new, "new_outside", "new_inside")
	if err != nil {
		return err
	}
	if len(fresh) == 0 {
		one, err := found.nominal()
		if err != nil {
			return err
		}
		fresh = []uncert.Quantity{one}
		found.notes = append(found.notes, noteNominal)
	}
	if err := t.compare(found, used, fresh); err != nil {
		return err
	}
	found.reading = uncert.Quantity{} // there are two
	return nil
}

func (t typed) paired(outside, inside []typedLength, one, other string) ([]uncert.Quantity, error) {
	if len(outside) != len(inside) {
		return nil, usageErrorf("%d readings of %s but %d of %s; give one of each at every place", len(outside), one, len(inside), other)
	}
	out, err := t.readings(outside, wear.OutsideJaws)
	if err != nil {
		return nil, err
	}
	in, err := t.readings(inside, wear.InsideJaws)
	if err != nil {
		return nil, err
	}
	for i := range out {
		if out[i], err = wear.SpanLengthBothJaws(out[i], in[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// sharedParts have one cause in all readings of a chain.
var sharedParts = []string{
	wear.CaliperError, "pin diameter taken from the chain table", "roller diameter taken from the chain table",
	"diameter touched, as stated", "play of the rollers not known", "roller play, as stated",
}

// temperatureU is how well the temperature of a chain is known, degC: limits of
// 2 K, judgement for a workshop thermometer.
const temperatureU = 2.0

// atPlaces sums up the places, and takes a warm chain to 20 degC.
func (t typed) atPlaces(used, fresh []uncert.Quantity) (places, error) {
	read, err := wear.ReadPlaces(used, sharedParts...)
	if err != nil {
		return places{}, err
	}
	if t.Span.Temperature.given {
		warm := uncert.Combine(t.Span.Temperature.value, "degC", uncert.Budget{{Name: "thermometer", U: temperatureU / math.Sqrt(3)}})
		if read.Mean, err = wear.At20(read.Mean, warm); err != nil {
			return places{}, err
		}
		if read.Worst, err = wear.At20(read.Worst, warm); err != nil {
			return places{}, err
		}
	}
	new, err := wear.ReadPlaces(fresh, sharedParts...)
	return places{used: read, fresh: new.Mean}, err
}

// compare holds lengths against new ones over the same faces.
func (t typed) compare(found *spanFound, used, fresh []uncert.Quantity) error {
	p, err := t.atPlaces(used, fresh)
	if err != nil {
		return err
	}
	mean, err := wear.GrowthOfSpan(p.used.Mean, p.fresh, found.pitches, found.begins, found.ref)
	if err != nil {
		return err
	}
	found.reading = p.used.Mean
	found.results = append(found.results, record.Figure{Name: "span", Quantity: p.used.Mean})
	if len(used) > 1 {
		worst, err := wear.GrowthOfSpan(p.used.Worst, p.fresh, found.pitches, found.begins, found.ref)
		if err != nil {
			return err
		}
		found.addWorst(worst)
		found.results = append(found.results,
			record.Figure{Name: "span_worst_place", Quantity: p.used.Worst},
			record.Figure{Name: "spread_of_places", Quantity: p.used.Spread})
	}
	found.results = append(found.results, record.Figure{Name: "span_new", Quantity: p.fresh})
	found.addPlaces(p)
	found.addMean(mean)
	return nil
}

func (f *spanFound) addPlaces(p places) {
	f.places = int(p.used.Places.Value)
	f.checks = append(f.checks, p.used.Places)
}

func (f *spanFound) addMean(mean wear.SpanGrowth) {
	f.perJoint = spread(mean.PerPitch, mean.PerJoint)
	f.results = append(f.results, record.Figure{Name: "span_growth", Quantity: mean.Total})
	f.readings = []faceReading{{perPitch: mean.PerPitch, perJoint: mean.PerJoint}}
}

func (f *spanFound) addWorst(worst wear.SpanGrowth) {
	g := spread(worst.PerPitch, worst.PerJoint)
	f.worst = &g
}

// unknownSpan stands for the new length of a span of which only the growth was
// typed in. A caliper's error is the same for all lengths above 100 mm.
const unknownSpan = 500

// grownOnly takes the growth of the span as it was typed in: the difference of
// two readings.
func (t typed) grownOnly(found *spanFound, m manner) error {
	if t.Span.Temperature.given {
		return usageErrorf("temperature needs the lengths themselves, not their difference")
	}
	fresh, err := t.Span.reading(unknownSpan, false)
	if err != nil {
		return err
	}
	used := make([]uncert.Quantity, len(m.used))
	for i, l := range m.used {
		if used[i], err = t.Span.reading(unknownSpan+l.mm, false); err != nil {
			return err
		}
	}
	p, err := t.atPlaces(used, []uncert.Quantity{fresh})
	if err != nil {
		return err
	}
	growth := func(length uncert.Quantity) (wear.SpanGrowth, error) {
		return wear.GrowthOfSpan(length, p.fresh, found.pitches, found.begins, found.ref)
	}
	mean, err := growth(p.used.Mean)
	if err != nil {
		return err
	}
	if len(used) > 1 {
		worst, err := growth(p.used.Worst)
		if err != nil {
			return err
		}
		found.addWorst(worst)
		found.results = append(found.results,
			record.Figure{Name: "span_growth_worst_place", Quantity: worst.Total},
			record.Figure{Name: "spread_of_places", Quantity: p.used.Spread})
	}
	found.addPlaces(p)
	found.addMean(mean)
	return nil
}

// eitherFaces reads a length of which the text does not say over which faces
// it goes, as in many workshop manuals: over the outside of the pins at either
// end, or from centre to centre.
func (t typed) eitherFaces(found *spanFound, m manner) error {
	if found.chain.Pitch == 0 || found.chain.PinMax == 0 && !t.Span.Diameter.given {
		return usageErrorf("a length whose faces are not stated is read over the pins and between centres: give a chain of the table, or its pitch and the pin's diameter; or new_length")
	}
	read, err := t.readings(m.used, m.faces)
	if err != nil {
		return err
	}
	fresh, err := found.nominal()
	if err != nil {
		return err
	}
	pins := t.Span
	pins.Over.is = overPins
	d, none, _, err := pins.touched(found.chain, "outside")
	if err != nil {
		return err
	}
	p, err := t.atPlaces(read, []uncert.Quantity{fresh})
	if err != nil {
		return err
	}
	over, err := wear.SpanLength(wear.OutsideJaws, p.used.Mean, d, none)
	if err != nil {
		return err
	}
	var both [2]wear.SpanGrowth
	for i, length := range []uncert.Quantity{over, p.used.Mean} {
		if both[i], err = wear.GrowthOfSpan(length, fresh, found.pitches, found.begins, found.ref); err != nil {
			return err
		}
	}
	open := openFaces
	if !both[0].PerJoint.Known() {
		open = both[0].PerJoint.Open + "; " + open
	}
	middle := (both[0].PerPitch.Value + both[1].PerPitch.Value) / 2
	found.perJoint = spread(uncert.Combine(middle, "mm", both[0].PerPitch.Budget),
		wear.Growth{Least: both[0].PerJoint.Least, Most: both[1].PerJoint.Most, Open: open})
	found.reading = p.used.Mean
	found.results = append(found.results, record.Figure{Name: "length", Quantity: p.used.Mean})
	found.readings = []faceReading{
		{"over the outside of the pins", both[0].PerPitch, both[0].PerJoint},
		{"from centre to centre", both[1].PerPitch, both[1].PerJoint},
	}
	found.addPlaces(p)
	found.notes = append(found.notes, "the text does not tell which faces the length goes over; find out, or read a new chain over the same faces and give new_length")
	return nil
}
