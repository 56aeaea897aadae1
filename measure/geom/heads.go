package geom

import "gonum.org/v1/gonum/spatial/r2"

// HeadKind says what the round ends along a chain are.
type HeadKind string

// The kinds of round ends.
const (
	PinHead HeadKind = "pin"  // head of a pin, riveted or not
	BushEnd HeadKind = "bush" // open end of a bush: a dark hole
)

// LinkKind says which plates bridge two neighbouring joints.
type LinkKind string

// The kinds of links.
const (
	InnerLink   LinkKind = "inner"
	OuterLink   LinkKind = "outer"
	UnknownLink LinkKind = "unknown"
)

// Head is one round end along a chain: where its rim meets the plate.
type Head struct {
	Center r2.Vec
	Cov    [2][2]float64 // covariance of Center, pixels squared
	R      float64       // radius of the rim, pixels
	RMS    float64       // scatter of the rim about its circle, pixels
	Arc    float64       // degrees of the rim that took part in the circle
	// Filled says that the head was not seen by itself but looked for, and
	// found, where its neighbours say it must be.
	Filled bool
}

// Heads are the pin heads, or the open bush ends, of a chain in their order
// along it. No pitch between the first and the last one is left out.
type Heads struct {
	Kind  HeadKind
	Heads []Head
	// Unclear says that the ends are darker than heads and lighter than holes
	// usually are: Kind is the likelier one.
	Unclear bool
	// LeftOff is at how many ends of the row, 0 to 2, joints of the other kind
	// follow, which are not part of it.
	LeftOff int
	// Links has the kind of the link between head i and head i+1, one fewer
	// than there are heads. They alternate, or are all unknown.
	Links []LinkKind
	// LinkScore is by how many standard deviations the picture speaks for the
	// order of the links.
	LinkScore float64
	Blur      float64 // edge spread (standard deviation), pixels
}
