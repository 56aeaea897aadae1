package record

import (
	"fmt"
	"strings"

	"pinlash/measure"
	"pinlash/measure/geom"
)

// StatePhoto is one of the photos that a play was measured in.
type StatePhoto struct {
	Path   string `json:"photo"`
	SHA256 string `json:"sha256"`
	State  string `json:"state"` // together or apart
}

// The states of a joint as they are printed.
const (
	Together = "together"
	Apart    = "apart"
)

// Clip says what became of a clip's frames.
type Clip struct {
	Frames    int `json:"frames"`
	Together  int `json:"together"` // at rest at that end, and used
	Apart     int `json:"apart"`
	LeftOut   int `json:"left_out"`
	Reversals int `json:"reversals"`
	// Track is where the moving link was along the pull in each frame.
	Track []TrackPoint `json:"track"`
}

// TrackPoint is one frame of a clip. A frame that was left out has no place.
type TrackPoint struct {
	Frame   int     `json:"frame"`
	AlongMM *digits `json:"along_mm,omitempty"`
	State   string  `json:"state,omitempty"`
	Left    string  `json:"left_out,omitempty"`
}

// NewClip returns the printed form of what was seen in a clip, to a nanometre.
func NewClip(r measure.PlayResult) *Clip {
	c := &Clip{Frames: len(r.Track), Together: r.Photos[0], Apart: r.Photos[1], Reversals: r.Reversals}
	for _, t := range r.Track {
		p := TrackPoint{Frame: t.Frame, Left: t.Left}
		switch t.State {
		case geom.Together:
			p.State = Together
		case geom.Apart:
			p.State = Apart
		case geom.Unknown: // under way: it has no state to print
		}
		if t.Left == "" {
			p.AlongMM = rounded(t.AlongMM, 1e6)
		} else {
			c.LeftOut++
		}
		c.Track = append(c.Track, p)
	}
	return c
}

// Words says in a sentence without its stop what became of the frames.
func (c *Clip) Words() string {
	return fmt.Sprintf("%d frames, %d at rest at one end and %d at the other used, %d left out; the link went over %d times",
		c.Frames, c.Together, c.Apart, c.LeftOut, c.Reversals)
}

// PlayFigures returns the figures of a play under their JSON names.
func PlayFigures(r measure.PlayResult) Figures {
	return Figures{{"play", r.Play}, {"pull_direction", r.PullDirection}, {"swing", r.Swing}}
}

// title names the photos of a record for people.
func (r Record) title() string {
	if len(r.Photos) == 0 {
		return SafeName(r.Photo.Path)
	}
	var names []string
	for _, p := range r.Photos {
		names = append(names, SafeName(p.Path)+" ("+p.State+")")
	}
	return strings.Join(names, ", ")
}
