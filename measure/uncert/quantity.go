// Package uncert carries figures with their uncertainty, after JCGM 100:2008
// (GUM).
package uncert

// Quantity is a figure with its uncertainty.
type Quantity struct {
	Value float64
	Unit  string
	U     float64 // standard uncertainty, in Unit
	DF    float64 // effective degrees of freedom; 0 means infinite
	// Lower and Upper bound the 95 % coverage interval.
	Lower, Upper float64
	Budget       Budget // parts of U, in Unit
}

// Term is one part of a figure's uncertainty.
type Term struct {
	Name string  // what it comes from, in words for a reader
	U    float64 // its standard uncertainty times the sensitivity, in the figure's unit
	DF   float64 // degrees of freedom; 0 means infinite
}

// Budget lists the independent parts of an uncertainty.
type Budget []Term
