package cli

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pinlash/calib"
)

// typed is everything a technician may type in for the elongation model, by
// flags or in a file. Nothing in it has been computed with.
type typed struct {
	Chain    typedChain    `toml:"chain"`
	Span     typedSpan     `toml:"span"`
	Joints   typedJoints   `toml:"joints"`
	Limit    typedLimit    `toml:"limit"`
	Drive    typedDrive    `toml:"drive"`
	Forecast typedForecast `toml:"forecast"`
	Running  typedRunning  `toml:"running"`
	Maker    []typedMaker  `toml:"maker"`
}

// typedChain is the chain as it was when new.
type typedChain struct {
	Name    string      `toml:"name"`    // in the chain table
	Pitch   typedLength `toml:"pitch"`   // instead of a name
	Pitches count       `toml:"pitches"` // of the whole chain
}

// typedSpan is a span read with a caliper or tape at one or more places.
type typedSpan struct {
	Pins    count `toml:"pins"` // one of these three
	Links   count `toml:"links"`
	Pitches count `toml:"pitches"`

	Outside []typedLength `toml:"outside"`
	Inside  []typedLength `toml:"inside"`
	Edges   []typedLength `toml:"edges"`
	Centres []typedLength `toml:"centres"`
	Length  []typedLength `toml:"length"` // faces not stated
	Grown   []typedLength `toml:"grown"`  // used less new

	NewOutside []typedLength `toml:"new_outside"`
	NewInside  []typedLength `toml:"new_inside"`
	NewEdges   []typedLength `toml:"new_edges"`
	NewCentres []typedLength `toml:"new_centres"`
	NewLength  []typedLength `toml:"new_length"`

	Over        faceWord    `toml:"over"`
	Diameter    typedLength `toml:"diameter"`    // of what the jaws touched
	RollerPlay  typedLength `toml:"roller_play"` // on its bush
	FirstLink   linkWord    `toml:"first_link"`
	Step        typedLength `toml:"step"` // of the caliper
	U           typedLength `toml:"u"`    // of a reading, instead of a caliper's
	Temperature number      `toml:"temperature"`
	Pull        number      `toml:"pull"`
}

// typedJoints are the plays of single joints, found in photos or with a dial.
type typedJoints struct {
	Plays    []typedLength `toml:"plays"`
	U        typedLength   `toml:"u"`
	NewPlay  typedLength   `toml:"new_play"`
	NewPlayU typedLength   `toml:"new_play_u"`
	Wear     wearWord      `toml:"wear"`
}

// typedLimit is what the growth is held against.
type typedLimit struct {
	Percent      number      `toml:"percent"` // the maker's
	Longest      typedLength `toml:"longest"` // the maker's, over the same faces
	Timing       bool        `toml:"timing"`
	FixedCentres bool        `toml:"fixed_centres"`
	LargestWheel count       `toml:"largest_wheel"`
}

// typedDrive is the chain on its wheels, in the order a link passes them.
type typedDrive struct {
	Wheels    []typedWheel   `toml:"wheel"`
	Tensioner typedTensioner `toml:"tensioner"`
}

type typedWheel struct {
	Name         string      `toml:"name"`
	Kind         wheelWord   `toml:"kind"`
	Teeth        count       `toml:"teeth"`
	ToNext       number      `toml:"to_next"`        // pitches of free strand
	CentreToNext typedLength `toml:"centre_to_next"` // or the distance of the centres
	Crossed      bool        `toml:"crossed"`        // that strand changes sides of the chain
}

type typedTensioner struct {
	Kind  tensionerWord `toml:"kind"`
	Chord typedLength   `toml:"chord"`
	At    typedLength   `toml:"at"`
	Bow   typedLength   `toml:"bow"`
	Lever number        `toml:"lever"`
}

// typedForecast are earlier inspections of the same chain.
type typedForecast struct {
	Unit        string            `toml:"unit"`
	RunningIn   number            `toml:"running_in"`
	Now         number            `toml:"now"` // distance at which the readings above were taken
	Inspections []typedInspection `toml:"inspection"`
}

type typedInspection struct {
	At         number `toml:"at"`
	Elongation number `toml:"elongation"`
	U          number `toml:"u"`
}

// typedRunning is what the chain ran under, for the wear coefficient.
type typedRunning struct {
	Force       number      `toml:"force"` // N in the tight strand
	ForceU      number      `toml:"force_u"`
	BushLength  typedLength `toml:"bush_length"`
	PinDiameter typedLength `toml:"pin_diameter"` // for a chain not in the table
	Teeth       []count     `toml:"teeth"`        // at the ends of tight strands, instead of the drive's wheels
	Circuits    number      `toml:"circuits"`     // or both of these
	Speed       number      `toml:"speed"`        // of the chain, m/s
	Hours       number      `toml:"hours"`
}

