package record

import "pinlash/measure/wear"

// Chain is a row of the chain table as it is printed: lengths in mm, forces
// in N, zero where not known.
type Chain struct {
	Kind            string   `json:"kind"`
	Name            string   `json:"name"`
	OtherNames      []string `json:"other_names,omitempty"`
	Edition         string   `json:"edition"`
	Type            string   `json:"type"`
	PitchMM         float64  `json:"pitch_mm"`
	RollerMaxMM     float64  `json:"roller_max_mm,omitempty"`
	InnerWidthMinMM float64  `json:"inner_width_min_mm,omitempty"`
	PinMaxMM        float64  `json:"pin_max_mm,omitempty"`
	BoreMinMM       float64  `json:"bore_min_mm,omitempty"`
	NewPlayMM       float64  `json:"new_play_mm,omitempty"` // least play of a new joint
	InnerPlateMaxMM float64  `json:"inner_plate_max_mm,omitempty"`
	OuterPlateMaxMM float64  `json:"outer_plate_max_mm,omitempty"`
	MeasuringLoadN  float64  `json:"measuring_load_n,omitempty"`
	BreakingLoadN   float64  `json:"breaking_load_n,omitempty"`
	Source          string   `json:"source"`
	Provenance      string   `json:"provenance"`
}

// NewChain returns the printed form of c.
func NewChain(c wear.Chain) Chain {
	line := Chain{
		Kind: "chain", Name: c.Designation, OtherNames: c.OtherNames, Edition: c.Edition, Type: c.Type,
		PitchMM: c.Pitch, RollerMaxMM: c.RollerMax, InnerWidthMinMM: c.InnerWidthMin,
		PinMaxMM: c.PinMax, BoreMinMM: c.BoreMin,
		InnerPlateMaxMM: c.InnerPlateMax, OuterPlateMaxMM: c.OuterPlateMax,
		MeasuringLoadN: c.MeasuringLoad, BreakingLoadN: c.BreakingLoad,
		Source: c.Source, Provenance: c.Provenance,
	}
	if play, err := c.NewPlay(); err == nil {
		line.NewPlayMM = play.Value
	}
	return line
}
