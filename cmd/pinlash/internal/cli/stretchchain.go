package cli

import (
	"errors"
	"fmt"
	"slices"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// stretch carries what was typed in through the elongation model. Its errors
// are input that cannot be used.
func (t typed) stretch() (record.Stretch, error) {
	var out record.Stretch
	chain, err := t.Chain.find()
	if err != nil {
		return out, err
	}
	s := stretching{typed: t, chain: chain, out: &out}
	out.Chain = chain.Designation
	out.Title = record.Say("stretch: %s", s.name())
	steps := []func() error{s.growth, s.chainAndPercent, s.drive, s.running, s.hold, s.forecast, s.maker}
	if t.onlyMaker() {
		steps = []func() error{s.drive, s.maker} // a drive without wheels, but with its cautions
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return out, err
		}
	}
	return out, nil
}

// find returns the chain's row of the table, or one that has a pitch only; a
// zero pitch is not known.
func (c typedChain) find() (wear.Chain, error) {
	switch {
	case c.Name != "" && c.Pitch.given:
		return wear.Chain{}, usageErrorf("give the chain by its name or by its pitch, not both")
	case c.Name != "":
		return wear.Find(c.Name)
	case c.Pitch.given && c.Pitch.mm <= 0:
		return wear.Chain{}, usageErrorf("pitch of %g mm must be above zero", c.Pitch.mm)
	}
	return wear.Chain{Pitch: c.Pitch.mm}, nil
}

// stretching is one way through the model.
type stretching struct {
	typed
	chain    wear.Chain
	found    *spanFound // nil without a span
	perJoint grown
	percent  grown // zero where the pitch is not known
	joints   int   // whose mean perJoint is; 0 for a span
	limit    wear.Limit
	out      *record.Stretch
}

// growth finds the growth per joint: of the span if one was read, else of the
// joints; of both, it holds one against the other.
func (s *stretching) growth() error {
	var err error
	if !s.Span.given() && len(s.Joints.Plays) == 0 {
		return usageErrorf("nothing was read: give a span, like --pins 15 --outside 136.9, or in a file the plays of joints")
	}
	if s.Span.given() {
		if s.found, err = s.span(s.chain); err != nil {
			return err
		}
		s.perJoint = s.found.perJoint
		s.out.Title = s.out.Title.Then(", %s", s.found.counted.Words)
		if n := s.found.places; n > 1 {
			s.out.Title = s.out.Title.Then(", mean of %d places", n)
		}
		s.out.Span = &s.found.counted
		s.out.Results = s.found.results
		s.out.Checks = append(s.out.Checks, s.found.checks...)
		s.out.Notes = append(s.out.Notes, s.found.notes...)
		if err := s.pull(); err != nil {
			return err
		}
	}
	if len(s.Joints.Plays) == 0 {
		return nil
	}
	joints, err := s.jointGrowth()
	if err != nil {
		return err
	}
	if s.found == nil {
		s.perJoint, s.joints = spread(joints.Mid(), joints), len(s.Joints.Plays)
		return nil
	}
	s.out.Results = append(s.out.Results, record.Figure{Name: "growth_from_joints", Quantity: joints.Mid()})
	c, err := wear.CheckJointsAgainstSpans(joints, s.perJoint.ends)
	if err != nil {
		return err
	}
	s.out.CrossCheck = record.NewCrossCheck(c)
	s.say("Cross-check: %s.", c.Agreement)
	for _, missing := range c.Missing {
		s.say("  perhaps %s", missing)
	}
	return nil
}

func (s *stretching) say(format string, args ...any) {
	s.out.Says = append(s.out.Says, record.Say(format, args...))
}

func (s *stretching) note(format string, args ...any) {
	s.out.Notes = append(s.out.Notes, fmt.Sprintf(format, args...))
}

// name is the chain for people.
func (s *stretching) name() record.Sentence {
	switch {
	case s.chain.Designation != "":
		return record.Say("chain %s", s.chain.Designation)
	case s.chain.Pitch > 0:
		return record.Say("chain of %s pitch", record.Length(s.chain.Pitch))
	}
	return record.Say("a chain")
}

// pull holds the pull against the chain's measuring load.
func (s *stretching) pull() error {
	m, known := s.chain.Measurement()
	switch {
	case !s.Span.Pull.given && known:
		s.note("the pull was not stated: a chain that lies slack reads short; the standard pulls this one with %g N", m.Load)
		return nil
	case !s.Span.Pull.given:
		s.note("the pull was not stated: a chain that lies slack reads short; pull with about 1 %% of the breaking load, the same in all readings")
		return nil
	}
	checks, err := wear.CheckPull(s.Span.Pull.value, s.chain)
	s.out.Checks = append(s.out.Checks, checks...)
	return err
}

