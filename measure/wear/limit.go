package wear

import (
	"fmt"
)

// Limit is an elongation or length beyond which a chain is to be renewed.
type Limit struct {
	Name  string
	Value float64
	Unit  string // "%" of the new length, or "mm" where a maker gives a length
	// Source says where it comes from, Provenance "S" seen in that text, "M"
	// from memory, "given" stated by whoever measures.
	Source, Provenance string
}

const makersLiterature = "manufacturers' engineering pages, attributed to ASME B29.1 practice"

// Limits of the trade, in percent of the new length. The maker's figure goes
// before any of them.
var (
	general      = Limit{"general limit", 3, "%", makersLiterature, "S"}
	fixedCentres = Limit{"fixed centres", 1.5, "%", makersLiterature, "S"}
	timing       = Limit{"timing drive", 0.5, "%", "common practice, 0.5 to 1 %; no standard found", "M"}
)

// OtherLimits returns further published limits, for the reader to compare with;
// none is used without being asked for.
func OtherLimits() []Limit {
	return []Limit{
		{"usual working limit, lower", 1.5, "%", "engineering guide on wear of working parts, 2.2.4", "S"},
		{"usual working limit, upper", 2, "%", "engineering guide on wear of working parts, 2.2.4", "S"},
		{"running-in, at most", 0.1, "%", "engineering guide on wear of working parts, 2.2.4", "S"},
		{"marine camshaft chain", 1.5, "%", "training literature for marine engineers", "S"},
		{"bicycle-type chain, renew chain", 0.5, "%", "common practice, several pages", "S"},
		{"bicycle-type chain, wheels damaged", 1, "%", "common practice, several pages", "S"},
		{"basis of power ratings at 15 000 h", 3, "%", "ISO 10823, from memory", "M"},
	}
}

// Duty says what a chain does, so far as its limit depends on it.
type Duty struct {
	// MakerPercent is the limit of the chain's or engine's maker in percent;
	// 0 means not known.
	MakerPercent float64
	LargestWheel int  // teeth; 0 means not known
	FixedCentres bool // no tensioner or adjustment
	Timing       bool // drives camshafts
}

// LimitFor returns the limit that holds for a duty: the maker's if there is
// one, whatever it is; otherwise the lowest of those of the trade that apply:
//
//	3 %; 200/z % for a largest wheel of z teeth, lower from 67 teeth on;
//	1.5 % for fixed centres; 0.5 % for timing drives
//
// The last is common practice only (0.5 to 1 %), without any standard.
func LimitFor(d Duty) (Limit, error) {
	if err := sane("maker's limit", d.MakerPercent); err != nil {
		return Limit{}, err
	}
	switch {
	case d.MakerPercent < 0:
		return Limit{}, fmt.Errorf("maker's limit is %g %%, want more than zero", d.MakerPercent)
	case d.MakerPercent > 0:
		return Limit{"maker's limit", d.MakerPercent, "%", "as stated", "given"}, nil
	case d.LargestWheel != 0 && d.LargestWheel < 3:
		return Limit{}, fmt.Errorf("largest wheel has %d teeth, want at least 3", d.LargestWheel)
	}
	limit := general
	if d.LargestWheel > 0 {
		if large := 200 / float64(d.LargestWheel); large < limit.Value {
			limit = Limit{fmt.Sprintf("large wheel, 200/%d", d.LargestWheel), large, "%", makersLiterature, "S"}
		}
	}
	if d.FixedCentres && fixedCentres.Value < limit.Value {
		limit = fixedCentres
	}
	if d.Timing && timing.Value < limit.Value {
		limit = timing
	}
	return limit, nil
}
