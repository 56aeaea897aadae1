package wear_test

import (
	"fmt"
	"strings"
	"testing"

	"pinlash/measure/wear"
)

func TestChainTable1994(t *testing.T) {
	for _, r := range iso606of1994 {
		c, err := wear.FindEdition(r.name, "1994")
		if err != nil {
			t.Error(err)
			continue
		}
		got := [9]float64{c.Pitch, c.RollerMax, c.InnerWidthMin, c.PinMax, c.BoreMin, c.InnerPlateMax, c.OuterPlateMax, c.MeasuringLoad, c.BreakingLoad}
		want := [9]float64{r.p, r.d1, r.b1, r.d2, r.d3, r.h2, r.h3, r.fm, r.fu}
		if got != want {
			t.Errorf("%s: %v, want %v", r.name, got, want)
		}
		if c.Provenance != "S" || c.Type != "roller" {
			t.Errorf("%s: provenance %q, type %q", r.name, c.Provenance, c.Type)
		}
		play, err := c.NewPlay()
		if err != nil {
			t.Error(err)
			continue
		}
		near(t, r.name+" new play", play.Value, r.c0, 1e-12)
	}
}

func TestChainTableLaterEditions(t *testing.T) {
	for _, r := range iso606of2004 {
		c, err := wear.FindEdition(r.name, "2004")
		if err != nil {
			t.Error(err)
			continue
		}
		byANSI, err := wear.FindEdition(r.ansi, "2015")
		if err != nil || byANSI.Designation != r.name {
			t.Errorf("%s found %q, %v; want %s", r.ansi, byANSI.Designation, err, r.name)
		}
		got := [7]float64{c.Pitch, c.RollerMax, c.InnerWidthMin, c.PinMax, c.BoreMin, c.InnerPlateMax, c.MeasuringLoad}
		want := [7]float64{r.p, r.d1, r.b1, r.d2, r.d3, r.h2, r.fm}
		if got != want {
			t.Errorf("%s: %v, want %v", r.name, got, want)
		}
		if c.Provenance != "M" {
			t.Errorf("%s: provenance %q, want M", r.name, c.Provenance)
		}
		play, err := c.NewPlay()
		if err != nil {
			t.Error(err)
			continue
		}
		near(t, r.name+" new play", play.Value, r.c0, 1e-12)
	}
}

// The ASME B29.1 rule, seen in a roller chain dimensions table: largest pin is
// nominal + 0.0005 in, smallest bush hole nominal + 0.0015 in. It holds up the
// rows from memory to 0.01 mm.
func TestLaterRowsFollowB29(t *testing.T) {
	nominal := map[string]float64{"25": 0.0905, "35": 0.141, "41": 0.141, "40": 0.156, "50": 0.200, "60": 0.234, "80": 0.312}
	const inch = 25.4
	for ansi, in := range nominal {
		c, err := wear.FindEdition(ansi, "2004")
		if err != nil {
			t.Error(err)
			continue
		}
		near(t, ansi+" pin", c.PinMax, (in+0.0005)*inch, 0.01)
		near(t, ansi+" bore", c.BoreMin, (in+0.0015)*inch, 0.01)
		// Greatest inner plate height 0.95 p, same table.
		if c.InnerPlateMax > 0.95*c.Pitch+0.01 {
			t.Errorf("%s: inner plate %g mm is above 0.95 of the pitch", ansi, c.InnerPlateMax)
		}
	}
	// Outer plates 0.82 p, same table; the published rows of the A series.
	for _, r := range iso606of1994 {
		if strings.HasSuffix(r.name, "A") {
			c := must[wear.Chain](t)(wear.FindEdition(r.name, "1994"))
			near(t, r.name+" outer plate over 0.82 p", c.OuterPlateMax/(0.82*c.Pitch), 1, 0.001)
		}
	}
	// Check rows of the rule itself.
	near(t, "No. 40 pin", 0.1565*inch, 3.975, 0.0005)
	near(t, "No. 40 bore", 0.1575*inch, 4.0005, 0.00005)
	near(t, "least clearance", 0.0010*inch, 0.0254, 1e-9)
}

// Measuring loads of ASME B29.1 in lbf, seen in the same dimensions table. Those
// of ISO 606 are below them, by no more than half: a pull within either
// standard's is light enough for the other.
func TestMeasuringLoadsAgainstB29(t *testing.T) {
	const lbf = 4.4482216
	for ansi, load := range map[string]float64{"25": 18, "35": 18, "41": 18, "40": 31, "50": 49, "60": 70, "80": 125} {
		c := must[wear.Chain](t)(wear.FindEdition(ansi, "2004"))
		if ratio := c.MeasuringLoad / (load * lbf); ratio < 0.5 || ratio > 1 {
			t.Errorf("%s: %g N is %.2f of the %g lbf of B29.1", ansi, c.MeasuringLoad, ratio, load)
		}
	}
}

func TestFindIsTolerant(t *testing.T) {
	for name, want := range map[string]string{
		"06B": "06B", "06b": "06B", " 06 B ": "06B", "06B-1": "06B", "06b-2": "06B", "ISO 06B": "06B",
		"40": "08A", "#40": "08A", "ANSI 40": "08A", "08a-1": "08A", "35": "06C", "25": "04C", "41": "085",
		"timing 8": "timing 8", "Timing-8.00": "timing 8", "timing 9,525": "timing 9.525", "silent 6.35": "silent 6.35",
		"pv 9.525/5.0": "PV 9.525/5.0",
	} {
		c, err := wear.Find(name)
		if err != nil || c.Designation != want {
			t.Errorf("Find(%q) = %q, %v; want %q", name, c.Designation, err, want)
		}
	}
	for _, name := range []string{"", "06", "B06", "428", "chain"} {
		if c, err := wear.Find(name); err == nil {
			t.Errorf("Find(%q) = %q, want an error", name, c.Designation)
		}
	}
	if _, err := wear.FindEdition("06B", "1899"); err == nil || !strings.Contains(err.Error(), "edition") {
		t.Errorf("unknown edition: %v", err)
	}
}

