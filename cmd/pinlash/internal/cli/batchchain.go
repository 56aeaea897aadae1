//go:build !front

package cli

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// chainCard is what is said of a chain besides its photos.
type chainCard struct {
	settings settings
	drive    []byte // the tables of a readings file
}

// typed returns it as it would have been typed in.
func (c chainCard) typed() (typed, error) {
	t, err := decodeTyped(bytes.NewReader(c.drive))
	if err != nil {
		return t, err
	}
	for name, to := range map[string]pflag.Value{"pitch": &t.Chain.Pitch, "pitches": &t.Chain.Pitches, "limit": &t.Limit.Percent} {
		if text, stated := c.settings[name]; stated {
			if err := to.Set(text); err != nil {
				return t, usageErrorf("%s of %q: %w", name, text, err)
			}
		}
	}
	t.Chain.Name = c.settings["chain"]
	return t, nil
}

// inspected is one chain at one inspection.
type inspected struct {
	specimen, revision, chain, inspection string
}

func inspectedOf(l record.Levels) inspected {
	return inspected{l.Specimen, l.Revision, l.Chain, l.Inspection}
}

// words name it for people.
func (i inspected) words() string {
	var parts []string
	for _, p := range []string{i.specimen, i.revision, i.chain, i.inspection} {
		if p != "" {
			parts = append(parts, record.SafeName(p))
		}
	}
	if len(parts) == 0 {
		return "the chain"
	}
	return strings.Join(parts, ", ")
}

// finish makes a line for every chain and inspection out of the lines of its
// photos.
func (b *batching) finish(lines []record.Line) ([][]byte, error) {
	of := map[inspected][]*record.Record{}
	var order []inspected
	for _, line := range lines {
		if line.Record == nil || line.Record.Kind == record.Ruler {
			continue
		}
		i := inspectedOf(line.Batch().Levels)
		if of[i] == nil {
			order = append(order, i)
		}
		of[i] = append(of[i], line.Record)
	}
	history := map[inspected][]inspection{} // by chain
	b.chains = nil
	var out [][]byte
	earlierFirst(order, func(i inspected) float64 { return distance(of[i]) })
	for _, i := range order {
		s, err := b.summarise(i, of[i], history)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", i.words(), err)
		}
		if s == nil {
			continue
		}
		b.chains = append(b.chains, *s)
		text, err := json.Marshal(s)
		if err != nil {
			return nil, err
		}
		out = append(out, text)
	}
	return out, nil
}

// earlierFirst sorts inspections by distance within each chain, the chains in
// the order in which they turn up.
func earlierFirst(order []inspected, distance func(inspected) float64) {
	chains := map[inspected]int{}
	for _, i := range order {
		if _, known := chains[i.chainOnly()]; !known {
			chains[i.chainOnly()] = len(chains)
		}
	}
	slices.SortStableFunc(order, func(x, y inspected) int {
		return cmp.Or(
			cmp.Compare(chains[x.chainOnly()], chains[y.chainOnly()]),
			cmp.Compare(distance(x), distance(y)))
	})
}

func (i inspected) chainOnly() inspected {
	i.inspection = ""
	return i
}

// distance is the running distance, or else the hours, at the inspection; 0 if
// not known.
func distance(records []*record.Record) float64 {
	for _, r := range records {
		if l := r.Batch.Levels; l.DistanceKM > 0 || l.Hours > 0 {
			return max(l.DistanceKM, l.Hours)
		}
	}
	return 0
}

// summarise carries the figures of one chain at one inspection through the
// model. It returns nil where there are none.
func (b *batching) summarise(i inspected, records []*record.Record, history map[inspected][]inspection) (*record.Stretch, error) {
	p := figuresOf(records)
	if len(p.plays)+len(p.spanGrowths) == 0 {
		return nil, nil
	}
	p.name = i.words()
	t, err := b.cards[i].typed()
	if err != nil {
		return nil, err
	}
	levels := records[0].Batch.Levels
	levels.Joint, levels.Repeat, levels.By = "", 0, ""
	p.earlier = history[i.chainOnly()]
	p.now = inspection{at: levels.DistanceKM, unit: "km"}
	if levels.DistanceKM == 0 {
		p.now = inspection{at: levels.Hours, unit: "h"}
	}
	s, err := t.ofPhotos(p)
	if err != nil {
		return nil, err
	}
	if percent, ok := s.Growth.Find("elongation"); ok && p.now.at > 0 {
		p.now.growth = percent
		history[i.chainOnly()] = append(slices.Clone(p.earlier), p.now)
	}
	s.Version = Version
	if s.Notes == nil {
		s.Notes = []string{}
	}
	s.Batch = &record.Batch{
		Levels: levels, Settings: b.cards[i].settings, Meaning: s.Meaning(),
		Files: []record.File{}, Budgets: record.NewBudgets(slices.Concat(s.Results, s.Growth)),
	}
	return &s, nil
}

// figuresOf gathers what the photos of one chain showed, a joint seen several
// times by its mean. End-on photos go before play from motion: they show the
// shape of the wear.
func figuresOf(records []*record.Record) photoFigures {
	type seen struct{ plays, growths [2][]uncert.Quantity }
	joints := map[string]*seen{}
	var order []string
	var p photoFigures
	for _, r := range records {
		if r.Refused != nil {
			continue
		}
		growth, grown := r.Growth.Find("joint_growth")
		if r.Kind == record.Span {
			percent, ok := r.Growth.Find("chain_elongation")
			if !ok {
				percent, ok = r.Results.Find("elongation")
			}
			if ok && grown {
				p.spanGrowths, p.elongations = append(p.spanGrowths, growth), append(p.elongations, percent)
			}
			continue
		}
		play, ok := r.Results.Find("play")
		if !ok {
			continue
		}
		name := r.Batch.Levels.Joint
		if name == "" {
			name = "photo " + r.Photo.Path
		}
		if joints[name] == nil {
			joints[name] = &seen{}
			order = append(order, name)
		}
		way := 0
		if r.Kind == record.Play {
			way = 1
		}
		joints[name].plays[way] = append(joints[name].plays[way], play)
		if grown {
			joints[name].growths[way] = append(joints[name].growths[way], growth)
		}
	}
	for _, name := range order {
		j := joints[name]
		way := 0
		if len(j.plays[0]) == 0 {
			way = 1
		}
		p.plays = append(p.plays, meanRepeat(j.plays[way]))
		if len(j.growths[way]) > 0 {
			p.growths = append(p.growths, meanRepeat(j.growths[way]))
		}
	}
	return p
}

// meanRepeat is the mean of one joint's repeats.
func meanRepeat(all []uncert.Quantity) uncert.Quantity {
	mean, err := wear.MeanReading(all, ofOneCause...)
	if err != nil {
		return all[0] // figures of photos are usable
	}
	return mean
}
