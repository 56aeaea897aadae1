package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// studied is a chain with the figures of it that are compared, under names
// that are short, safe to print, and no two alike.
type studied struct {
	chain          *chain
	revision, name string
	rounds         []round // inspections that have figures, in their order
}

// round is a chain at one inspection.
type round struct {
	at       *inspection
	distance float64 // in the unit of the study; 0 unknown
	fresh    bool    // the chain was new: its distance is zero and known
	figures  []studiedFigure
}

// studiedFigure is the figure of one photo, in the unit shown.
type studiedFigure struct {
	photo *photo
	q     uncert.Quantity
}

// distanceUnit is that of the running that the photos are compared by: km
// where any photo says km.
func distanceUnit(photos []*photo) string {
	if slices.ContainsFunc(photos, func(p *photo) bool { return p.levels.DistanceKM > 0 }) {
		return "km"
	}
	return "h"
}

// hasRun returns how far a chain had run, in km or hours, 0 if that is not
// known or cannot be right.
func hasRun(l record.Levels, unit string) float64 {
	far := l.Hours
	if unit == "km" {
		far = l.DistanceKM
	}
	if !drawable(far) || far < newDistance {
		return 0
	}
	return far
}

// fresh says whether an inspection's name is that of a new chain: a distance
// of zero is not kept as a number.
func fresh(l record.Levels, unit string) bool {
	return strings.ReplaceAll(l.Inspection, " ", "") == "0"+unit
}

// placed leaves out the photos without a revision where others have one, and
// says so.
func placed(photos []*photo) (kept []*photo, notes []string) {
	for _, p := range photos {
		if p.levels.Revision != "" {
			kept = append(kept, p)
		}
	}
	n := len(photos) - len(kept)
	if len(kept) == 0 || n == 0 {
		return photos, nil
	}
	return kept, []string{count(n, "photo names", "photos name") + " no revision and " + isOrAre(n) + " left out of the comparison."}
}

// study sorts figures of photos by chain and inspection, chains by revision
// and name.
func (b *builder) study(photos []*photo, unit string, figure func(*record.Record) (uncert.Quantity, bool)) (all []*studied, notes []string) {
	wanted := map[*photo]bool{}
	for _, p := range photos {
		wanted[p] = true
	}
	byChain := map[*chain]*studied{}
	odd := 0
	for _, c := range b.chains {
		for _, in := range c.Inspections {
			r := round{at: in, distance: hasRun(in.levels, unit), fresh: fresh(in.levels, unit)}
			for _, p := range in.photos {
				if !wanted[p] {
					continue
				}
				q, _ := figure(p.record)
				q = b.of(q)
				if !drawable(q.Value, q.U, q.Lower, q.Upper) || q.U < 0 {
					odd++
					continue
				}
				r.figures = append(r.figures, studiedFigure{p, q})
			}
			if r.figures == nil {
				continue
			}
			s := byChain[c]
			if s == nil {
				s = &studied{chain: c}
				byChain[c] = s
				all = append(all, s)
			}
			s.rounds = append(s.rounds, r)
		}
	}
	if odd > 0 {
		notes = append(notes, count(odd, "photo has", "photos have")+" a figure that cannot be right and "+isOrAre(odd)+" left out of the comparison.")
	}
	for _, s := range all {
		slices.SortStableFunc(s.rounds, func(x, y round) int { return cmp.Compare(x.distance, y.distance) })
	}
	nameStudied(all)
	slices.SortStableFunc(all, func(x, y *studied) int {
		return cmp.Or(cmp.Compare(x.revision, y.revision), cmp.Compare(x.name, y.name))
	})
	return all, notes
}

func isOrAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// longestName is how much of a name a comparison shows; the chain's chapter
// has it in full.
const longestName = 30

// nameStudied gives the chains their names, with the specimen where there are
// several.
func nameStudied(all []*studied) {
	revisions, taken, specimens := map[string]string{}, map[string]bool{}, map[string]bool{}
	for _, s := range all {
		specimens[s.chain.levels.Specimen] = true
	}
	for _, s := range all {
		l := s.chain.levels
		revision, known := revisions[l.Revision]
		if !known {
			revision = untaken(taken, orElse(shorten(l.Revision, longestName), "not stated"))
			revisions[l.Revision] = revision
		}
		s.revision = revision
	}
	clear(taken)
	for _, s := range all {
		l := s.chain.levels
		name := orElse(shorten(l.Chain, longestName), "not named")
		if len(specimens) > 1 && l.Specimen != "" {
			name = shorten(l.Specimen, longestName) + ", " + name
		}
		s.name = untaken(taken, name)
	}
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// untaken counts a name up until nothing else is called so.
func untaken(taken map[string]bool, name string) string {
	unique := name
	for n := 2; taken[unique]; n++ {
		unique = fmt.Sprintf("%s (%d)", name, n)
	}
	taken[unique] = true
	return unique
}

// newDistance stands for that of a new chain, since a study takes zero for
// not known: a metre, or some seconds.
const newDistance = 0.001

// ran is the running distance as a study takes it.
func (r round) ran() float64 {
	if r.fresh {
		return newDistance
	}
	return r.distance
}

// known says whether it is known how far the chain had run.
func (r round) known() bool { return r.fresh || r.distance > 0 }

// ordered says whether distances tell which inspection is the last.
func (s *studied) ordered() bool {
	n := len(s.rounds)
	return n == 1 || !slices.ContainsFunc(s.rounds, func(r round) bool { return !r.known() }) && s.rounds[n-2].ran() < s.rounds[n-1].ran()
}

func (s *studied) last() round { return s.rounds[len(s.rounds)-1] }

// addTo adds a round's figures to a study, under the place of the round among
// those of its chain.
func (s *studied) addTo(study *compare.Study, i int) error {
	r := s.rounds[i]
	for _, f := range r.figures {
		err := study.Add(compare.Joint{
			Revision: s.revision, Chain: s.name, Inspection: strconv.Itoa(i), Joint: f.photo.levels.Joint,
			Value: f.q.Value, U: f.q.U, Distance: r.ran(),
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// mean returns the mean of a round over its joints, with its interval where
// they scatter.
func (s *studied) mean(i int, unit string) (compare.Chain, error) {
	study := compare.NewStudy(unit, "")
	if err := s.addTo(study, i); err != nil {
		return compare.Chain{}, err
	}
	f, err := study.At("")
	if err != nil {
		return compare.Chain{}, err
	}
	return f.Chains[0], nil
}

// joints returns the figure of every joint of a round, that of several photos
// of one joint being their mean.
func (r round) joints() []float64 {
	var values []float64
	byName := map[string][]float64{}
	for _, f := range r.figures {
		if name := f.photo.levels.Joint; name != "" {
			byName[name] = append(byName[name], f.q.Value)
		} else {
			values = append(values, f.q.Value)
		}
	}
	for _, photos := range byName {
		sum := 0.0
		for _, v := range photos {
			sum += v
		}
		values = append(values, sum/float64(len(photos)))
	}
	slices.Sort(values)
	return values
}

// distances counts the running distances known among the rounds.
func distances(all []*studied) int {
	seen := map[float64]bool{}
	for _, s := range all {
		for _, r := range s.rounds {
			if r.known() {
				seen[r.ran()] = true
			}
		}
	}
	return len(seen)
}

func revisionsOf(all []*studied) []string {
	var names []string
	for _, s := range all {
		if !slices.Contains(names, s.revision) {
			names = append(names, s.revision)
		}
	}
	return names
}
