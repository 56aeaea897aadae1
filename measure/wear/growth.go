package wear

import (
	"fmt"
	"math"
	"slices"

	"pinlash/measure/uncert"
)

// Growth is a growth in length, in mm, percent or degrees of what it causes.
// Where something needed is not known it has two ends, and the true figure
// lies between them; otherwise both are the same figure.
type Growth struct {
	Least, Most uncert.Quantity
	// Open says in words what parts the two ends, "" when they are one.
	Open string
}

// The reasons why a growth has two ends.
const (
	OpenShape = "shape of the wear not known"
	OpenLinks = "which link begins the odd span not known"
)

// Figure returns the growth that is one figure.
func Figure(q uncert.Quantity) Growth { return Growth{Least: q, Most: q} }

// Known reports whether the growth is one figure.
func (g Growth) Known() bool { return g.Open == "" }

// Mid returns one figure for the growth. Between two ends every value is
// taken as equally likely (GUM 4.3.7), half their distance divided by
// sqrt(3) being a part of its uncertainty.
func (g Growth) Mid() uncert.Quantity {
	if g.Known() {
		return g.Most
	}
	budget := uncert.Budget{{Name: g.Open, U: (g.Most.Value - g.Least.Value) / 2 / math.Sqrt(3)}}
	least, most := partsOf(g.Least), partsOf(g.Most)
	if len(least) == len(most) {
		// The ends are multiples of one figure, so their parts are as well.
		for i := range most {
			budget = append(budget, uncert.Term{Name: most[i].Name, U: (least[i].U + most[i].U) / 2, DF: most[i].DF})
		}
	} else {
		budget = append(budget, uncert.Term{Name: asStated, U: max(g.Least.U, g.Most.U), DF: g.Most.DF})
	}
	return uncert.Combine((g.Least.Value+g.Most.Value)/2, g.Most.Unit, budget)
}

// Joints returns the growth of n joints from that of the mean joint:
// n times as much, with n times the uncertainty, since the mean joint's error
// is the same in all of them.
func (g Growth) Joints(n int) (Growth, error) {
	if err := atLeast("number of joints", n, 1); err != nil {
		return Growth{}, err
	}
	return g.times(float64(n), g.Most.Unit)
}

// PercentOf returns a growth in mm as percent of a new length in mm: joint
// growth of one pitch, span growth of the span's pitches.
func (g Growth) PercentOf(length float64) (Growth, error) {
	if err := positive("new length", length); err != nil {
		return Growth{}, err
	}
	if g.Most.Unit != "mm" {
		return Growth{}, fmt.Errorf("growth is in %q, want mm", g.Most.Unit)
	}
	return g.times(100/length, "%")
}

// times scales both ends by a positive factor.
func (g Growth) times(factor float64, unit string) (Growth, error) {
	for _, q := range []uncert.Quantity{g.Least, g.Most} {
		if err := usable("growth", q, g.Most.Unit); err != nil {
			return Growth{}, err
		}
	}
	return Growth{Least: g.Least.Scaled(factor, unit), Most: g.Most.Scaled(factor, unit), Open: g.Open}, nil
}

// between returns the growth with the ends a and b in the order of size.
func between(a, b uncert.Quantity, open string) Growth {
	if a.Value > b.Value {
		a, b = b, a
	}
	return Growth{Least: a, Most: b, Open: open}
}

// Share is how much of a joint's added play lengthens the chain, the f of
//
//	growth = f (play - new play),  0.5 <= f <= 1.
//
// Wear on the loaded flanks only lengthens the chain by its whole depth, f = 1.
// Wear all round opens the same play on the side that carries no load as well,
// and half of it lengthens the chain, f = 0.5. The zero Share is a shape that
// is not known.
type Share struct {
	f     uncert.Quantity
	known bool
}

// OneSided is the share of wear on the loaded flanks only.
func OneSided() Share { return Share{f: uncert.Combine(1, "", nil), known: true} }

// AllRound is the share of wear that is even all round.
func AllRound() Share { return Share{f: uncert.Combine(0.5, "", nil), known: true} }

// ShareOf is a share measured from the wear profile of a joint, a figure
// without unit. A value outside 0.5 to 1 is taken as the nearer end if its 95 %
// interval reaches it, and refused if not.
func ShareOf(f uncert.Quantity) (Share, error) {
	if err := usable("share of the play", f, ""); err != nil {
		return Share{}, err
	}
	if f.Upper < 0.5 || f.Lower > 1 {
		return Share{}, fmt.Errorf("share of the play is %.3g, want 0.5 to 1", f.Value)
	}
	f.Value = min(max(f.Value, 0.5), 1)
	return Share{f: f, known: true}, nil
}