// Bush chains of GOST 13568-97 Table 1 (seen), and pitches of timing chains in
// common use (from memory; no standard).
func TestChainsOutsideISO606(t *testing.T) {
	for name, want := range map[string][3]float64{
		"PV 9.525/5.0": {9.525, 5.0, 3.59}, "PV 9.525/6.0": {9.525, 6.0, 4.45},
		"timing 7": {7}, "timing 8": {8}, "timing 9.525": {9.525},
		"silent 6.35": {6.35}, "silent 8": {8}, "silent 9.525": {9.525},
	} {
		c, err := wear.Find(name)
		if got := [3]float64{c.Pitch, c.RollerMax, c.PinMax}; err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", name, got, err, want)
		}
		if _, err := c.NewPlay(); err == nil {
			t.Errorf("%s: new play without a bore", name)
		}
	}
}

// Of two editions the newest published row is taken: the later one is from
// memory.
func TestFindPrefersPublishedRows(t *testing.T) {
	c, err := wear.Find("08A")
	if err != nil || c.Edition != "ISO 606:1994" || c.PinMax != 3.96 {
		t.Errorf("Find(08A) = %s, pin %g, %v; want ISO 606:1994, 3.96", c.Edition, c.PinMax, err)
	}
}

func TestChainTableIsSound(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range wear.Chains() {
		if key := c.Designation + c.Edition; seen[key] {
			t.Errorf("%s appears twice in %s", c.Designation, c.Edition)
		} else {
			seen[key] = true
		}
		if c.Source == "" || (c.Provenance != "S" && c.Provenance != "M") {
			t.Errorf("%s: source %q, provenance %q", c.Designation, c.Source, c.Provenance)
		}
		if c.PinMax > 0 && c.BoreMin > 0 && !(c.PinMax < c.BoreMin && c.BoreMin < c.RollerMax && c.RollerMax < c.Pitch) {
			t.Errorf("%s: pin < bore < roller < pitch does not hold: %g %g %g %g", c.Designation, c.PinMax, c.BoreMin, c.RollerMax, c.Pitch)
		}
		if _, err := c.NewPlay(); (err != nil) != (c.PinMax == 0 || c.BoreMin == 0) {
			t.Errorf("%s: NewPlay: %v", c.Designation, err)
		}
	}
	chains := wear.Chains()
	chains[0].Pitch = -1
	if wear.Chains()[0].Pitch == -1 {
		t.Error("the table can be changed through Chains")
	}
}

// A table value is a bound, and says so in its uncertainty, which does not
// shrink with the number of joints.
func TestNewPlayIsNotExact(t *testing.T) {
	c, err := wear.Find("06B")
	if err != nil {
		t.Fatal(err)
	}
	play, err := c.NewPlay()
	if err != nil {
		t.Fatal(err)
	}
	// 2 x 0.15 % of 9.525 mm, one-sided rectangle about its end: / sqrt(3).
	near(t, "u of the new play", play.U, 0.028575/1.7320508, 1e-6)
	if play.Budget[0].Name != wear.NewPlayFromTable {
		t.Errorf("budget: %v", play.Budget)
	}
}

// ISO 606:1994 A.2.6 (seen in GOST 13568-97): at least 610 mm up to 12B, 1220 mm
// from 16A; 08B: 49 links are 622.3 mm, 0.15 % of it 0.933 mm (computed).
func TestMeasurement(t *testing.T) {
	for _, r := range []struct {
		name    string
		pitches int
		least   float64
		load    float64
	}{{"08B", 49, 610, 120}, {"05B", 77, 610, 50}, {"12B", 33, 610, 280}, {"16A", 49, 1220, 500}} {
		c, err := wear.Find(r.name)
		if err != nil {
			t.Fatal(err)
		}
		m, ok := c.Measurement()
		if !ok || m.Pitches != r.pitches || m.Least != r.least || m.Load != r.load {
			t.Errorf("%s: %+v, %v; want %+v", r.name, m, ok, r)
		}
	}
	c, err := wear.Find("08B")
	if err != nil {
		t.Fatal(err)
	}
	length, err := wear.NewSpan(c.Pitch, 49)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "49 links of 08B", length.Value, 622.3, 1e-9)
	near(t, "its tolerance", length.Value*wear.LengthTolerancePercent/100, 0.933, 0.0005)

	// Free travel of the same 49 new joints: 2.45 mm, 0.394 % of the length
	// (computed), larger than the length tolerance.
	play, err := c.NewPlay()
	if err != nil {
		t.Fatal(err)
	}
	travel, err := wear.Figure(play).Joints(49)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "free travel", travel.Most.Value, 2.45, 1e-9)
	percent, err := travel.PercentOf(length.Value)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "free travel", percent.Most.Value, 0.394, 0.0005)
}

func ExampleFind() {
	c, err := wear.Find("ansi 40")
	if err != nil {
		panic(err)
	}
	fmt.Println(c.Designation, c.Edition, c.Pitch, "mm")
	// Output: 08A ISO 606:1994 12.7 mm
}
