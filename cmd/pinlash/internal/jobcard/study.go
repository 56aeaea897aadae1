package jobcard

import "pinlash/calib"

// Study is a folder of photos as its job cards and names tell it.
type Study struct {
	// Tasks are what is to be measured: first those that save a scale, then
	// all others, each in the natural order of their paths.
	Tasks    []Task
	Problems []Problem // in the natural order of their paths
	Cards    []Card    // the topmost first
}

// Kind is what a photo shows.
type Kind string

// The kinds of photos.
const (
	Joint Kind = "joint" // a pin in its bush, end-on
	Play  Kind = "play"  // a joint from the side, in both states or in a clip
	Span  Kind = "span"  // several pitches of a tight chain, from the side
	Scale Kind = "scale" // a rule or stage micrometer alone
)

// Task is one thing to measure. All paths are relative to the folder that was
// read, with slashes, and hold the bytes of the names as the disk has them.
type Task struct {
	Kind   Kind
	Photos []string // of a joint, span or scale: one

	// Of a play: photos of both states, or a clip.
	Together, Apart []string
	Clip            string

	Levels   Levels
	Settings Settings
	// SaveScale is the file that the scale of this photo is to be kept in, the
	// ScaleFile of other tasks; empty if it is only measured.
	SaveScale string
	Notes     []string // to be printed with the result
}

// Levels place a task in a comparison. Any may be empty.
type Levels struct {
	Specimen, Revision, Chain, Inspection string
	Joint                                 string  // of a span: the place along the chain
	Repeat                                int     // of the joint by this person, from 1; 0 where there is one only
	By                                    string  // who took the photo
	DistanceKM, Hours                     float64 // run at the inspection; 0 unknown
	Oil                                   string
}

// Settings are what a technician would state on the command line. A zero value
// or nil pointer is what was not stated. Which of them go together, and which
// a kind of photo takes, is the command's to say.
type Settings struct {
	Division          calib.Length // between neighbouring small marks
	DivisionTolerance calib.Length
	Gauge             calib.Length // diameter
	ScaleFile         string       // path like those of a Task
	Points            string       // x1,y1,x2,y2 in pixels
	Distance          calib.Length // of the points
	PlaneOffset       *calib.Length
	WorkingDistance   calib.Length
	SamePlane         *bool
	Temperature       *float64 // degC

	ChainName string // in the chain table
	Pitch     calib.Length
	NewPlay   *calib.Length
	Pitches   int     // of the whole chain
	Limit     float64 // percent

	Moving, Fixed string // where the links of a play lie: x,y,w,h in pixels
}

// Problem is a file, folder or entry of a card that could not be taken, or not
// wholly.
type Problem struct {
	Path    string // like those of a Task
	Message string
}

// Card is a job card that was read.
type Card struct {
	Path string // like those of a Task
	// Levels and Settings are what holds for the card's folder, with what it
	// takes over from the cards above and from the names of folders.
	Levels   Levels
	Settings Settings
	// Drive is the text of the card with everything blanked out but the tables
	// [drive], [limit] and [forecast]: a file for pinlash stretch, whose lines
	// are numbered like those of the card. Empty if there is none of them.
	Drive []byte
}
