package compare

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/measure/uncert"
)

// Reading is one joint as one person measured it once: set up, focused and
// photographed anew.
type Reading struct {
	Joint, Person string
	Value         float64
}

// Repeat is the outcome of a repeatability study.
type Repeat struct {
	Unit                  string
	People, Joints, Times int // Times: photos of each joint by each person
	// ByAnova is the better of the two and the one advised by; ByRange is what
	// workshops are used to.
	ByAnova, ByRange Gauge
	// OnePhoto is the standard deviation of one photo of one joint by one
	// person, with its 95 % interval (chi²).
	OnePhoto uncert.Quantity
	// InteractionP is the chance that people rank joints as differently as
	// they do if they all see the same; 1 with one person.
	InteractionP float64
	Advice       []string
	Notes        []string
}

// Gauge divides the spread of the readings; all in standard deviations of the
// readings' unit.
type Gauge struct {
	Repeatability   float64 // between photos by one person
	Reproducibility float64 // between people, 0 with one
	Measuring       float64 // both
	Joints          float64 // between joints
	Total           float64
	OfTotal         float64 // Measuring in percent of Total
	// OfLimit is six times Measuring in percent of the limit; 0 without one.
	OfLimit float64
	// Levels is how many groups of joints the readings can tell apart, a
	// thousand at most.
	Levels int
}

// Repeatability finds what measuring adds to the spread, from readings of the
// same joints by one or more people. Limit is the range of the figure that
// decides, such as the growth allowed; 0 for none.
//
// Every person has to have measured every joint equally often, twice at least.
// What goes beyond that is left out and a note says so.
func Repeatability(readings []Reading, unit string, limit float64) (Repeat, error) {
	if err := notNegative("limit", limit); err != nil {
		return Repeat{}, err
	}
	if limit > 0 && limit < leastSane {
		return Repeat{}, fmt.Errorf("limit is %g, which nothing can be held to", limit)
	}
	for _, r := range readings {
		if err := sane("a reading", r.Value); err != nil {
			return Repeat{}, err
		}
	}
	c, notes, err := cross(readings)
	if err != nil {
		return Repeat{}, err
	}
	a := c.anova()
	if a.repeat <= 0 {
		return Repeat{}, errors.New("readings of one joint never differ: they are rounded too far, or copies of each other")
	}
	r := Repeat{Unit: unit, People: len(c), Joints: len(c[0]), Times: len(c[0][0]), Notes: notes}
	r.ByAnova, r.InteractionP = a.gauge(limit)
	r.ByRange = c.ranges().finished(limit)
	r.OnePhoto = sdQuantity(r.ByAnova.Repeatability, a.repeatFreedom(), unit)
	if r.People == 1 {
		r.Notes = append(r.Notes, "one person: what others would read is not in it")
	} else if r.People < 4 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d people: how much people differ is known roughly only", r.People))
	}
	r.Advice = advice(r.ByAnova)
	return r, nil
}

// mostLevels is where counting levels ends.
const mostLevels = 1000

// finished works out the shares and levels. There is some repeat scatter.
func (g Gauge) finished(limit float64) Gauge {
	g.Measuring = math.Hypot(g.Repeatability, g.Reproducibility)
	g.Total = math.Hypot(g.Measuring, g.Joints)
	g.OfTotal = 100 * g.Measuring / g.Total
	if limit > 0 {
		g.OfLimit = 100 * 6 * g.Measuring / limit
	}
	// 1.41 as printed in the manual; the root of two gives no other count but
	// at the very step.
	g.Levels = int(min(max(1.41*g.Joints/g.Measuring, 1), mostLevels))
	return g
}

// sdQuantity returns a standard deviation with the interval of chi².
func sdQuantity(sd, df float64, unit string) uncert.Quantity {
	q := uncert.Combine(sd, unit, uncert.Budget{{Name: "few repeats", U: sd / math.Sqrt(2*df)}})
	chi := distuv.ChiSquared{K: df}
	q.Lower, q.Upper = sd*math.Sqrt(df/chi.Quantile(0.975)), sd*math.Sqrt(df/chi.Quantile(0.025))
	return q
}
