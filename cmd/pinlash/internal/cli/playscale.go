//go:build !front

package cli

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision"
)

// readEither returns the scale of two photos of one setting: that of the first,
// held against that of the second, or of the only one that shows it. Rules
// and gauges are those of the first photo.
func (s *scaleSource) readEither(a, b vision.Photo) (foundScale, error) {
	if s.pointed || s.saved != nil && s.division == 0 && s.gauge == 0 {
		return s.read(a)
	}
	var first, second foundScale
	var firstErr, secondErr error
	err := both(func() error {
		first, firstErr = s.read(a)
		return nil
	}, func() error {
		second, secondErr = s.read(b)
		return nil
	})
	switch {
	case err != nil:
		return first, err
	case firstErr == nil && secondErr == nil:
		c, err := calib.Agree(first.Scale, second.Scale)
		c.Name = "scales of both photos"
		first.Checks = append(first.Checks, c)
		if refused := (*check.Refusal)(nil); errors.As(err, &refused) {
			refused.Message = fmt.Sprintf("the scales of the two photos differ by %.2f %%, at most %.2f %% may be", 100*c.Value, 100*c.Limit)
			refused.Remedy = "change neither focus, zoom nor distance between the two photos"
		}
		return first, err
	case firstErr == nil && notSeen(secondErr):
		first.Notes = append(first.Notes, "the scale is that of "+record.SafeName(a.Path)+"; none could be read in the other photo")
		return first, nil
	case secondErr == nil && notSeen(firstErr):
		second.rules, second.gauge = nil, nil
		second.Notes = append(second.Notes, "the scale is that of "+record.SafeName(b.Path)+"; none could be read in the other photo")
		return second, nil
	case firstErr == nil:
		return first, secondErr
	}
	return first, firstErr
}

// notSeen says whether an error only means that the photo shows no scale that
// can be read, and none that contradicts another.
func notSeen(err error) bool {
	refused := (*check.Refusal)(nil)
	return errors.As(err, &refused) && refused.Code != check.ScalesDisagree && refused.Code != check.WrongScale
}

// maxRuleShare is the share of the moving link's places that may lie among the
// marks of the rule. Nothing of a link that moves against the rule does; all of a
// rule that was pushed does, and some of a photo whose rows were read while the
// camera moved, whose lower part then passes for a link (of 280 generated pairs
// two such ones had 0.06 and more, all others none).
const maxRuleShare = 0.05

// ruleStays refuses a motion that is that of the rule, as of a rule that was
// pushed between the photos, or of photos of two joints beside one rule.
func ruleStays(rule geom.Rule, moving []geom.Tile) (check.Check, error) {
	longest := 0.0
	for _, t := range rule.Ticks {
		longest = max(longest, t.Length)
	}
	on, all := 0.0, 0.0
	for _, tile := range moving {
		all += tile.Weight
		half := float64(tile.Size-1) / 2
		middle := r2.Vec{X: float64(tile.X) + half, Y: float64(tile.Y) + half}
		near := math.Inf(1)
		for _, t := range rule.Ticks {
			near = min(near, r2.Norm(r2.Sub(middle, t.At)))
		}
		if near <= longest/2 {
			on += tile.Weight
		}
	}
	share := math.Round(1000*on/max(all, 1)) / 1000
	c := check.AtMost("moving link on the rule", share, maxRuleShare)
	if c.OK {
		return c, nil
	}
	refused := check.Refuse(check.NotFound, "what moved holds the rule or part of it, and is no link: the rule was pushed, or the photo moved while it was read out")
	refused.Remedy = "hold the camera still, leave the rule with the link that stays, and take both photos of one joint; or say with --moving where the moving link lies"
	return c, refused
}