// jointGrowth is the growth of the mean joint by plays of single joints.
func (s *stretching) jointGrowth() (wear.Growth, error) {
	j := s.Joints
	if !j.U.given || j.U.mm < 0 {
		return wear.Growth{}, usageErrorf("plays of joints need their standard uncertainty: joints.u")
	}
	plays := make([]uncert.Quantity, len(j.Plays))
	for i, p := range j.Plays {
		plays[i] = uncert.Combine(p.mm, "mm", uncert.Budget{{Name: "play as stated", U: j.U.mm}})
	}
	play, err := wear.MeanPlay(plays)
	if err != nil {
		return wear.Growth{}, err
	}
	fresh, err := s.newPlay()
	if err != nil {
		return wear.Growth{}, err
	}
	s.out.Results = append(s.out.Results, record.Figure{Name: "play_mean_joint", Quantity: play}, record.Figure{Name: "play_new", Quantity: fresh})
	var share wear.Share
	switch j.Wear.is {
	case wornOneSide:
		share = wear.OneSided()
	case wornAllRound:
		share = wear.AllRound()
	}
	return wear.JointGrowth(play, fresh, share)
}

func (s *stretching) newPlay() (uncert.Quantity, error) {
	j := s.Joints
	switch {
	case j.NewPlay.given && j.NewPlayU.mm < 0:
		return uncert.Quantity{}, usageErrorf("joints.new_play_u is below zero")
	case j.NewPlay.given:
		return uncert.Combine(j.NewPlay.mm, "mm", uncert.Budget{{Name: "new play as stated", U: j.NewPlayU.mm}}), nil
	case s.chain.Designation == "":
		return uncert.Quantity{}, usageErrorf("plays of joints are held against a new one: give joints.new_play or the chain's name")
	}
	s.note("the new play is the least the standard allows; measure a new joint of the same make and give it with joints.new_play")
	return s.chain.NewPlay()
}

// chainAndPercent prints the growth per joint, in percent and of the whole
// chain, and the readings an odd span or unstated faces leave.
func (s *stretching) chainAndPercent() error {
	var err error
	add := func(name string, q uncert.Quantity) {
		s.out.Growth = append(s.out.Growth, record.Figure{Name: name, Quantity: q})
	}
	add("joint_growth", s.perJoint.main)
	if s.chain.Pitch > 0 {
		if s.percent, err = s.perJoint.nominal().percentOf(s.chain.Pitch); err != nil {
			return err
		}
		add("elongation", s.percent.main)
	} else {
		s.note("for percent and a limit give the chain or its pitch")
	}
	meaning := record.Say("Each joint has added %s to the length", s.perJoint.main)
	if n := s.Chain.Pitches.n; n > 0 {
		whole, err := s.perJoint.times(n)
		if err != nil {
			return err
		}
		add("chain_growth", whole.main)
		meaning = meaning.Then(", and all %d of them %s if they are alike", n, whole.main)
	}
	s.say("%s.", meaning)
	if s.perJoint.main.Upper < 0 {
		s.note("the chain reads shorter than new: check the count (15 pins are 14 pitches), the faces touched, and that the chain was pulled tight")
	}
	if s.found == nil {
		if !s.perJoint.ends.Known() {
			s.say("%s", openWords("Half of the added play lengthens the chain if the joints are worn all round, all of it if on one side", s.perJoint.ends, s.Chain.Pitches.n))
			s.out.Readings = s.readings([]namedGrowth{{"worn all round", s.perJoint.ends.Least}, {"worn on one side", s.perJoint.ends.Most}})
		}
		return nil
	}
	if s.found.worst != nil && s.chain.Pitch > 0 {
		worst, err := s.found.worst.nominal().percentOf(s.chain.Pitch)
		if err != nil {
			return err
		}
		add("elongation_worst_place", worst.main)
	}
	s.spanReadings()
	return nil
}

// namedGrowth is one reading of an open growth per joint.
type namedGrowth struct {
	name     string
	perJoint uncert.Quantity
}

// openWords says between which figures a growth per joint is left open: of the
// whole chain where its joints are counted, else of each.
func openWords(why string, ends wear.Growth, joints int) record.Sentence {
	of, n := "each joint", 1.0
	if joints > 0 {
		of, n = "the whole chain", float64(joints)
	}
	return record.Say("%s: %s for %s.", why, record.Range{From: n * ends.Least.Value, To: n * ends.Most.Value}, of)
}

// oddWords says what an odd span leaves open.
func oddWords(pitches int, ends wear.Growth, joints int) record.Sentence {
	return openWords(fmt.Sprintf("An odd span of %s leaves open which of its links grow, %d or %d",
		pitchesInWords(pitches), (pitches+1)/2, (pitches-1)/2), ends, joints)
}

