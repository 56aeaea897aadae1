package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// chainOptions say what chain the joint belongs to.
type chainOptions struct {
	name    string
	pitch   calib.Length
	newPlay calib.Length
	pitches int
	limit   float64
}

func (o *chainOptions) addFlags(f *pflag.FlagSet) {
	o.addLengthFlags(f)
	lengthFlag(f, &o.newPlay, "new-play", "play of a new joint of the same make; without it the standard's least play")
}

// addLengthFlags adds the flags for what is held against the pitch only.
func (o *chainOptions) addLengthFlags(f *pflag.FlagSet) {
	f.StringVar(&o.name, "chain", "", "`name` of the chain, as printed by pinlash chains")
	lengthFlag(f, &o.pitch, "pitch", "pitch of the new chain, for one not in the table")
	f.IntVar(&o.pitches, "pitches", 0, "number of pitches (joints) of the whole chain")
	f.Float64Var(&o.limit, "limit", 0, "`percent` of growth at which the maker's limit lies")
}

// chainReference is the new chain that a worn joint is held against.
type chainReference struct {
	name    string // for people
	pitch   float64
	newPlay uncert.Quantity
	known   bool // the new play is
	least   bool // the new play is the standard's least, not a measured one
	pitches int
	limit   float64
}

func (o chainOptions) reference(given changed) (chainReference, error) {
	ref := chainReference{name: "this chain", pitch: float64(o.pitch), pitches: o.pitches, limit: o.limit}
	err := errors.Join(
		given.atMostOne("chain", "pitch"),
		given.positive(map[string]calib.Length{"pitch": o.pitch}),
	)
	switch {
	case err != nil:
		return ref, err
	case given("new-play") && o.newPlay < 0:
		return ref, usageErrorf("--new-play of %v must not be below zero", o.newPlay)
	case given("pitches") && o.pitches < 1:
		return ref, usageErrorf("--pitches of %d must be at least 1", o.pitches)
	case given("limit") && !(o.limit > 0 && o.limit <= 100):
		return ref, usageErrorf("--limit of %g %% must lie above 0 and not above 100", o.limit)
	case given("limit") && !given("chain") && !given("pitch"):
		return ref, usageErrorf("--limit is in percent of the pitch and needs --chain or --pitch")
	}
	if given("chain") {
		chain, err := wear.Find(o.name)
		if err != nil {
			return ref, &UsageError{err}
		}
		ref.name, ref.pitch = chain.Designation, chain.Pitch
		if play, err := chain.NewPlay(); err == nil {
			ref.newPlay, ref.known, ref.least = play, true, true
		}
	}
	if given("new-play") {
		ref.newPlay, ref.known, ref.least = uncert.Combine(float64(o.newPlay), "mm", nil), true, false
	}
	return ref, nil
}

// apply adds to a joint's record what its play does to the chain.
func (ref chainReference) apply(r *record.Record, joint measure.JointResult) error {
	r.Meaning = record.Say("The joint rocks %s along the line of pull", joint.Play)
	if !ref.known {
		r.Meaning = r.Meaning.Then(".")
		r.Notes = append(r.Notes, "for the growth of the chain give --new-play, or --chain with a name from pinlash chains")
		return nil
	}
	if ref.least {
		r.Meaning = r.Meaning.Then("; a new %s has at least %s.", ref.name, record.Length(ref.newPlay.Value))
		r.Notes = append(r.Notes, "the new play is the least the standard allows; measure a new joint of the same make and give it with --new-play")
	} else {
		r.Meaning = r.Meaning.Then("; new it was %s.", record.Length(ref.newPlay.Value))
	}
	growth, err := wear.GrowthOfJoint(joint.Play, joint.Clearance, ref.newPlay)
	if err != nil {
		return err
	}
	r.Growth = append(r.Growth, record.Figure{Name: "joint_growth", Quantity: growth.Most})
	if growth.Most.Upper < 0 {
		r.Notes = append(r.Notes, "the joint has less play than a new one: check the division and the new play")
	}
	if ref.pitches > 0 {
		whole, err := growth.Joints(ref.pitches)
		if err != nil {
			return err
		}
		r.Growth = append(r.Growth, record.Figure{Name: "chain_growth", Quantity: whole.Most})
	}
	if ref.pitch > 0 {
		percent, err := growth.PercentOf(ref.pitch)
		if err != nil {
			return err
		}
		r.Growth = append(r.Growth, record.Figure{Name: "elongation", Quantity: percent.Most})
		if ref.limit > 0 {
			if r.Decision, err = ref.decide(percent); err != nil {
				return err
			}
		}
	}
	return nil
}

// decide says what the limit makes of a chain whose joints are all like this
// one.
func (ref chainReference) decide(percent wear.Growth) (string, error) {
	limit, err := wear.LimitFor(wear.Duty{MakerPercent: ref.limit})
	if err != nil {
		return "", err
	}
	d, err := wear.Decide(percent, limit, 1)
	if err != nil {
		return "", err
	}
	if d.Verdict == wear.TooClose {
		return fmt.Sprintf("if every joint is like this one, it is %s whether the chain is past its limit of %g %%; what would settle it: %s", d.Verdict, ref.limit, d.Settles), nil
	}
	return fmt.Sprintf("if every joint is like this one, the chain is %s of %g %%", d.Verdict, ref.limit), nil
}
