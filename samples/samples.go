// Package samples has the photos of the demo. They are rendered pictures, not
// photographs, and the chain they stand for is invented.
package samples

import (
	"embed"
	"slices"
)

// Photos holds the files named in All.
//
//go:embed filler-drive-*.jpg
var Photos embed.FS

// Files holds Folder: a study for pinlash batch, with its job cards.
//
//go:embed filler-drive
var Files embed.FS

// Folder is the study's folder in Files.
const Folder = "filler-drive"

// Photo is one sample.
type Photo struct {
	File    string
	Refused bool // it is there to show a refusal
}

// All lists the samples in the order of their names.
var All = []Photo{
	{File: "filler-drive-1.jpg"},
	{File: "filler-drive-2-oily.jpg"},
	{File: "filler-drive-3-no-scale.jpg", Refused: true},
}

// ToBeRefused says whether the sample of that file name is there to show a
// refusal.
func ToBeRefused(file string) bool {
	return slices.Contains(All, Photo{File: file, Refused: true})
}

// What is known of the chain in the photos besides what they show.
const (
	DivisionMM   = 0.1   // between neighbouring marks of the micrometer
	PitchMM      = 9.525 // of the new chain
	NewPlayMM    = 0.05  // of a new joint
	LimitPercent = 1.5   // growth at which the chain is to be renewed
)
