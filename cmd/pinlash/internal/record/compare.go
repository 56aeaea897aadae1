package record

import (
	"strings"

	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// The kinds of lines that a comparison prints. None of them is a result that
// is read back.
const (
	comparisonKind    = "comparison"
	repeatabilityKind = "repeatability"
	planKind          = "plan"
	agreementKind     = "agreement"
)

// Basis says what a comparison was made of.
type Basis struct {
	Version string `json:"pinlash"`
	// Sources are the files of results by name and content: with them the
	// comparison can be made again.
	Sources []File `json:"sources"`
	Figure  string `json:"figure"`
	// From are the kinds of results that the figure was taken from.
	From    []Kind `json:"from"`
	Used    int    `json:"used"`     // results
	Refused int    `json:"refused"`  // photos
	LeftOut int    `json:"left_out"` // results; notes say why
}

// Comparison is what chains say about their revisions. Figures without a unit
// of their own are in Unit.
type Comparison struct {
	Basis
	Inspection  string               `json:"inspection,omitempty"`
	Unit        string               `json:"unit"`
	Margin      digits               `json:"margin,omitempty"`
	Revisions   []ComparedRevision   `json:"revisions"`
	Chains      []ComparedChain      `json:"chains"`
	Differences []ComparedDifference `json:"differences"`
	Correction  string               `json:"correction,omitempty"`
	ChainsApart *ChainsApart         `json:"chains_apart,omitempty"`
	Model       *ComparedModel       `json:"model,omitempty"`
	Outliers    []ComparedOutlier    `json:"outliers,omitempty"`
	Notes       []string             `json:"notes"`
}

// ComparedRevision is a revision by the means of its chains. With one chain it
// has no intervals.
type ComparedRevision struct {
	Name      string           `json:"revision"`
	Chains    int              `json:"chains"`
	Joints    int              `json:"joints"`
	Mean      digits           `json:"mean"`
	Interval  *uncert.Quantity `json:"interval,omitempty"`
	NextChain *uncert.Quantity `json:"next_chain,omitempty"`
}

// ComparedChain is one chain at one inspection.
type ComparedChain struct {
	Specimen   string           `json:"specimen,omitempty"`
	Revision   string           `json:"revision"`
	Name       string           `json:"chain"`
	Inspection string           `json:"inspection,omitempty"`
	DistanceKM digits           `json:"distance_km,omitempty"`
	Hours      digits           `json:"hours,omitempty"`
	Joints     int              `json:"joints"`
	Photos     int              `json:"photos"`
	Mean       digits           `json:"mean"`
	Interval   *uncert.Quantity `json:"interval,omitempty"`
	// MostJoints bounds 95 % of the chain's joints with 95 % confidence.
	MostJoints *Bounds `json:"most_joints,omitempty"`
}

// Bounds are two ends.
type Bounds struct {
	Lower digits `json:"lower"`
	Upper digits `json:"upper"`
}

// ComparedDifference is revision B less revision A.
type ComparedDifference struct {
	A            string              `json:"a"`
	B            string              `json:"b"`
	Difference   uncert.Quantity     `json:"difference"`
	P            digits              `json:"p"`
	Effect       uncert.Quantity     `json:"effect"`
	Verdict      compare.Verdict     `json:"verdict"`
	NoLargerThan digits              `json:"no_larger_than"`
	Equivalence  *compareEquivalence `json:"equivalence,omitempty"`
	ByModel      *comparedByModel    `json:"by_model,omitempty"`
}

type compareEquivalence struct {
	P     digits `json:"p"`
	Holds bool   `json:"holds"`
}

type comparedByModel struct {
	Difference uncert.Quantity `json:"difference"`
	P          digits          `json:"p"`
}

// ChainsApart is the test whether chains of one revision differ.
type ChainsApart struct {
	F             digits `json:"f"`
	BetweenChains digits `json:"freedom_between"`
	WithinChains  digits `json:"freedom_within"`
	P             digits `json:"p"`
}

// ComparedModel is what the spread of single figures is made of.
type ComparedModel struct {
	Parts       []SpreadPart `json:"parts"`
	Freedom     digits       `json:"freedom"`
	JointsWorth digits       `json:"joints_worth"`
}

// SpreadPart is one part of the spread.
type SpreadPart struct {
	Name  string `json:"name"`
	SD    digits `json:"sd"`
	Share digits `json:"share"` // of the variance
}

// ComparedOutlier is a chain, or a joint of one, that stands out.
type ComparedOutlier struct {
	Specimen string `json:"specimen,omitempty"`
	Revision string `json:"revision"`
	Chain    string `json:"chain"`
	// What stands out: "chain", or "joint" with its name where it has one.
	What     string `json:"what"`
	Joint    string `json:"joint,omitempty"`
	Value    digits `json:"value"`
	Distance digits `json:"distance"`
	Critical digits `json:"critical"`
}

// ChainOf tells the specimen and name of a chain from what it is called in a
// comparison.
type ChainOf func(called string) (specimen, name string)

// NewComparison returns the printed form of c. The distances of its chains are
// hours or km.
func NewComparison(b Basis, c compare.Comparison, margin float64, hours bool, of ChainOf) Comparison {
	out := Comparison{
		Basis: b, Unit: c.Unit, Margin: digits(margin), Correction: c.Correction, Notes: c.Notes,
		Revisions: make([]ComparedRevision, len(c.Revisions)), Chains: make([]ComparedChain, len(c.Chains)),
		Differences: make([]ComparedDifference, len(c.Differences)),
	}
	for i, r := range c.Revisions {
		out.Revisions[i] = ComparedRevision{r.Name, r.Chains, r.Joints, digits(r.Mean), r.Interval, r.NextChain}
	}
	for i, chain := range c.Chains {
		n := ComparedChain{
			Revision: chain.Revision, Inspection: chain.Inspection, Joints: chain.Joints, Photos: chain.Photos,
			Mean: digits(chain.Mean), Interval: chain.Interval,
		}
		n.Specimen, n.Name = of(chain.Name)
		if hours {
			n.Hours = digits(chain.Distance)
		} else {
			n.DistanceKM = digits(chain.Distance)
		}
		if lower, upper, ok := chain.MostJoints(); ok {
			n.MostJoints = &Bounds{digits(lower), digits(upper)}
		}
		out.Chains[i] = n
	}
	for i, d := range c.Differences {
		out.Differences[i] = newDifference(d)
	}
	if a := c.ChainsApart; a != nil {
		out.ChainsApart = &ChainsApart{digits(a.F), digits(a.BetweenFreedom), digits(a.WithinFreedom), digits(a.P)}
	}
	if m := c.Model; m != nil {
		out.Model = &ComparedModel{Freedom: digits(m.Freedom), JointsWorth: digits(m.JointsWorth)}
		for _, p := range m.Parts {
			out.Model.Parts = append(out.Model.Parts, SpreadPart{p.Name, digits(p.SD), digits(p.Share)})
		}
	}
	for _, o := range c.Outliers {
		n := ComparedOutlier{
			Revision: o.Revision, What: "chain", Joint: o.Joint,
			Value: digits(o.Value), Distance: digits(o.Distance), Critical: digits(o.Critical),
		}
		if o.IsJoint {
			n.What = "joint"
		}
		n.Specimen, n.Chain = of(o.Chain)
		out.Outliers = append(out.Outliers, n)
	}
	return out
}

func newDifference(d compare.Difference) ComparedDifference {
	out := ComparedDifference{
		A: d.A, B: d.B, Difference: d.Value, P: digits(d.P), Effect: d.Effect.Scaled(1, "sd"),
		Verdict: d.Verdict, NoLargerThan: digits(d.NoLargerThan),
	}
	if e := d.Equivalence; e != nil {
		out.Equivalence = &compareEquivalence{digits(e.P), e.Holds}
	}
	if m := d.ByModel; m != nil {
		out.ByModel = &comparedByModel{m.Value, digits(m.P)}
	}
	return out
}

// MarshalJSON writes the comparison without line breaks.
func (c Comparison) MarshalJSON() ([]byte, error) {
	type fields Comparison
	c.Notes = notNil(c.Notes)
	return marshal(struct {
		Kind string `json:"kind"`
		fields
	}{comparisonKind, fields(c)})
}

func notNil(notes []string) []string {
	if notes == nil {
		return []string{}
	}
	return notes
}

// compared returns the figure as it is shown: rates of lengths follow the
// units too.
func (u Units) compared(q uncert.Quantity) uncert.Quantity {
	if rest, ok := strings.CutPrefix(q.Unit, "mm/"); ok && u.Inch && rest != "px" {
		return q.Scaled(1/mmPerInch, "in/"+rest)
	}
	return u.Of(q)
}
