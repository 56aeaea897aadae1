package compare

import (
	"errors"
	"fmt"

	"pinlash/measure/uncert"
)

// Figures are the chains of a study, one figure each, ready for [Compare].
type Figures struct {
	Unit   string
	Chains []Chain // sorted by revision and name
	Notes  []string

	origin       float64
	distanceUnit string
	rates        bool
}

// Chain is one chain at one inspection.
type Chain struct {
	Revision, Name, Inspection string
	Distance                   float64 // running distance or hours; 0 unknown
	Joints, Photos             int
	Mean                       float64 // over its joints, in the unit of the figures
	// Interval is Mean with its 95 % interval from the scatter of the joints;
	// nil where there is none to see, as with one joint.
	Interval *uncert.Quantity

	joints      sample // about the origin
	measured    measuring
	least, most extreme
}

const jointsScatter = "scatter of the joints in the chain"

// finished fills in what is shown.
func (c Chain) finished(origin float64, unit string) Chain {
	c.Mean = origin + c.joints.mean
	if c.joints.ss > 0 {
		q := c.joints.quantity(origin, unit, jointsScatter)
		c.Interval = &q
	}
	return c
}

// At returns the chains' figures at the inspection of that name. Without a
// name it is each chain's last inspection, by distance; chains whose
// inspections cannot be put in order need a name.
func (s *Study) At(inspection string) (Figures, error) {
	f := Figures{Unit: s.unit, origin: s.origin, distanceUnit: s.distanceUnit}
	several := false
	for _, cells := range s.chains() {
		at, err := pick(cells, inspection)
		if err != nil {
			return Figures{}, err
		}
		if at == nil {
			f.Notes = append(f.Notes, fmt.Sprintf("chain %s of revision %s has no inspection %q and is left out", cells[0].name, cells[0].revision, inspection))
			continue
		}
		several = several || len(cells) > 1
		f.Chains = append(f.Chains, at.chain().finished(s.origin, s.unit))
	}
	if several && inspection == "" {
		f.Notes = append(f.Notes, "of several inspections of a chain the last is taken")
	}
	if len(f.Chains) == 0 {
		return Figures{}, errors.New("no joints to compare")
	}
	return f, nil
}

func pick(cells []*cell, inspection string) (*cell, error) {
	if inspection != "" {
		for _, c := range cells {
			if c.inspection == inspection {
				return c, nil
			}
		}
		return nil, nil
	}
	last := cells[len(cells)-1]
	if n := len(cells); n > 1 && (cells[0].distance == 0 || cells[n-2].distance == last.distance) {
		return nil, fmt.Errorf("chain %s of revision %s has %d inspections that distances do not put in order: name one", last.name, last.revision, n)
	}
	return last, nil
}

// perDistance is the distance that rates are given for.
const perDistance = 1000

// Rates returns the chains' figures per 1000 km or hours.
//
// Where every chain was inspected at two distances or more, the rate is the
// slope of the least-squares line through the means of its inspections, so
// that running-in and the play of a new chain stay out of it. Otherwise, and
// only if fromNew says that the figure is zero for a new chain, as growth is,
// it is the figure at the last inspection over its distance. Inspections at
// unknown distance are left out.
func (s *Study) Rates(fromNew bool) (Figures, error) {
	f := Figures{Unit: fmt.Sprintf("%s/%d %s", s.unit, perDistance, s.distanceUnit), distanceUnit: s.distanceUnit, rates: true}
	var known [][]*cell
	lines := true
	for _, cells := range s.chains() {
		var at []*cell
		for _, c := range cells {
			if c.distance > 0 {
				at = append(at, c)
			}
		}
		if len(at) == 0 {
			f.Notes = append(f.Notes, fmt.Sprintf("chain %s of revision %s has no running distance and is left out", cells[0].name, cells[0].revision))
			continue
		}
		lines = lines && at[0].distance < at[len(at)-1].distance
		known = append(known, at)
	}
	switch {
	case len(known) == 0:
		return Figures{}, errors.New("no joint with a running distance")
	case !lines && !fromNew:
		return Figures{}, errors.New("a rate needs two inspections of every chain at different distances, or a figure that is zero for a new chain")
	case lines:
		f.Notes = append(f.Notes, "rates are slopes between inspections: running-in is not in them")
	default:
		f.Notes = append(f.Notes, "rates are counted from new: running-in is in them")
	}
	for _, cells := range known {
		c := sinceNew(cells[len(cells)-1], s.origin)
		if lines {
			c = slope(cells)
		}
		f.Chains = append(f.Chains, c.finished(0, f.Unit))
	}
	return f, nil
}

// sinceNew divides a chain's figures by its distance.
func sinceNew(at *cell, origin float64) Chain {
	c := at.chain()
	per := perDistance / c.Distance
	c.joints.mean = (origin + c.joints.mean) * per
	c.joints.ss *= per * per
	c.measured.repeats *= per * per
	c.measured.stated *= per * per
	c.least.value = (origin + c.least.value) * per
	c.most.value = (origin + c.most.value) * per
	return c
}

// slope returns the chain with the slope of its inspections as its one
// figure. The scatter of its joints says little about it: they are often the
// same joints each time.
func slope(cells []*cell) Chain {
	var at, mean sample
	var chains []Chain
	photos := 0
	for _, c := range cells {
		chain := c.chain()
		at.add(chain.Distance)
		mean.add(chain.joints.mean)
		photos += chain.Photos
		chains = append(chains, chain)
	}
	cross := 0.0
	for _, c := range chains {
		cross += (c.Distance - at.mean) * (c.joints.mean - mean.mean)
	}
	last := chains[len(chains)-1]
	return Chain{
		Revision: last.Revision, Name: last.Name, Distance: last.Distance,
		Joints: last.Joints, Photos: photos,
		joints: sample{n: 1, mean: cross / at.ss * perDistance},
	}
}
