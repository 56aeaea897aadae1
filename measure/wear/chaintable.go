package wear

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"pinlash/measure/uncert"
)

// Chain is one row of the chain table: the dimensions of one chain in one
// edition of its standard. Lengths are mm, forces N; 0 means not known.
type Chain struct {
	Designation string   // ISO number, or a plain name where there is none
	OtherNames  []string // ANSI number and spellings
	Edition     string   // of the standard, or "common practice"
	Type        string   // "roller", "bush" or "silent"
	Pitch       float64
	// RollerMax is the roller's largest outside diameter; of a bush chain it
	// is the bush's.
	RollerMax                    float64
	InnerWidthMin                float64
	PinMax                       float64 // largest pin body diameter
	BoreMin                      float64 // smallest bush bore
	InnerPlateMax, OuterPlateMax float64 // plate heights
	MeasuringLoad, BreakingLoad  float64
	Source                       string
	// Provenance is "S" for a row seen in the published text named in Source,
	// "M" for one from memory, cross-checked as Source says.
	Provenance string
}

// LengthTolerancePercent is how much longer than nominal a new chain may be
// under its measuring load (ISO 606:1994 A.2.6, seen in GOST 13568-97).
const LengthTolerancePercent = 0.15

//go:embed chains.csv
var chainsCSV string

var chainTable = sync.OnceValue(func() []Chain {
	chains, err := parseChains(chainsCSV)
	if err != nil {
		panic("wear: built-in chain table: " + err.Error())
	}
	return chains
})

// Chains returns the built-in chain table in the order of its file.
func Chains() []Chain { return slices.Clone(chainTable()) }

// Find returns the chain of that name: an ISO or ANSI number or a name such as
// "timing 8". Case, spaces, hyphens, a leading "ISO", "ANSI" or "#", and a
// trailing number of strands ("06B-1") do not matter.
//
// Where the table holds several editions of a chain, the newest whose figures
// were seen in the published text is returned; [FindEdition] picks another.
func Find(name string) (Chain, error) { return FindEdition(name, "") }

// FindEdition is Find among the rows whose edition contains the given text,
// such as "1994" or "2004".
func FindEdition(name, edition string) (Chain, error) {
	want := plainName(name)
	var best *Chain
	named := false
	for _, c := range chainTable() {
		if !c.is(want) {
			continue
		}
		named = true
		if strings.Contains(strings.ToLower(c.Edition), strings.ToLower(strings.TrimSpace(edition))) && (best == nil || c.preferredTo(*best)) {
			best = &c
		}
	}
	switch {
	case best != nil:
		return *best, nil
	case named:
		return Chain{}, fmt.Errorf("chain %q is not in the table in edition %q", name, edition)
	}
	return Chain{}, fmt.Errorf("chain %q is not in the table, which has %s; or give the pitch", name, strings.Join(designations(), ", "))
}

func (c Chain) is(plain string) bool {
	return plainName(c.Designation) == plain || slices.ContainsFunc(c.OtherNames, func(n string) bool { return plainName(n) == plain })
}

// preferredTo ranks published rows before remembered ones, then newer before
// older editions.
func (c Chain) preferredTo(d Chain) bool {
	if (c.Provenance == "S") != (d.Provenance == "S") {
		return c.Provenance == "S"
	}
	return c.Edition > d.Edition
}

func designations() []string {
	var names []string
	for _, c := range chainTable() {
		names = append(names, c.Designation)
	}
	return slices.Compact(names)
}

var strands = regexp.MustCompile(`-[1-3]$`)

var joiners = strings.NewReplacer(" ", "", "-", "", "_", "")

// plainName strips from a chain's name all that writers do differently.
func plainName(name string) string {
	s := strings.ToUpper(strings.TrimSpace(name))
	s = strings.ReplaceAll(s, ",", ".")
	for _, prefix := range []string{"ISO", "ANSI", "#"} {
		s = strings.TrimSpace(strings.TrimPrefix(s, prefix))
	}
	s = strands.ReplaceAllString(s, "")
	return joiners.Replace(s)
}

var errNoClearance = errors.New("the table has no pin and bore diameter for this chain; state the new play or measure a new chain")

// NewPlay returns the play of a new joint in mm as the standard allows it: its
// value is the minimum clearance, smallest bore minus largest pin.
//
// That is a lower bound, not a measurement. Where a maker lies above it the
// standard does not say, but its length tolerance allows a chain of round
// joints, which grows by half the clearance a pitch, 2 x 0.15 % of pitch more
// at most; the uncertainty is that of a value anywhere between the two,
// about the minimum (root mean square of a rectangle on one side). It is the
// same for every joint of the chain and does not shrink with more of them.
// A new chain of the same make, measured, is always the better reference.
func (c Chain) NewPlay() (uncert.Quantity, error) {
	if c.PinMax == 0 || c.BoreMin == 0 {
		return uncert.Quantity{}, errNoClearance
	}
	// Both diameters are printed to 0.01 mm or better; the difference is freed
	// of the binary rounding of that.
	clearance := math.Round((c.BoreMin-c.PinMax)*1e6) / 1e6
	room := 2 * LengthTolerancePercent / 100 * c.Pitch
	return uncert.Combine(clearance, "mm", uncert.Budget{{Name: NewPlayFromTable, U: room / math.Sqrt(3)}}), nil
}

// NewPlayFromTable names the part of an uncertainty that comes from taking the
// new play from the chain table.
const NewPlayFromTable = "new play taken from the chain table"

// Measurement is how the standard wants a new chain's length measured.
type Measurement struct {
	Least   float64 // shortest length that will do, mm
	Pitches int     // fewest that reach it with inner links at both ends
	Load    float64 // pull, N
	Source  string
}

// Measurement returns how the length of a new chain of this size is measured,
// false where the table holds no measuring load.
func (c Chain) Measurement() (Measurement, bool) {
	if c.MeasuringLoad == 0 {
		return Measurement{}, false
	}
	m := Measurement{Least: 610, Load: c.MeasuringLoad, Source: "ISO 606:1994 A.2.6, seen in GOST 13568-97"}
	if c.Pitch > 19.05 {
		m.Least = 1220 // from 16A and 16B on
	}
	m.Pitches = int(math.Ceil(m.Least / c.Pitch))
	if m.Pitches%2 == 0 {
		m.Pitches++
	}
	return m, true
}

func parseChains(text string) ([]Chain, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return nil, err
	}
	if len(rows) == 0 {
		return nil, errors.New("no rows")
	}
	var chains []Chain
	for _, row := range rows[1:] {
		c := Chain{Designation: row[0], Edition: row[2], Type: row[3], Source: row[13], Provenance: row[14]}
		if row[1] != "" {
			c.OtherNames = strings.Split(row[1], ";")
		}
		for i, to := range []*float64{
			&c.Pitch, &c.RollerMax, &c.InnerWidthMin, &c.PinMax, &c.BoreMin,
			&c.InnerPlateMax, &c.OuterPlateMax, &c.MeasuringLoad, &c.BreakingLoad,
		} {
			field := row[4+i]
			if field == "" {
				continue
			}
			if *to, err = strconv.ParseFloat(field, 64); err != nil {
				return nil, fmt.Errorf("%s, %s: %w", c.Designation, rows[0][4+i], err)
			}
		}
		chains = append(chains, c)
	}
	return chains, nil
}
