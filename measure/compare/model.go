package compare

import (
	"math"

	"pinlash/measure/uncert"
)

// Model is the mixed model of a comparison: what the spread of single figures
// is made of. Revisions with one chain are not in it.
type Model struct {
	// Parts are revision (of several), chain, joint and measuring. Without
	// repeated photos and stated uncertainties the last two are one, "joint and
	// measuring".
	Parts []Part
	// Spread has the standard deviations that [Plan] asks for; Measuring is
	// zero where it is not known.
	Spread Spread
	// Freedom is that of the differences between revisions: chains less
	// revisions (Pinheiro and Bates, Mixed-Effects Models in S and S-PLUS,
	// 2.4.2).
	Freedom float64
	// JointsWorth is how many independent joints the mean of the photographed
	// joints of a typical chain is worth.
	JointsWorth float64
}

// Part is one part of the spread.
type Part struct {
	Name  string
	SD    float64 // in the unit of the figures
	Share float64 // of the variance, 0 to 1
}

// leastChainFreedom is the fewest chains beyond one a revision that the model
// is fitted to. With four the 95 % interval of a standard deviation reaches
// from 0.6 to 2.9 times the one found (chi² distribution); with fewer it says
// next to nothing.
const leastChainFreedom = 4

// leastRepeats is the fewest degrees of freedom for which repeated photos
// tell the variance of measuring; below, stated uncertainties do.
const leastRepeats = 5

// variance returns the variance of measuring one photo, if anything is known.
func (m measuring) variance() (v float64, known bool) {
	switch {
	case m.freedom >= leastRepeats:
		return m.repeats / m.freedom, true
	case m.photos > 0 && m.withU == m.photos:
		return m.stated / m.photos, true
	default:
		return 0, false
	}
}

// newModel turns a fit into what is told of it, and says what is wrong.
func newModel(f fit, groups [][]sample, m measuring) (Model, []string) {
	var notes []string
	joints, chains := 0.0, 0.0
	for _, g := range groups {
		for _, c := range g {
			joints += c.n
			chains++
		}
	}
	chain, joint, photo := f.chainVariance(), f.residual, 0.0
	if f.ratio == 0 {
		notes = append(notes, "chains of one revision differ no more than their joints explain: no spread of chains of its own is seen")
	}
	v, known := m.variance()
	if known {
		photo = v
		// A joint's figure is the mean of its photos.
		mean := v * m.inverse / joints
		if mean > joint {
			notes = append(notes, "measuring is said to scatter more than the joints of a chain do: its uncertainty is stated too large, or has parts common to all photos")
			photo *= joint / mean
			mean = joint
		}
		joint -= mean
	}
	model := Model{
		Spread:  Spread{Chain: math.Sqrt(chain), Joint: math.Sqrt(joint), Measuring: math.Sqrt(photo)},
		Freedom: f.freedom,
		// The mean of n joints of a chain has the variance chain + residual/n,
		// that of independent joints (chain + residual)/n.
		JointsWorth: (f.ratio + 1) / (f.ratio + chains/joints),
	}
	model.Parts = append(f.revisionPart(), Part{Name: "chain", SD: math.Sqrt(chain)})
	if known {
		model.Parts = append(model.Parts, Part{Name: "joint", SD: math.Sqrt(joint)}, Part{Name: "measuring", SD: math.Sqrt(photo)})
	} else {
		model.Parts = append(model.Parts, Part{Name: "joint and measuring", SD: math.Sqrt(joint)})
	}
	total := 0.0
	for _, p := range model.Parts {
		total += p.SD * p.SD
	}
	for i, p := range model.Parts {
		model.Parts[i].Share = p.SD * p.SD / total
	}
	return model, notes
}

// revisionPart returns the spread of the revisions' means beyond what the
// chains and joints in them explain; none with one revision.
func (f fit) revisionPart() []Part {
	s := sampleOf(f.means)
	if s.n < 2 {
		return nil
	}
	variance := s.ss / (s.n - 1)
	for _, w := range f.weight {
		variance -= f.residual / w / s.n
	}
	return []Part{{Name: "revision", SD: math.Sqrt(max(variance, 0))}}
}

// byModel returns the difference of two groups by the model.
func (f fit) byModel(a, b int, unit string) uncert.Quantity {
	return uncert.Combine(f.means[b]-f.means[a], unit, uncert.Budget{
		{Name: "scatter of chains and joints", U: math.Sqrt(f.variance(a, b)), DF: f.freedom},
	})
}
