package cli

import (
	"fmt"
	"io"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// repeats gathers readings of joints by people.
type repeats struct {
	inspection string
	readings   map[record.Kind][]compare.Reading
	unnamed    map[record.Kind]int // photos of joints without a name
}

func (r *repeats) begin() taker {
	r.readings, r.unnamed = map[record.Kind][]compare.Reading{}, map[record.Kind]int{}
	return func(m *record.Measured, q uncert.Quantity) error {
		switch {
		case r.inspection != "" && m.Levels.Inspection != r.inspection:
		case m.Levels.Joint == "":
			r.unnamed[m.Kind]++
		default:
			r.readings[m.Kind] = append(r.readings[m.Kind], compare.Reading{
				Joint: jointKey(m.Levels), Person: m.Levels.By, Value: q.Value,
			})
		}
		return nil
	}
}

// jointKey names one joint in the state in which it was at an inspection.
func jointKey(l record.Levels) string { return inspectionKey(l) + "\x00" + shownName(l.Joint) }

// inspectionKey names one chain in the state in which it was at an inspection.
func inspectionKey(l record.Levels) string {
	return strings.Join([]string{
		shownName(l.Revision), chainKey(l), shownName(l.Inspection), fmt.Sprint(l.DistanceKM, l.Hours),
	}, "\x00")
}

// repeated returns the readings of joints that the same person has read again.
// In a folder of results many are not: they belong to no study of repeats, and
// who took them is not one of its people.
func repeated(readings []compare.Reading) []compare.Reading {
	type group struct{ joint, person string }
	times := map[group]int{}
	for _, r := range readings {
		times[group{r.Joint, r.Person}]++
	}
	var again []compare.Reading
	for _, r := range readings {
		if times[group{r.Joint, r.Person}] > 1 {
			again = append(again, r)
		}
	}
	return again
}

func (o *compareCommand) runRepeat(streams Streams) error {
	r := &repeats{inspection: o.inspection}
	g, err := o.gather(r.begin)
	if err != nil {
		return err
	}
	from, notes := g.way()
	unit := g.units[from]
	limit, err := o.limit.in(unit)
	if err != nil {
		return err
	}
	readings := repeated(r.readings[from])
	study, err := compare.Repeatability(readings, unit, limit)
	if err != nil {
		return usageErrorf("%w: name the joints by their files (joint-7a.jpg, joint-7b.jpg) or in the job card, and who took them with by = \"...\"", err)
	}
	if n := len(r.readings[from]) - len(readings); n > 0 {
		notes = append(notes, fmt.Sprintf("%s left out: whoever took them has not photographed the joint again", results(n)))
	}
	if n := r.unnamed[from]; n > 0 {
		notes = append(notes, fmt.Sprintf("%s of joints without a name and left out", results(n)))
	}
	study.Notes = append(append(study.Notes, notes...), g.notes(from)...)
	basis := g.basis(study.People*study.Joints*study.Times, from)
	if o.out != "" {
		if err := o.writeData(basis, func(m *record.Measured) bool {
			return m.Kind == from && m.Levels.Joint != "" && (o.inspection == "" || o.inspection == m.Levels.Inspection)
		}); err != nil {
			return err
		}
	}
	out := record.NewRepeatability(basis, study, limit)
	return o.print(streams, out, func(w io.Writer, style record.Style) error { return record.WriteRepeatability(w, out, style) })
}
