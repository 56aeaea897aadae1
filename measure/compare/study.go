package compare

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// Joint is one figure of one joint, from one photo.
type Joint struct {
	Revision, Chain string
	// Inspection names a round of photos, such as "after 20 000 km". Empty,
	// the distance tells inspections of a chain apart.
	Inspection string
	// Joint tells photos of one joint apart from those of others: photos of
	// the same joint at the same inspection are averaged. Empty, every figure
	// is of another joint, and nothing is kept of it but sums.
	Joint    string
	Value    float64
	U        float64 // standard uncertainty of Value; 0 unknown
	Distance float64 // running distance or hours at the inspection; 0 unknown
}

// Study gathers joints. The zero value is not usable; see [NewStudy].
type Study struct {
	unit, distanceUnit string
	// origin is the first value. All sums are about it, so that figures that
	// differ in their last digits only keep them.
	origin float64
	began  bool
	index  map[cellKey]*cell
}

// NewStudy returns an empty study of figures in unit, such as "mm", inspected
// at distances in distanceUnit, such as "km" or "h".
func NewStudy(unit, distanceUnit string) *Study {
	return &Study{unit: unit, distanceUnit: distanceUnit, index: map[cellKey]*cell{}}
}

// cellKey names a chain at an inspection. In the index its distance is zero
// where the inspection has a name, so that a name with two distances is found.
type cellKey struct {
	revision, name, inspection string
	distance                   float64
}

// cell is one chain at one inspection.
type cell struct {
	cellKey
	unnamed      sample // joints without a name
	least, most  extreme
	named        map[string]int // index into photos
	photos       []sample       // of each named joint
	names        []string
	sumU2        float64
	withU, count int
}

// extreme is the joint at one end of a chain.
type extreme struct {
	joint string
	value float64 // about the origin
}

// leastDistance is a metre, or seconds; what is below is a typing error, and
// rates would overflow.
const leastDistance = 0.001

// Add takes in one joint's figure. Figures that are no numbers, negative
// uncertainties and distances, and one inspection of a chain at two distances
// are errors; nothing is added then.
func (s *Study) Add(j Joint) error {
	if j.Chain == "" {
		return errors.New("joint has no chain")
	}
	if err := sane("value of a joint", j.Value); err != nil {
		return err
	}
	if err := notNegative("uncertainty of a joint", j.U); err != nil {
		return err
	}
	if err := notNegative("running distance of a joint", j.Distance); err != nil {
		return err
	}
	if j.Distance > 0 && j.Distance < leastDistance {
		return fmt.Errorf("running distance of a joint is %g, want zero (unknown) or %g at least", j.Distance, leastDistance)
	}
	j.Value, j.U = orZero(j.Value), orZero(j.U)
	key := cellKey{j.Revision, j.Chain, j.Inspection, j.Distance}
	if j.Inspection != "" {
		key.distance = 0
	}
	c := s.index[key]
	if c == nil {
		c = &cell{cellKey: cellKey{j.Revision, j.Chain, j.Inspection, j.Distance}}
		s.index[key] = c
	}
	if c.distance != j.Distance {
		return fmt.Errorf("inspection %q of chain %q stands at two distances, %g and %g", j.Inspection, j.Chain, c.distance, j.Distance)
	}
	if !s.began {
		s.origin, s.began = j.Value, true
	}
	c.add(j, j.Value-s.origin)
	return nil
}

func (c *cell) add(j Joint, value float64) {
	c.count++
	if j.U > 0 {
		c.sumU2 += j.U * j.U
		c.withU++
	}
	if j.Joint == "" {
		c.widen(extreme{value: value}, c.unnamed.n == 0)
		c.unnamed.add(value)
		return
	}
	i, seen := c.named[j.Joint]
	if !seen {
		if c.named == nil {
			c.named = map[string]int{}
		}
		i = len(c.photos)
		c.named[j.Joint] = i
		c.names = append(c.names, j.Joint)
		c.photos = append(c.photos, sample{})
	}
	c.photos[i].add(value)
}

func (c *cell) widen(e extreme, first bool) {
	if first || e.value < c.least.value {
		c.least = e
	}
	if first || e.value > c.most.value {
		c.most = e
	}
}

// measuring is what is known of the variance that measuring adds.
type measuring struct {
	repeats, freedom float64 // squares of repeated photos about their joints
	stated, withU    float64 // sum of stated variances, and of how many photos
	inverse          float64 // sum over joints of 1 / photos of the joint
	photos           float64
}

func (m measuring) plus(o measuring) measuring {
	return measuring{
		repeats: m.repeats + o.repeats, freedom: m.freedom + o.freedom,
		stated: m.stated + o.stated, withU: m.withU + o.withU,
		inverse: m.inverse + o.inverse, photos: m.photos + o.photos,
	}
}

// chain sums the cell up, every joint counting once however often it was
// photographed.
func (c *cell) chain() Chain {
	whole := *c
	joints := c.unnamed
	m := measuring{stated: c.sumU2, withU: float64(c.withU), inverse: c.unnamed.n, photos: float64(c.count)}
	for i, p := range c.photos {
		whole.widen(extreme{c.names[i], p.mean}, joints.n == 0)
		joints.add(p.mean)
		m.repeats += p.ss
		m.freedom += p.n - 1
		m.inverse += 1 / p.n
	}
	return Chain{
		Revision: c.revision, Name: c.name, Inspection: c.inspection, Distance: c.distance,
		Joints: int(joints.n), Photos: c.count,
		joints: joints, measured: m, least: whole.least, most: whole.most,
	}
}

// chains returns the cells of every chain, sorted by revision, chain and
// distance.
func (s *Study) chains() [][]*cell {
	cells := make([]*cell, 0, len(s.index))
	for _, c := range s.index {
		cells = append(cells, c)
	}
	slices.SortFunc(cells, func(a, b *cell) int {
		return cmp.Or(
			cmp.Compare(a.revision, b.revision), cmp.Compare(a.name, b.name),
			cmp.Compare(a.distance, b.distance), cmp.Compare(a.inspection, b.inspection),
		)
	})
	var chains [][]*cell
	for i, c := range cells {
		if i == 0 || c.revision != cells[i-1].revision || c.name != cells[i-1].name {
			chains = append(chains, nil)
		}
		last := len(chains) - 1
		chains[last] = append(chains[last], c)
	}
	return chains
}
