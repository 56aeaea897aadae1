package cli

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/compare"
	"pinlash/measure/uncert"
)

// mean is one thing measured in one way, from one photo or several.
type mean struct {
	n, value, squares, u float64 // squares about the mean; u summed
}

func (m *mean) add(q uncert.Quantity) {
	m.n++
	d := q.Value - m.value
	m.value += d / m.n
	m.squares += d * (q.Value - m.value)
	m.u += q.U
}

// ofJoint is the uncertainty of a joint's mean: that of one photo, since what
// its photos share, as the scale, does not average out.
func (m *mean) ofJoint() float64 { return m.u / m.n }

// ofChain is the uncertainty of a chain's mean, by the scatter of its joints.
func (m *mean) ofChain() float64 {
	if m.n < 2 {
		return m.u
	}
	return math.Sqrt(m.squares / (m.n - 1) / m.n)
}

// pairs gathers what was measured in two ways.
type pairs struct {
	opts *compareCommand
	// key names what both ways measure, empty where a photo does not say.
	key     func(record.Levels) string
	means   [2]map[string]*mean
	unnamed int
}

func (p *pairs) begin() taker {
	p.means, p.unnamed = [2]map[string]*mean{{}, {}}, 0
	return func(m *record.Measured, q uncert.Quantity) error {
		if p.opts.inspection != "" && p.opts.inspection != m.Levels.Inspection {
			return nil
		}
		key := p.key(m.Levels)
		if key == "" {
			p.unnamed++
			return nil
		}
		of := p.means[slices.Index(p.opts.agree[:], m.Kind)]
		if of[key] == nil {
			of[key] = &mean{}
		}
		of[key].add(q)
		return nil
	}
}

func (p *pairs) both(u func(*mean) float64) []compare.Pair {
	var both []compare.Pair
	for _, key := range slices.Sorted(maps.Keys(p.means[0])) {
		a, b := p.means[0][key], p.means[1][key]
		if b != nil {
			both = append(both, compare.Pair{Name: shownName(key), A: a.value, B: b.value, UA: u(a), UB: u(b)})
		}
	}
	return both
}

func (o *compareCommand) runAgree(streams Streams) error {
	p := &pairs{opts: o}
	of, u := "joint", (*mean).ofJoint
	p.key = func(l record.Levels) string {
		if l.Joint == "" {
			return ""
		}
		return jointKey(l)
	}
	asked := *o
	if slices.Contains(o.agree[:], record.Span) {
		of, u = "chain", (*mean).ofChain
		p.key = func(l record.Levels) string {
			if l.Chain == "" {
				return ""
			}
			return inspectionKey(l)
		}
	} else if o.figure == "" {
		asked.figure = playFigure // it is what both ways see
	}
	g, err := asked.gather(p.begin)
	if err != nil {
		return err
	}
	for _, kind := range o.agree {
		if g.with[kind] == 0 {
			return usageErrorf("no %s photo has a figure %s", kind, record.SafeName(g.figure))
		}
	}
	unit := g.units[o.agree[0]]
	if other := g.units[o.agree[1]]; other != unit {
		return usageErrorf("%s is in %s in %s photos and in %s in %s photos", g.figure, unit, o.agree[0], other, o.agree[1])
	}
	margin, err := o.margin.in(unit)
	if err != nil {
		return err
	}
	both := p.both(u)
	a, err := compare.Agree(both, unit, margin)
	if err != nil {
		return usageErrorf("%w, each of one %s measured both ways", err, of)
	}
	if of == "chain" {
		a.Notes = append(a.Notes, "the uncertainty of a chain's mean is by the scatter of its joints")
	}
	if p.unnamed > 0 {
		a.Notes = append(a.Notes, fmt.Sprintf("%s of no named %s and left out", results(p.unnamed), of))
	}
	a.Notes = append(a.Notes, g.notes(o.agree[:]...)...)
	paired := func(m *record.Measured) bool {
		if o.inspection != "" && o.inspection != m.Levels.Inspection {
			return false
		}
		key := p.key(m.Levels)
		return key != "" && p.means[0][key] != nil && p.means[1][key] != nil
	}
	used := 0
	for _, key := range slices.Collect(maps.Keys(p.means[0])) {
		if b := p.means[1][key]; b != nil {
			used += int(p.means[0][key].n + b.n)
		}
	}
	basis := g.basis(used, o.agree[:]...)
	if o.out != "" {
		if err := asked.writeData(basis, paired); err != nil {
			return err
		}
	}
	out := record.NewAgreement(basis, of, a, margin)
	return o.print(streams, out, func(w io.Writer, style record.Style) error { return record.WriteAgreement(w, out, style) })
}
