package record

import (
	"pinlash/measure/uncert"
)

// Batch is what a batch knows of a line besides what was measured: whose
// figures they are and all they depend on.
type Batch struct {
	// Task names the work in hexadecimal digits: it is another as soon as a
	// photo's content, a setting or pinlash itself is.
	Task   string `json:"task"`
	Levels Levels `json:"levels"`
	// Settings are the flags that measure the photo the same way on the
	// command line.
	Settings map[string]string `json:"settings"`
	// Files are the photos with their contents' hashes; a file that could not
	// be read has none.
	Files []File `json:"files"`
	// Pictures are the names of the overlays, in the folder of the results.
	Pictures []string `json:"pictures,omitempty"`
	// Meaning says in one line what the figures mean.
	Meaning string `json:"meaning,omitempty"`
	// Budgets are the parts of each figure's uncertainty, largest first.
	Budgets map[string][]Part `json:"budgets,omitempty"`
}

// Levels place a line in a comparison: joints in chains in revisions, at
// inspections. Any may be unknown.
type Levels struct {
	Specimen   string  `json:"specimen,omitempty"`
	Revision   string  `json:"revision,omitempty"`
	Chain      string  `json:"chain,omitempty"`
	Inspection string  `json:"inspection,omitempty"`
	Joint      string  `json:"joint,omitempty"`
	Repeat     int     `json:"repeat,omitempty"` // of the joint's photo, from 1
	By         string  `json:"by,omitempty"`     // whose photo it is
	DistanceKM float64 `json:"distance_km,omitempty"`
	Hours      float64 `json:"hours,omitempty"`
	Oil        string  `json:"oil,omitempty"`
}

// File is a file by name and content.
type File struct {
	Path   string `json:"path"`
	SHA256 string `json:"sha256,omitempty"`
}

// Part is one part of a figure's standard uncertainty, in the figure's unit.
type Part struct {
	Name string `json:"name"`
	U    digits `json:"u"`
	DF   digits `json:"df,omitempty"` // degrees of freedom; 0 for many
}

// NewPart returns a part of an uncertainty in its printed form.
func NewPart(t uncert.Term) Part { return Part{Name: t.Name, U: digits(t.U), DF: digits(t.DF)} }

// NewBudgets returns the parts of the figures' uncertainties.
func NewBudgets(figures Figures) map[string][]Part {
	budgets := map[string][]Part{}
	for _, f := range figures {
		for _, t := range f.Budget.Merge().Largest() {
			budgets[f.Name] = append(budgets[f.Name], NewPart(t))
		}
	}
	return budgets
}
