package cli

import (
	"fmt"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/wear"
)

// timingCautions are shown wherever figures speak of camshafts.
var timingCautions = []string{
	"the figures advise; the maker's procedure and limit govern, and someone licensed decides",
	"interference engine: with the chain off, turn neither crank nor cam; valves can strike pistons. Lock both at the maker's reference position first",
	"disconnect the battery; nobody cranks while the drive is open",
	"tensioner and valve springs store energy: pin the tensioner; cams may snap round when the chain is released",
	"turn by hand in the running direction only, plugs out, two full turns of the crank after assembly",
}

// drive works out timing, slack and tensioner, where the drive is known.
func (s *stretching) drive() error {
	if s.times() {
		s.out.Cautions = timingCautions
	}
	if len(s.Drive.Wheels) == 0 {
		if s.Drive.Tensioner.Kind.is != "" {
			return usageErrorf("a tensioner needs the wheels of the drive")
		}
		return nil
	}
	drive, err := s.layout()
	if err != nil {
		return err
	}
	growth := wear.Figure(s.perJoint.main)
	if s.times() {
		if err := s.timing(drive, growth); err != nil {
			return err
		}
	}
	slack, err := drive.Slack(growth)
	if err != nil {
		return err
	}
	s.out.Drive = record.Figures{{Name: "slack", Quantity: slack.Mid()}}
	s.say("The tensioner has %s of slack to take up, by how far the worn chain rides up the wheels.", record.Range{From: slack.Least.Value, To: slack.Most.Value})
	return s.tensioner(slack)
}

// layout turns the typed wheels into a drive.
func (s *stretching) layout() (wear.Drive, error) {
	drive := wear.Drive{Pitch: s.chain.Pitch, Joints: s.Chain.Pitches.n}
	switch {
	case drive.Pitch == 0:
		return drive, usageErrorf("a drive needs the chain or its pitch")
	case drive.Joints == 0:
		return drive, usageErrorf("a drive needs the number of pitches of the whole chain: chain.pitches")
	}
	wheels := s.Drive.Wheels
	for i, w := range wheels {
		if w.Name == "" {
			w.Name = fmt.Sprintf("wheel %d", i+1)
		}
		if record.SafeName(w.Name) != w.Name {
			return drive, usageErrorf("a wheel's name %q cannot be printed", w.Name)
		}
		wheel := wear.Wheel{Name: w.Name, Teeth: w.Teeth.n, ToNext: w.ToNext.value}
		switch w.Kind.is {
		case driverWheel:
			wheel.Kind = wear.Driver
		case camWheel:
			wheel.Kind = wear.Cam
		case idlerWheel:
			wheel.Kind = wear.Idler
		default:
			return drive, usageErrorf("%s has no kind: driver, cam or idler", w.Name)
		}
		switch {
		case w.Teeth.n == 0:
			return drive, usageErrorf("%s has no teeth", w.Name)
		case w.ToNext.given == w.CentreToNext.given:
			return drive, usageErrorf("%s needs the free strand to the next wheel: one of to_next, in pitches, and centre_to_next, in mm", w.Name)
		case w.CentreToNext.given:
			next := wheels[(i+1)%len(wheels)]
			pitches, err := wear.StrandPitches(drive.Pitch, w.CentreToNext.mm, w.Teeth.n, next.Teeth.n, w.Crossed)
			if err != nil {
				return drive, fmt.Errorf("%s: %w", w.Name, err)
			}
			wheel.ToNext = pitches
		}
		for _, other := range drive.Wheels {
			if other.Name == wheel.Name {
				return drive, usageErrorf("two wheels are named %q", wheel.Name)
			}
		}
		drive.Wheels = append(drive.Wheels, wheel)
	}
	return drive, nil
}

// timing prints for every cam its lag, and the lag of a tooth jumped beside it.
func (s *stretching) timing(drive wear.Drive, growth wear.Growth) error {
	cams, err := drive.Timing(growth)
	if err != nil {
		return err
	}
	for _, c := range cams {
		teeth := 0
		for _, w := range drive.Wheels {
			if w.Name == c.Name {
				teeth = w.Teeth
			}
		}
		diameter, err := wear.PitchDiameter(drive.Pitch, teeth)
		if err != nil {
			return err
		}
		tooth, err := wear.JumpedTooth(teeth)
		if err != nil {
			return err
		}
		s.out.Cams = append(s.out.Cams, record.Cam{
			Name: c.Name, Teeth: teeth, PitchDiameter: diameter, Strand: c.Strand,
			ToothCam: tooth.Cam.Most.Value, ToothCrank: tooth.Crank.Most.Value,
			Figures: record.Figures{
				{Name: "strand_growth", Quantity: c.Growth.Most},
				{Name: "lag_cam", Quantity: c.Lag.Cam.Most},
				{Name: "lag_crank", Quantity: c.Lag.Crank.Most},
			},
		})
		s.say("%s is pulled by %.4g pitches and lags %s at the cam, %s at the crank; a tooth jumped would be %.4g and %.4g deg.",
			c.Name, c.Strand, c.Lag.Cam.Most, c.Lag.Crank.Most, tooth.Cam.Most.Value, tooth.Crank.Most.Value)
	}
	s.note("only the strand that pulls shifts a cam, the rest is slack; that a worn chain rides higher on both wheels does not shift it to first order; wear of wheels, guides and phasers is not in the lag")
	return nil
}

// tensioner prints the travel of the plunger.
func (s *stretching) tensioner(slack wear.Growth) error {
	t := s.Drive.Tensioner
	if t.Kind.is == "" {
		if t.Chord.given || t.Bow.given || t.At.given || t.Lever.given {
			return usageErrorf("the tensioner has no kind: blade or shoe")
		}
		return nil
	}
	travel, err := wear.Tensioner{
		Blade: t.Kind.is == bladeTensioner, Chord: t.Chord.mm, At: t.At.mm, Bow: t.Bow.mm, Lever: t.Lever.value,
	}.Travel(slack)
	if err != nil {
		return fmt.Errorf("tensioner: %w", err)
	}
	s.out.Drive = append(s.out.Drive, record.Figure{Name: "tensioner_travel", Quantity: travel.Mid()})
	return nil
}