// typedMaker is a reading of its own kind that the maker gives a limit for.
type typedMaker struct {
	What  string        `toml:"what"`
	Read  []typedLength `toml:"read"`
	Most  typedLength   `toml:"most"` // one of these two
	Least typedLength   `toml:"least"`
	Step  typedLength   `toml:"step"` // as of a span
	U     typedLength   `toml:"u"`
}

// typedLength is a length in mm, or that there is none.
type typedLength struct {
	mm    float64
	given bool
}

// Set reads a length as package calib does, with TOML's underscores.
func (l *typedLength) Set(s string) error {
	v, err := calib.ParseLength(strings.ReplaceAll(s, "_", ""))
	if err != nil {
		return err
	}
	*l = typedLength{mm: float64(v), given: true}
	return nil
}

func (l *typedLength) UnmarshalText(text []byte) error { return l.Set(string(text)) }
func (l *typedLength) Type() string                    { return "length" }
func (l *typedLength) String() string {
	if !l.given {
		return ""
	}
	return calib.Length(l.mm).String()
}

// lengthList is the flag value for one length read at several places.
type lengthList struct{ to *[]typedLength }

func (l lengthList) Set(s string) error {
	for field := range strings.SplitSeq(s, ",") {
		var v typedLength
		if err := v.Set(field); err != nil {
			return err
		}
		*l.to = append(*l.to, v)
	}
	return nil
}

func (l lengthList) Type() string   { return "lengths" }
func (l lengthList) String() string { return "" }

// number is a plain number, or that there is none.
type number struct {
	value float64
	given bool
}

// mostTyped is beyond any force, distance or percentage of this trade.
const mostTyped = 1e9

func (n *number) Set(s string) error {
	v, err := strconv.ParseFloat(strings.ReplaceAll(s, "_", ""), 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > mostTyped {
		return fmt.Errorf("%q is not a usable number", s)
	}
	*n = number{value: v, given: true}
	return nil
}

func (n *number) UnmarshalText(text []byte) error { return n.Set(string(text)) }
func (n *number) Type() string                    { return "number" }
func (n *number) String() string {
	if !n.given {
		return ""
	}
	return strconv.FormatFloat(n.value, 'g', -1, 64)
}

// count is a whole number of at least one; zero is one that was not given.
// Neither it nor the types above are plain numbers, or the TOML decoder would
// set them past their Set.
type count struct{ n int }

// mostCounted is beyond the teeth of any wheel and the links of any chain.
const mostCounted = 100000

func (c *count) Set(s string) error {
	v, err := strconv.Atoi(s)
	switch {
	case err != nil || v > mostCounted:
		return fmt.Errorf("%q is not a usable whole number", s)
	case v < 1:
		return errors.New("must be at least 1")
	}
	c.n = v
	return nil
}

func (c *count) UnmarshalText(text []byte) error { return c.Set(string(text)) }
func (c *count) Type() string                    { return "count" }
func (c *count) String() string {
	if c.n == 0 {
		return ""
	}
	return strconv.Itoa(c.n)
}

// choose sets a word that is one of a few.
func choose(to *string, s string, words ...string) error {
	if !slices.Contains(words, s) {
		return fmt.Errorf("want one of %s, got %q", strings.Join(words, ", "), s)
	}
	*to = s
	return nil
}

type (
	faceWord      struct{ is string } // what the caliper touched
	linkWord      struct{ is string } // the link that begins a span
	wearWord      struct{ is string } // where a joint is worn
	wheelWord     struct{ is string }
	tensionerWord struct{ is string }
)

const (
	overPins    = "pins"
	overRollers = "rollers"

	firstInner = "inner"
	firstOuter = "outer"

	wornOneSide  = "one side"
	wornAllRound = "all round"

	driverWheel = "driver"
	camWheel    = "cam"
	idlerWheel  = "idler"

	bladeTensioner = "blade"
	shoeTensioner  = "shoe"
)

func (w *faceWord) Set(s string) error           { return choose(&w.is, s, overPins, overRollers) }
func (w *faceWord) UnmarshalText(b []byte) error { return w.Set(string(b)) }
func (w *faceWord) Type() string                 { return "pins|rollers" }
func (w *faceWord) String() string               { return w.is }

func (w *linkWord) UnmarshalText(b []byte) error {
	return choose(&w.is, string(b), firstInner, firstOuter)
}

func (w *wearWord) UnmarshalText(b []byte) error {
	return choose(&w.is, string(b), wornOneSide, wornAllRound)
}

func (w *wheelWord) UnmarshalText(b []byte) error {
	return choose(&w.is, string(b), driverWheel, camWheel, idlerWheel)
}

func (w *tensionerWord) UnmarshalText(b []byte) error {
	return choose(&w.is, string(b), bladeTensioner, shoeTensioner)
}
