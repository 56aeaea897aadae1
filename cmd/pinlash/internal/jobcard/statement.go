package jobcard

import (
	"strings"
)

// statement is what may be said of a folder, and again of an entry.
type statement struct {
	Specimen   word   `toml:"specimen"`
	Revision   word   `toml:"revision"`
	Chain      word   `toml:"chain"`
	Inspection word   `toml:"inspection"`
	By         word   `toml:"by"`
	KM         amount `toml:"km"`
	Hours      amount `toml:"hours"`
	Oil        word   `toml:"oil"`

	Scale scaleStatement `toml:"scale"`
	New   newChain       `toml:"new_chain"`

	percent       percent   // of a card's table [limit]
	moving, fixed rectangle // of an entry [[play]]
}

// scaleStatement says how the scale of photos is known.
type scaleStatement struct {
	Division          size   `toml:"division"`
	DivisionTolerance size   `toml:"division_tolerance"`
	Gauge             size   `toml:"gauge"`
	File              word   `toml:"file"`
	Points            points `toml:"points"`
	Distance          size   `toml:"distance"`
	PlaneOffset       height `toml:"plane_offset"`
	WorkingDistance   size   `toml:"working_distance"`
	SamePlane         *bool  `toml:"same_plane"`
	Temperature       number `toml:"temperature"`
}

// newChain is the chain as it was when new.
type newChain struct {
	Type    word  `toml:"type"`
	Pitch   size  `toml:"pitch"`
	Pitches count `toml:"pitches"`
	Play    gap   `toml:"play"`
}

// over returns what holds where s is stated within outer: s, and of outer what
// s leaves open. What can be true in one way only is replaced as a whole: a
// photo whose rule is stated has not the gauge of the photos around it.
func (s statement) over(outer statement) statement {
	if s.Inspection.given && !s.KM.given && !s.Hours.given {
		outer.KM, outer.Hours = amount{}, amount{} // were those of another inspection
	}
	fill(&s.Specimen, outer.Specimen)
	fill(&s.Revision, outer.Revision)
	fill(&s.Chain, outer.Chain)
	fill(&s.Inspection, outer.Inspection)
	fill(&s.By, outer.By)
	fill(&s.KM, outer.KM)
	fill(&s.Hours, outer.Hours)
	fill(&s.Oil, outer.Oil)
	fill(&s.percent, outer.percent)
	s.Scale = s.Scale.over(outer.Scale)
	s.New = s.New.over(outer.New)
	return s
}

// fill sets what was not stated.
func fill[T comparable](to *T, outer T) {
	var none T
	if *to == none {
		*to = outer
	}
}

func (s scaleStatement) over(outer scaleStatement) scaleStatement {
	if s.saysHow() {
		if s.keptOnly() {
			// Statements on a scale in the photo; a kept one has its own.
			outer.SamePlane, outer.Temperature = nil, number{}
		}
		if outer.saysHow() {
			outer.DivisionTolerance = size{}
		}
		outer.Division, outer.Gauge, outer.File, outer.Points, outer.Distance = size{}, size{}, word{}, points{}, size{}
	}
	switch {
	case s.SamePlane != nil && *s.SamePlane:
		outer.PlaneOffset, outer.WorkingDistance = height{}, size{}
	case s.PlaneOffset.given:
		outer.SamePlane = nil
	}
	fill(&s.Division, outer.Division)
	fill(&s.DivisionTolerance, outer.DivisionTolerance)
	fill(&s.Gauge, outer.Gauge)
	fill(&s.File, outer.File)
	fill(&s.Points, outer.Points)
	fill(&s.Distance, outer.Distance)
	fill(&s.PlaneOffset, outer.PlaneOffset)
	fill(&s.WorkingDistance, outer.WorkingDistance)
	fill(&s.SamePlane, outer.SamePlane)
	fill(&s.Temperature, outer.Temperature)
	return s
}

// saysHow says whether any way to a scale is stated.
func (s scaleStatement) saysHow() bool {
	return s.Division.given || s.Gauge.given || s.File.given || s.Points.is != ""
}

// keptOnly says whether the scale is a kept one and none is in the photo.
func (s scaleStatement) keptOnly() bool {
	return s.File.given && !s.Division.given && !s.Gauge.given
}

func (n newChain) over(outer newChain) newChain {
	if (n.Type.given || n.Pitch.given) && (outer.Type.given || outer.Pitch.given) {
		return n // another chain
	}
	fill(&n.Type, outer.Type)
	fill(&n.Pitch, outer.Pitch)
	fill(&n.Pitches, outer.Pitches)
	fill(&n.Play, outer.Play)
	return n
}

// contradiction says what in one statement cannot hold at once; empty if
// all can.
func (s statement) contradiction() string {
	c := s.Scale
	var ways []string
	for _, way := range []struct {
		name  string
		given bool
	}{{"division", c.Division.given}, {"gauge", c.Gauge.given}, {"points", c.Points.is != ""}} {
		if way.given {
			ways = append(ways, way.name)
		}
	}
	switch {
	case len(ways) > 1:
		return "scale: give only one of " + strings.Join(ways, ", ")
	case c.File.given && c.Points.is != "":
		return "scale: give only one of file, points"
	case c.SamePlane != nil && *c.SamePlane && c.PlaneOffset.given:
		return "scale: give only one of same_plane, plane_offset"
	case s.New.Type.given && s.New.Pitch.given:
		return "new_chain: give only one of type, pitch"
	}
	return ""
}

// missing says what lacks for the statement to be used; empty if nothing does.
func (s statement) missing() string {
	c := s.Scale
	switch {
	case (c.Points.is != "") != c.Distance.given:
		return "scale: points and distance need each other"
	case c.PlaneOffset.given != c.WorkingDistance.given:
		return "scale: plane_offset and working_distance need each other"
	case c.DivisionTolerance.given && !c.Division.given:
		return "scale: division_tolerance needs division"
	case c.keptOnly() && c.SamePlane != nil && *c.SamePlane:
		return "scale: same_plane is a statement on a scale in the photo, and file shows none"
	case c.keptOnly() && c.Temperature.given:
		return "scale: temperature is a statement on a scale in the photo, and file shows none"
	}
	return ""
}

// settings returns the statement for the command.
func (s statement) settings() Settings {
	c := s.Scale
	out := Settings{
		Division: c.Division.mm, DivisionTolerance: c.DivisionTolerance.mm, Gauge: c.Gauge.mm,
		ScaleFile: c.File.is, Points: c.Points.is, Distance: c.Distance.mm,
		WorkingDistance: c.WorkingDistance.mm, SamePlane: c.SamePlane,
		ChainName: s.New.Type.is, Pitch: s.New.Pitch.mm, Pitches: s.New.Pitches.n, Limit: s.percent.value,
		Moving: s.moving.is, Fixed: s.fixed.is,
	}
	if c.PlaneOffset.given {
		out.PlaneOffset = &c.PlaneOffset.mm
	}
	if c.Temperature.given {
		out.Temperature = &c.Temperature.value
	}
	if s.New.Play.given {
		out.NewPlay = &s.New.Play.mm
	}
	return out
}