// spanReadings prints each reading of an odd span and of unstated faces.
func (s *stretching) spanReadings() {
	var all []namedGrowth
	for _, face := range s.found.readings {
		if len(s.found.readings) > 1 && s.chain.Pitch > 0 {
			percent := known(face.perPitch).nominal().main.Scaled(100/s.chain.Pitch, "%")
			s.say("If the length is read %s, it has grown by %s (%s to %s).", face.name, percent, percent.Printed().Lower, percent.Printed().Upper)
		}
		prefix := face.name
		if prefix != "" && !face.perJoint.Known() {
			prefix += ", "
		}
		switch {
		case !face.perJoint.Known():
			all = append(all, oddReadings(prefix, face.perJoint)...)
		case prefix != "":
			all = append(all, namedGrowth{prefix, face.perJoint.Most})
		}
	}
	if s.Span.Over.is != "" {
		s.say("Reference: %s.", s.found.counted.Reference)
	}
	if n := s.found.pitches; n%2 == 1 && s.found.begins == wear.UnknownLink {
		s.say("%s", oddWords(n, s.perJoint.ends, s.Chain.Pitches.n))
		s.note("links that grow are the inner ones measured pin to pin and the outer ones measured roller to roller; an even number of pitches settles it, or first_link in a file")
	}
	s.out.Readings = s.readings(all)
}

// oddReadings are the two readings of an odd span.
func oddReadings(prefix string, perJoint wear.Growth) []namedGrowth {
	return []namedGrowth{
		{prefix + "begins and ends with links that grow", perJoint.Least},
		{prefix + "begins and ends with links that do not grow", perJoint.Most},
	}
}

func (s *stretching) readings(all []namedGrowth) []record.Reading {
	return readings(all, s.chain.Pitch, s.Chain.Pitches.n)
}

// readings prints each growth per joint also in percent of the pitch and for
// the whole chain; a zero pitch or number of joints is not known.
func readings(all []namedGrowth, pitch float64, joints int) []record.Reading {
	var lines []record.Reading
	for _, r := range all {
		line := record.Reading{Name: r.name, Growth: record.Figures{{Name: "joint_growth", Quantity: r.perJoint}}}
		if pitch > 0 {
			line.Growth = append(line.Growth, record.Figure{Name: "elongation", Quantity: known(r.perJoint).nominal().main.Scaled(100/pitch, "%")})
		}
		if joints > 0 {
			line.Growth = append(line.Growth, record.Figure{Name: "chain_growth", Quantity: r.perJoint.Scaled(float64(joints), "mm")})
		}
		lines = append(lines, line)
	}
	return lines
}

// mostShorter is how much shorter than its nominal pitch a chain may read, in
// percent: new chains have 0 to 0.15 % more (ISO 606), so that beyond it
// something else is wrong (judgement).
const mostShorter = 0.5

// hold holds the growth against the limit that goes before the others.
func (s *stretching) hold() error {
	growth, err := s.limitAndGrowth()
	if err != nil || s.limit.Value == 0 {
		return err
	}
	if s.limit.Unit == "%" && growth.Most.Upper < -mostShorter {
		s.note("no decision: no wear makes a chain %.3g %% shorter; another chain, another count or another scale is stated than was read", -growth.Most.Value)
		return nil
	}
	d, err := wear.Decide(growth, s.limit, s.joints)
	if err != nil {
		return err
	}
	s.out.Limit, s.out.Decision = record.NewLimit(s.limit), record.NewDecision(d)
	switch {
	case s.limit.Provenance == "M":
		s.note("that limit is common practice and no standard; the maker's figure goes before it")
	case s.limit.Provenance == "S" && !s.times():
		s.note("that limit is not for a chain that drives camshafts: say so with --timing, or timing = true in a file; the maker's figure goes before both")
	}
	if s.found == nil || s.found.worst == nil || s.limit.Unit != "%" {
		return nil
	}
	worst, err := s.found.worst.nominal().percentOf(s.chain.Pitch)
	if err != nil {
		return err
	}
	w, err := wear.Decide(worst.ends, s.limit, 0)
	if err == nil && w.Verdict != d.Verdict {
		s.note("the decision is on the mean of the places; the worst place alone is %s", w.Verdict)
	}
	return err
}

