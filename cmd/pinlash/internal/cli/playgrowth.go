package cli

import (
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/wear"
)

// applyPlay adds to a play's record what it means, and what it does to the
// chain.
func (ref chainReference) applyPlay(r *record.Record, play measure.PlayResult) error {
	if play.Distinct {
		r.Meaning = record.Say("The joint rocks %s along the line of pull, which differs from zero", play.Play)
	} else {
		r.Meaning = record.Say("The play does not differ from zero; if there is any it is less than %s (95 %%)", record.Upper(play.Play))
	}
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
	ends, err := wear.JointGrowth(play.Play, ref.newPlay, wear.Share{})
	if err != nil {
		return err
	}
	half, all := ends.Least, ends.Most
	if all.Value+half.Value < 0 { // less play than new: the half lies nearer to zero
		half, all = all, half
		r.Notes = append(r.Notes, "the joint has less play than a new one: check the division and the new play")
	}
	growth := grown{ends.Mid(), ends}
	r.Growth = append(r.Growth, record.Figure{Name: "joint_growth", Quantity: growth.main})
	r.Readings = readings([]namedGrowth{
		{"worn all round, half of the added play lengthens the chain", half},
		{"worn on the loaded side only, all of it does", all},
	}, ref.pitch, ref.pitches)
	a, b := record.Range{From: half.Value, To: all.Value}.Ends()
	r.Meaning = r.Meaning.Then(" It lengthens the chain by %s if it is worn all round, by %s if on the loaded side only.", a, b)
	if ref.pitches > 0 {
		whole, err := growth.times(ref.pitches)
		if err != nil {
			return err
		}
		r.Growth = append(r.Growth, record.Figure{Name: "chain_growth", Quantity: whole.main})
	}
	if ref.pitch == 0 {
		return nil
	}
	percent, err := growth.percentOf(ref.pitch)
	if err != nil {
		return err
	}
	r.Growth = append(r.Growth, record.Figure{Name: "elongation", Quantity: percent.main})
	if ref.limit > 0 {
		r.Decision, err = ref.decide(percent.ends)
	}
	return err
}
