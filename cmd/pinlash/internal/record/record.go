package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// Kind says what was measured.
type Kind string

// The kinds of record.
const (
	Joint Kind = "joint"
	Ruler Kind = "scale"
	Span  Kind = "span"
	Play  Kind = "play"
)

// Photo is where a record comes from.
type Photo struct {
	Path   string // as the user gave it
	SHA256 string // of the file, in hexadecimal digits
}

// Record is what is known of one photo: figures, or why there are none.
type Record struct {
	Kind  Kind
	Photo Photo
	// Photos are all photos of a play, Photo being the first of them, or the
	// clip.
	Photos  []StatePhoto
	Clip    *Clip
	Version string // of pinlash
	Scale   *Scale
	Results Figures
	Growth  Figures
	// Distinct says of a play whether it differs from zero.
	Distinct *bool
	// Readings are the growths that an odd span, or the unknown shape of the
	// wear, leaves open.
	Readings []Reading
	// Reference says what the pitches of a span run between, "pin to pin" or
	// "bush to bush".
	Reference string
	Pitches   []Pitch
	Profile   []WearBin
	Checks    []check.Check
	Notes     []string
	// Meaning says in one line for people what the figures mean; it is not
	// part of the JSON.
	Meaning Sentence
	// Decision says what a stated limit makes of the figures; in the JSON it
	// is the first note.
	Decision string
	// Refused is set instead of all figures.
	Refused *check.Refusal
	// Batch is set on lines that a batch writes.
	Batch *Batch
}

// Figure is a quantity with the name it has in the JSON.
type Figure struct {
	Name string
	uncert.Quantity
}

// Figures keeps the order in which they are printed.
type Figures []Figure

// Figures returns all figures of the record in the order of print.
func (r Record) Figures() Figures { return slices.Concat(r.Results, r.Growth) }

// Find returns the figure of that name.
func (f Figures) Find(name string) (uncert.Quantity, bool) {
	for _, figure := range f {
		if figure.Name == name {
			return figure.Quantity, true
		}
	}
	return uncert.Quantity{}, false
}

// MarshalJSON writes one object with a quantity for every name, in order.
func (f Figures) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, figure := range f {
		if i > 0 {
			b.WriteByte(',')
		}
		name, err := json.Marshal(figure.Name)
		if err != nil {
			return nil, err
		}
		value, err := json.Marshal(figure.Quantity)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", figure.Name, err)
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// Scale is the scale a photo was measured with.
type Scale struct {
	MMPerPx    digits  `json:"mm_per_px"`
	U          digits  `json:"u"`
	Source     string  `json:"source"`
	DivisionMM float64 `json:"division_mm,omitempty"`
	Marks      int     `json:"marks,omitempty"`
	AngleDeg   digits  `json:"angle_deg"`
}

// NewScale returns the printed form of s.
func NewScale(s calib.Scale) *Scale {
	return &Scale{
		MMPerPx:    digits(s.MMPerPx.Value),
		U:          digits(s.MMPerPx.U),
		Source:     s.Source,
		DivisionMM: s.DivisionMM,
		Marks:      s.Marks,
		AngleDeg:   digits(s.AngleRad * 180 / math.Pi),
	}
}

// WearBin is the wear of both rims in one direction. A rim that was not seen
// there has no figures.
type WearBin struct {
	AngleDeg digits  `json:"angle_deg"`
	Pin      *digits `json:"pin,omitempty"`
	PinU     *digits `json:"pin_u,omitempty"`
	Bore     *digits `json:"bore,omitempty"`
	BoreU    *digits `json:"bore_u,omitempty"`
}

// NewProfile returns the printed form of a wear profile, to a nanometre and a
// hundredth of a degree.
func NewProfile(bins []measure.WearBin) []WearBin {
	out := make([]WearBin, len(bins))
	for i, b := range bins {
		out[i] = WearBin{AngleDeg: *rounded(b.AngleDeg, 1e2)}
		if b.PinU >= 1e-6 {
			out[i].Pin, out[i].PinU = rounded(b.Pin, 1e6), rounded(b.PinU, 1e6)
		}
		if b.BoreU >= 1e-6 {
			out[i].Bore, out[i].BoreU = rounded(b.Bore, 1e6), rounded(b.BoreU, 1e6)
		}
	}
	return out
}

// Pitch is one pitch of a span.
type Pitch struct {
	Index  int             `json:"index"`
	Link   geom.LinkKind   `json:"link"`
	Length uncert.Quantity `json:"length"`
}

// NewPitches returns the printed form of the pitches along a span.
func NewPitches(pitches []measure.Pitch) []Pitch {
	out := make([]Pitch, len(pitches))
	for i, p := range pitches {
		out[i] = Pitch{p.Index, p.Link, p.Length}
	}
	return out
}

// SpanFigures returns the figures of a span under their JSON names. A figure
// that could not be had is left out.
func SpanFigures(r measure.SpanResult) Figures {
	all := Figures{{"span", r.Span}, {"mean_pitch", r.MeanPitch}}
	for _, f := range []struct {
		name string
		q    *uncert.Quantity
	}{{"mean_inner_pitch", r.MeanInner}, {"mean_outer_pitch", r.MeanOuter}, {"elongation", r.Elongation}} {
		if f.q != nil {
			all = append(all, Figure{f.name, *f.q})
		}
	}
	return all
}

// JointFigures returns the figures of a joint under their JSON names. A
// figure that could not be had has no unit and is left out.
func JointFigures(r measure.JointResult) Figures {
	all := Figures{
		{"pin_diameter", r.PinDiameter},
		{"bore_diameter", r.BoreDiameter},
		{"clearance", r.Clearance},
		{"play", r.Play},
		{"wear_depth_pin", r.WearDepthPin},
		{"wear_depth_bore", r.WearDepthBore},
		{"offset", r.Offset},
		{"offset_direction", r.OffsetDirection},
		{"roundness_pin", r.RoundnessPin},
		{"roundness_bore", r.RoundnessBore},
	}
	known := all[:0]
	for _, f := range all {
		if f.Unit != "" {
			known = append(known, f)
		}
	}
	return known
}
