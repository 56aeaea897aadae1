package cli

import (
	"slices"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// photoFigures are what photos showed of one chain at one inspection.
type photoFigures struct {
	name string // of the chain, for people
	// plays and growths of joints, one a joint, mm; growths are missing where
	// the new play is not known.
	plays, growths []uncert.Quantity
	// spanGrowths are growths per joint by spans, mm, elongations those spans'
	// own, percent: one a span, both missing where the pitch is not known.
	spanGrowths, elongations []uncert.Quantity
	earlier                  []inspection // of the same chain
	now                      inspection   // at 0 if it is not known
}

// inspection is the growth of a chain at a running distance.
type inspection struct {
	at     float64
	unit   string
	growth uncert.Quantity // percent
}

// ofOneCause are the parts of an uncertainty that are the same in all photos
// of a chain.
var ofOneCause = []string{
	"rule division tolerance", "gauge tolerance", wear.NewPlayFromTable, wear.OpenShape, newLength,
}

// ofPhotos carries what photos showed of a chain through the elongation model.
// The receiver says what chain and drive it is. The growth is that of the spans
// if there are any, else that of the joints.
func (t typed) ofPhotos(p photoFigures) (record.Stretch, error) {
	out := record.Stretch{Source: "photos", Title: record.Say("%s", p.name), Growth: record.Figures{}}
	chain, err := t.Chain.find()
	if err != nil {
		return out, err
	}
	out.Chain = chain.Designation
	s := stretching{typed: t, chain: chain, out: &out}
	joints, err := s.jointsInPhotos(p)
	if err != nil {
		return out, err
	}
	spans, err := s.spansInPhotos(p)
	if err != nil {
		return out, err
	}
	if joints == nil && !spans {
		s.note("the growth is not known: say what the new chain is, its type or its pitch and the play of a new joint")
		return out, nil
	}
	if spans && joints != nil {
		c, err := wear.CheckJointsAgainstSpans(*joints, s.perJoint.ends)
		if err != nil {
			return out, err
		}
		out.CrossCheck = record.NewCrossCheck(c)
		s.say("Cross-check of joints and spans: %s.", c.Agreement)
	}
	for _, step := range []func() error{s.growthInPhotos, s.driveInPhotos, s.hold, func() error { return s.forecastIn(p) }} {
		if err := step(); err != nil {
			return out, err
		}
	}
	return out, nil
}

// jointsInPhotos prints the play of the mean joint and of the worst, and
// returns the growth of the mean joint, nil if it is not known.
func (s *stretching) jointsInPhotos(p photoFigures) (*wear.Growth, error) {
	if len(p.plays) == 0 {
		return nil, nil
	}
	play, err := wear.MeanPlay(p.plays, ofOneCause...)
	if err != nil {
		return nil, err
	}
	worst := slices.MaxFunc(p.plays, func(a, b uncert.Quantity) int {
		if a.Value < b.Value {
			return -1
		}
		return 1
	})
	play.Lower = max(play.Lower, 0) // there is no less than none
	s.out.Results = append(s.out.Results, record.Figure{Name: "play_mean_joint", Quantity: play})
	if len(p.plays) == 1 {
		s.say("The joint photographed rocks %s.", play)
		s.note("one joint does not tell how the joints of a chain differ, and the intervals do not allow for it: photograph five or more, spread over the chain")
	} else {
		s.out.Results = append(s.out.Results, record.Figure{Name: "play_largest_joint", Quantity: worst})
		s.say("The mean of %d joints rocks %s, the loosest %s.", len(p.plays), play, worst)
	}
	if len(p.growths) == 0 {
		return nil, nil
	}
	growth, err := wear.MeanPlay(p.growths, ofOneCause...)
	if err != nil {
		return nil, err
	}
	s.perJoint, s.joints = known(growth), len(p.growths)
	if s.chain.Pitch > 0 {
		if s.percent, err = s.perJoint.nominal().percentOf(s.chain.Pitch); err != nil {
			return nil, err
		}
	}
	ends := s.perJoint.ends
	return &ends, nil
}

// spansInPhotos takes the growth of the spans, if there are any.
func (s *stretching) spansInPhotos(p photoFigures) (bool, error) {
	if len(p.spanGrowths) == 0 {
		return false, nil
	}
	growth, err := wear.MeanReading(p.spanGrowths, ofOneCause...)
	if err != nil {
		return false, err
	}
	percent, err := wear.MeanReading(p.elongations, ofOneCause...)
	if err != nil {
		return false, err
	}
	if s.joints > 0 {
		s.out.Results = append(s.out.Results, record.Figure{Name: "growth_from_joints", Quantity: s.perJoint.main})
	}
	s.perJoint, s.percent, s.joints = known(growth), known(percent), 0
	return true, nil
}

// growthInPhotos prints the growth of each joint, in percent and of the whole
// chain.
func (s *stretching) growthInPhotos() error {
	s.out.Growth = append(s.out.Growth, record.Figure{Name: "joint_growth", Quantity: s.perJoint.main})
	says := record.Say("Each joint has added %s to the length", s.perJoint.main)
	if s.chain.Pitch > 0 {
		s.out.Growth = append(s.out.Growth, record.Figure{Name: "elongation", Quantity: s.percent.main})
		says = says.Then(", %s of the pitch", s.percent.main)
	}
	if n := s.Chain.Pitches.n; n > 0 {
		whole, err := s.perJoint.times(n)
		if err != nil {
			return err
		}
		s.out.Growth = append(s.out.Growth, record.Figure{Name: "chain_growth", Quantity: whole.main})
		says = says.Then(", and all %d of them %s if they are alike", n, whole.main)
	}
	s.say("%s.", says)
	if s.perJoint.main.Upper < 0 {
		s.note("the chain reads shorter than new: check what the new chain is, the division of the scale, and that the chain was pulled tight")
	}
	return nil
}

// driveInPhotos works out the drive, if all that it needs is known.
func (s *stretching) driveInPhotos() error {
	if s.Chain.Pitches.n == 0 && len(s.Drive.Wheels) > 0 {
		s.note("for the drive say how many pitches the whole chain has")
		return nil
	}
	return s.drive()
}

// forecastIn draws the line through the inspections of the chain, this one the
// last.
func (s *stretching) forecastIn(p photoFigures) error {
	if len(p.earlier) == 0 || p.now.at == 0 || s.limit.Unit != "%" {
		return nil
	}
	p.now.growth = s.percent.main
	var all []wear.Inspection
	for _, in := range append(slices.Clone(p.earlier), p.now) {
		if in.unit != p.now.unit {
			s.note("no forecast: some inspections state kilometres and others hours")
			return nil
		}
		all = append(all, wear.Inspection{Distance: in.at, Growth: in.growth})
	}
	return s.foresee(all, s.Forecast.RunningIn.value, p.now.unit, s.limit.Value)
}