// JointGrowth returns what one joint adds to the length of the tight chain, in
// mm, from its play and the play it had when new:
//
//	play = c0 + w,  growth = f (play - new play)
//
// With the share not known the growth has two ends, half the added play and
// all of it. Parts of both figures named in shared have one cause, such as the
// scale both photos were read with; their effects are subtracted. All other
// parts are independent. Less play than new gives a negative growth.
func JointGrowth(play, newPlay uncert.Quantity, share Share, shared ...string) (Growth, error) {
	if err := usable("play", play, "mm"); err != nil {
		return Growth{}, err
	}
	if err := usable("new play", newPlay, "mm"); err != nil {
		return Growth{}, err
	}
	if play.Value < 0 || newPlay.Value < 0 {
		return Growth{}, fmt.Errorf("play is %g mm and new play %g mm, want neither below zero", play.Value, newPlay.Value)
	}
	added := difference(play, newPlay, shared)
	if !share.known {
		return between(added.Scaled(0.5, "mm"), added, OpenShape), nil
	}
	if share.f.U == 0 {
		return Figure(added.Scaled(share.f.Value, "mm")), nil
	}
	f := uncert.Combine(share.f.Value, "", uncert.Budget{{Name: "share of the play from the wear profile", U: share.f.U, DF: share.f.DF}})
	return Figure(uncert.Product(f, added, "mm")), nil
}

// MeanPlay returns the play of the mean joint of a chain from the plays of
// several of its joints, mm, or likewise their growth. Two or more joints show
// by their scatter, divided by the root of their number, how far their mean may
// lie from the chain's; where that is smaller than what their own uncertainties
// make of it, those are used, but with the degrees of freedom of so few joints:
// that a few lie close together by luck does not tell that all do. Parts named in shared have one cause in all joints and do not
// shrink. One joint stands for the chain with its own uncertainty only: it
// says nothing of how the joints differ.
func MeanPlay(plays []uncert.Quantity, shared ...string) (uncert.Quantity, error) {
	if err := atLeast("number of joints", len(plays), 1); err != nil {
		return uncert.Quantity{}, err
	}
	for _, p := range plays {
		if err := usable("play", p, "mm"); err != nil {
			return uncert.Quantity{}, err
		}
	}
	return meanOf(plays, shared, JointsDiffer), nil
}

// meanOf is the mean of figures in one unit; scatter names the part of its
// uncertainty that comes from how they differ.
func meanOf(figures []uncert.Quantity, shared []string, scatter string) uncert.Quantity {
	n := float64(len(figures))
	if n == 1 {
		return figures[0]
	}
	var sum float64
	var own, common uncert.Budget
	for _, q := range figures {
		sum += q.Value
		for _, t := range partsOf(q) {
			t.U /= n
			i := slices.IndexFunc(common, func(c uncert.Term) bool { return c.Name == t.Name })
			switch {
			case !slices.Contains(shared, t.Name):
				own = append(own, t)
			case i < 0:
				common = append(common, t)
			default:
				common[i].U += t.U
			}
		}
	}
	mean := sum / n
	var squares float64
	for _, q := range figures {
		squares += (q.Value - mean) * (q.Value - mean)
	}
	shown := uncert.Term{Name: scatter, U: math.Sqrt(squares / (n - 1) / n), DF: n - 1}
	unit := figures[0].Unit
	if stated := uncert.Combine(mean, unit, own); stated.U > shown.U {
		shown.U = stated.U
		if scatter != JointsDiffer {
			shown.DF = stated.DF
		}
	}
	return uncert.Combine(mean, unit, append(uncert.Budget{shown}, common...))
}

// difference is a - b where parts named in shared have one cause in both.
func difference(a, b uncert.Quantity, shared []string) uncert.Quantity {
	rest := slices.Clone(partsOf(b))
	var budget uncert.Budget
	for _, t := range partsOf(a) {
		if i := slices.IndexFunc(rest, func(r uncert.Term) bool { return r.Name == t.Name }); i >= 0 && slices.Contains(shared, t.Name) {
			t.U = math.Abs(t.U - rest[i].U)
			rest = slices.Delete(rest, i, i+1)
		}
		budget = append(budget, t)
	}
	return uncert.Combine(a.Value-b.Value, a.Unit, append(budget, rest...))
}

const asStated = "as stated"

// partsOf returns the figure's budget, for a figure without one its whole
// uncertainty as a single part.
func partsOf(q uncert.Quantity) uncert.Budget {
	if len(q.Budget) > 0 || q.U == 0 {
		return q.Budget
	}
	return uncert.Budget{{Name: asStated, U: q.U, DF: q.DF}}
}

// scaledParts returns the figure's parts times the size of a sensitivity.
func scaledParts(q uncert.Quantity, sensitivity float64) uncert.Budget {
	parts := slices.Clone(partsOf(q))
	for i := range parts {
		parts[i].U *= math.Abs(sensitivity)
	}
	return parts
}
