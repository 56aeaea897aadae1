package cli

import (
	"reflect"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// running prints the wear coefficient, where it is known what the chain ran
// under: by it chains that ran under different loads compare.
func (s *stretching) running() error {
	r := s.Running
	if reflect.DeepEqual(r, typedRunning{}) {
		return nil
	}
	switch {
	case !r.Force.given || !r.BushLength.given:
		return usageErrorf("running needs force, in N, and bush_length")
	case r.ForceU.value < 0:
		return usageErrorf("running.force_u is below zero")
	}
	run := wear.Running{
		Force:       uncert.Combine(r.Force.value, "N", uncert.Budget{{Name: "pull as stated", U: r.ForceU.value}}),
		PinDiameter: s.chain.PinMax, BushLength: r.BushLength.mm,
	}
	if r.PinDiameter.given {
		run.PinDiameter = r.PinDiameter.mm
	}
	if run.PinDiameter == 0 {
		return usageErrorf("the pin diameter is not in the chain table: give running.pin_diameter")
	}
	var err error
	if run.Bends, err = s.bends(); err != nil {
		return err
	}
	if run.Circuits, err = s.circuits(); err != nil {
		return err
	}
	pressure, err := run.Pressure()
	if err != nil {
		return err
	}
	path, err := run.SlidingPath()
	if err != nil {
		return err
	}
	k, err := run.Coefficient(s.perJoint.main)
	if err != nil {
		return err
	}
	s.out.Running = record.Figures{
		{Name: "pressure", Quantity: pressure},
		{Name: "sliding_path", Quantity: uncert.Combine(path/1000, "m", nil)},
		{Name: "wear_coefficient", Quantity: k},
	}
	s.say("Wear coefficient: %.2e m2/N, u %.1e, over %.4g circuits of the chain.", 1e-18*k.Value, 1e-18*k.U, run.Circuits)
	if k.Lower <= 0 {
		s.note("the growth does not stand out from zero, and so neither does the wear coefficient")
	}
	s.note("compare wear coefficients of chains of like wear: depth is not linear in sliding where the contact area grows (Kauzlarich and Williams 2001), and pins wear most near their ends (Noguchi and others 2009)")
	if !r.ForceU.given {
		s.note("the pull is taken as exact; give running.force_u")
	}
	return nil
}

// bends finds the wheels at the ends of tight strands.
func (s *stretching) bends() ([]int, error) {
	switch {
	case len(s.Running.Teeth) > 0 && len(s.Drive.Wheels) > 0:
		return nil, usageErrorf("running takes the teeth of the drive's wheels; give one of them")
	case len(s.Running.Teeth) > 0:
		teeth := make([]int, len(s.Running.Teeth))
		for i, z := range s.Running.Teeth {
			teeth[i] = z.n
		}
		return teeth, nil
	case len(s.Drive.Wheels) == 0:
		return nil, usageErrorf("running needs the teeth of the wheels at both ends of the tight strand: running.teeth, or the wheels of the drive")
	}
	drive, err := s.layout()
	if err != nil {
		return nil, err
	}
	if len(drive.Wheels) > 2 {
		s.note("every tight strand is taken to pull with the stated force; if a wheel on the way takes some of it, the wear coefficient is larger")
	}
	return drive.Bends()
}

// circuits finds how often the chain has gone round.
func (s *stretching) circuits() (float64, error) {
	r := s.Running
	switch {
	case r.Circuits.given && (r.Speed.given || r.Hours.given):
		return 0, usageErrorf("running: circuits are counted, or found from speed and hours; give one")
	case r.Circuits.given:
		return r.Circuits.value, nil
	case !r.Speed.given || !r.Hours.given:
		return 0, usageErrorf("running needs circuits, or speed in m/s and hours")
	case s.chain.Pitch == 0 || s.Chain.Pitches.n == 0:
		return 0, usageErrorf("running: speed and hours need the chain or its pitch, and chain.pitches; or give circuits")
	}
	return wear.Circuits(r.Speed.value, r.Hours.value, s.chain.Pitch, s.Chain.Pitches.n)
}