// limitAndGrowth finds the limit, and the growth in its unit.
func (s *stretching) limitAndGrowth() (wear.Growth, error) {
	l := s.Limit
	switch {
	case l.Percent.given && l.Longest.given:
		return wear.Growth{}, usageErrorf("give the maker's limit in percent or as the longest reading, not both")
	case l.Percent.given && !(l.Percent.value > 0 && l.Percent.value <= 100):
		return wear.Growth{}, usageErrorf("limit of %g %% must lie above 0 and not above 100", l.Percent.value)
	case l.Longest.given && (s.found == nil || s.found.reading.Unit == ""):
		return wear.Growth{}, usageErrorf("the longest reading needs one reading of the span over the same faces to be held against")
	case l.Longest.given:
		s.limit = wear.Limit{Name: "maker's longest reading", Value: l.Longest.mm, Unit: "mm", Source: "as stated", Provenance: "given"}
		return wear.Figure(s.found.reading), nil
	case s.chain.Pitch == 0 && l.Percent.given:
		return wear.Growth{}, usageErrorf("limit is in percent of the pitch and needs the chain or its pitch")
	case s.chain.Pitch == 0:
		return wear.Growth{}, nil
	}
	duty := wear.Duty{
		MakerPercent: l.Percent.value, LargestWheel: l.LargestWheel.n,
		FixedCentres: l.FixedCentres, Timing: s.times(),
	}
	for _, w := range s.Drive.Wheels {
		duty.LargestWheel = max(duty.LargestWheel, w.Teeth.n)
	}
	var err error
	s.limit, err = wear.LimitFor(duty)
	return s.percent.ends, err
}

// times says whether the chain drives camshafts.
func (s *stretching) times() bool {
	return s.Limit.Timing || slices.ContainsFunc(s.Drive.Wheels, func(w typedWheel) bool { return w.Kind.is == camWheel })
}

// forecast draws the line through the inspections, this one among them.
func (s *stretching) forecast() error {
	f := s.Forecast
	if len(f.Inspections) == 0 {
		if f.Now.given || f.RunningIn.given || f.Unit != "" {
			return usageErrorf("forecast without inspections")
		}
		return nil
	}
	if f.Unit == "" {
		return usageErrorf("forecast.unit is missing: what at and now are counted in, like \"km\" or \"h\"")
	}
	if record.SafeName(f.Unit) != f.Unit || len(f.Unit) > 20 {
		return usageErrorf("forecast.unit %q is no unit", f.Unit)
	}
	if s.chain.Pitch == 0 {
		return usageErrorf("a forecast is in percent of the pitch: give the chain or its pitch")
	}
	var all []wear.Inspection
	for i, in := range f.Inspections {
		if !in.At.given || !in.Elongation.given || in.U.value < 0 {
			return usageErrorf("inspection %d needs at and elongation, and a u that is not below zero", i+1)
		}
		all = append(all, wear.Inspection{Distance: in.At.value, Growth: uncert.Combine(in.Elongation.value, "%", uncert.Budget{{Name: "inspection as stated", U: in.U.value}})})
	}
	if f.Now.given {
		all = append(all, wear.Inspection{Distance: f.Now.value, Growth: s.percent.main})
	}
	limit, err := s.limitInPercent()
	if err != nil {
		return err
	}
	return s.foresee(all, f.RunningIn.value, f.Unit, limit)
}

// foresee prints where the line through the inspections meets the limit, in
// percent.
func (s *stretching) foresee(all []wear.Inspection, runningIn float64, unit string, limit float64) error {
	trend, err := wear.FitTrend(all, runningIn, unit)
	if err != nil {
		s.note("no forecast: %v", err)
		return nil
	}
	s.out.Forecast = record.Figures{{Name: "running_in", Quantity: trend.RunningIn}, {Name: "growth_rate", Quantity: trend.Slope}}
	meets, err := trend.Meets(limit)
	switch {
	case errors.Is(err, wear.ErrNoTrend):
		s.note("no forecast: %v", err)
		return nil
	case err != nil:
		return err
	}
	s.out.Forecast = append(s.out.Forecast, record.Figure{Name: "limit_met_at", Quantity: meets.At}, record.Figure{Name: "left_to_limit", Quantity: meets.Left})
	p := meets.At.Printed()
	s.say("Forecast: the limit of %.4g %% is met at %s %s, between %s and %s with 95 %% probability, if the chain runs on as it has.", limit, p.Value, unit, p.Lower, p.Upper)
	return nil
}

// limitInPercent turns a longest reading into percent where it can.
func (s *stretching) limitInPercent() (float64, error) {
	if s.limit.Unit == "%" {
		return s.limit.Value, nil
	}
	if len(s.found.readings) != 1 {
		return 0, usageErrorf("a forecast to a longest reading needs to know its faces, or the new reading")
	}
	perPitch := s.found.readings[0].perPitch.Value + (s.limit.Value-s.found.reading.Value)/float64(s.found.pitches)
	return 100 * perPitch / s.chain.Pitch, nil
}
