package cli

import (
	"fmt"
	"reflect"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// onlyMaker says whether nothing but readings with limits of their own was
// typed in, beside the chain and that it drives camshafts.
func (t typed) onlyMaker() bool {
	rest := t
	rest.Maker, rest.Chain, rest.Limit.Timing = nil, typedChain{}, false
	return len(t.Maker) > 0 && reflect.DeepEqual(rest, typed{})
}

// maker holds each reading that the maker gives a limit for against it. None
// tells how much the chain has grown.
func (s *stretching) maker() error {
	for i, m := range s.Maker {
		if m.What == "" || record.SafeName(m.What) != m.What {
			return usageErrorf("maker's reading %d needs in what a name that can be printed", i+1)
		}
		r, err := m.held()
		if err != nil {
			return &UsageError{fmt.Errorf("maker's reading %q: %w", m.What, err)}
		}
		s.out.Maker = append(s.out.Maker, r)
	}
	if len(s.Maker) > 0 && s.out.Growth != nil {
		s.note("the maker's readings are held against their own limits and do not enter the growth")
	}
	return nil
}

// held takes the mean of the readings, with the uncertainty of the caliper, or
// the one that was stated.
func (m typedMaker) held() (record.MakerReading, error) {
	side, limit := wear.UpperLimit, m.Most
	if m.Least.given {
		side, limit = wear.LowerLimit, m.Least
	}
	switch {
	case len(m.Read) == 0:
		return record.MakerReading{}, usageErrorf("it was not read: give read")
	case m.Most.given == m.Least.given:
		return record.MakerReading{}, usageErrorf("give its limit as one of most and least")
	}
	by := typedSpan{Step: m.Step, U: m.U}
	read := make([]uncert.Quantity, len(m.Read))
	for i, l := range m.Read {
		var err error
		if read[i], err = by.reading(l.mm, false); err != nil {
			return record.MakerReading{}, err
		}
	}
	all, err := wear.ReadPlaces(read, wear.CaliperError)
	if err != nil {
		return record.MakerReading{}, err
	}
	d, err := wear.DecideReading(all.Mean, wear.Limit{Name: m.What, Value: limit.mm, Unit: "mm", Source: "as stated", Provenance: "given"}, side)
	return record.NewMakerReading(m.What, all.Mean, side, d), err
}
