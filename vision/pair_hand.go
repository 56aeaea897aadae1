package vision

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
)

const (
	// leastElsewhere is the least motion, pixels, that counts as one when a
	// rectangle is held against the rest of the picture (L): links at different
	// heights go that far when the camera does.
	leastElsewhere = 0.1
	// movesU is how many standard uncertainties it must be, too, and unlikeU by
	// how many it must differ from what the rectangle does (L).
	movesU, unlikeU = 5.0, 3.0
)

// checkHand holds the rectangle given for the moving link against the rest of
// the picture. When what lies in it goes with the fixed link while something
// else goes its own way, the rectangle is on the wrong link, and what was
// measured is no play. Where nothing moves, the rectangle may be right.
func (p pair) checkHand(m geom.Motion, first geom.Similarity, joints []roundEnd, rect region) (check.Check, error) {
	going := check.AtMost("motion outside --moving", 0, leastElsewhere)
	in := against(m.Moving.Motion, m.Fixed.Motion)
	if in.sure() {
		return going, nil
	}
	var others []pairLink
	if moving, fixed, ok := p.splitByMotion(first); ok {
		others = append(others, moving, fixed)
	}
	if s, ok := p.findSeam(joints); ok {
		in := both(s.beyond(), rect)
		others = append(others, pairLink{in, p.motionIn(in, first)})
	}
	for _, l := range others {
		body, _, err := p.body(pairLink{both(l.in, rect), l.by})
		if err != nil || weightOf(body.Tiles) < minBodyWeight || body.Residual > maxUnlike {
			continue
		}
		out := against(body.Motion, m.Fixed.Motion)
		apart := r2.Norm(r2.Sub(out.way, in.way))
		if !out.sure() || apart < max(leastElsewhere, unlikeU*math.Hypot(out.u, in.u)) {
			continue
		}
		at := body.Motion.Center
		going = check.AtMost(going.Name, round(r2.Norm(out.way), 3), round(out.limit(), 3))
		refused := check.Refuse(check.NotFound, fmt.Sprintf("what lies in the rectangle given with --moving goes with the fixed link, while about (%.0f, %.0f) something moves by %.2f px", at.X, at.Y, r2.Norm(out.way)))
		refused.Remedy = "the rectangle given with --moving lies on the fixed link: give one on the link that moves, or none"
		return going, refused
	}
	return going, nil
}

// relative is how a body moved against another, at its own middle, pixels, and
// the standard uncertainty of that in any direction.
type relative struct {
	way r2.Vec
	u   float64
}

func against(body, fixed geom.Similarity) relative {
	fixed = fixed.About(body.Center)
	u := max(body.Cov[0][0]+fixed.Cov[0][0], body.Cov[1][1]+fixed.Cov[1][1])
	return relative{r2.Sub(body.Shift, fixed.Shift), math.Sqrt(max(u, 0))}
}

// limit is the way above which the body moved.
func (r relative) limit() float64 { return max(leastElsewhere, movesU*r.u) }

func (r relative) sure() bool { return r2.Norm(r.way) > r.limit() }
