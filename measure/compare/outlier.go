package compare

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Outlier is a chain or joint that stands out from its fellows by Grubbs's
// test. It is named and kept: why it stands out is to be looked for, on the
// photo first.
type Outlier struct {
	Revision, Chain string
	Joint           string  // empty when the chain's mean stands out, or the joint has no name
	IsJoint         bool    // a joint of the chain stands out, not the chain
	Value           float64 // in the unit of the figures
	Distance        float64 // from the mean, in standard deviations
	Critical        float64 // Distance that chance seldom exceeds
}

// grubbs returns the distance of v from the mean of its sample in standard
// deviations, and the two-sided critical value at level alpha (ISO 5725-2,
// 7.3.4; Grubbs 1969, Technometrics 11:1):
//
//	(n-1)/sqrt(n) sqrt(t²/(n-2+t²)), t exceeded with probability alpha/(2n)
//
// Fewer than three values have no outlier: then, and where nothing scatters,
// ok is false.
func grubbs(s sample, v, alpha float64) (distance, critical float64, ok bool) {
	sd := s.sd()
	if s.n < 3 || sd == 0 {
		return 0, 0, false
	}
	t := distuv.StudentsT{Sigma: 1, Nu: s.n - 2}.Quantile(alpha / (2 * s.n))
	critical = (s.n - 1) / math.Sqrt(s.n) * math.Sqrt(t*t/(s.n-2+t*t))
	return math.Abs(v-s.mean) / sd, critical, true
}

// outliers looks through the chains of each revision, and the joints of each
// chain, by their extremes. All tests of a kind share the level of 5 %.
func outliers(revisions [][]Chain, origin float64) []Outlier {
	var found []Outlier
	chains := 0
	for _, r := range revisions {
		chains += len(r)
	}
	for _, r := range revisions {
		means := chainMeans(r)
		for _, c := range r {
			if d, critical, ok := grubbs(means, c.joints.mean, 0.05/float64(len(revisions))); ok && d > critical {
				found = append(found, Outlier{Revision: c.Revision, Chain: c.Name, Value: c.Mean, Distance: d, Critical: critical})
			}
			for _, e := range []extreme{c.least, c.most} {
				if d, critical, ok := grubbs(c.joints, e.value, 0.05/float64(chains)); ok && d > critical {
					found = append(found, Outlier{
						Revision: c.Revision, Chain: c.Name, Joint: e.joint, IsJoint: true,
						Value: origin + e.value, Distance: d, Critical: critical,
					})
				}
			}
		}
	}
	return found
}
