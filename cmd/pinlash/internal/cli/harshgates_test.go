package cli

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// gate is a check of one command with what all photos had to show at it.
type gate struct {
	kind, name string
	atLeast    bool
	least      float64 // smallest and largest limit that it was held to
	most       float64
	seen       []gateSeen
}

// gateSeen is a photo at a gate. Where the limit is of one value, margin is
// the check's own; otherwise it is its share of the limit.
type gateSeen struct {
	check.Check
	margin       float64
	good         bool
	measured     bool
	wrong, fails bool // measured and wrong; refused, and this gate failed
}

// gates gathers what the photos had to show at every gate.
func gates(all []cell, byCell map[string][]fared) []*gate {
	byName := map[[2]string]*gate{}
	for _, c := range all {
		for _, f := range byCell[c.name()] {
			for _, k := range f.Checks {
				key := [2]string{c.kind, k.Name}
				g := byName[key]
				if g == nil {
					g = &gate{kind: c.kind, name: k.Name, least: k.Limit, most: k.Limit}
					byName[key] = g
				}
				g.least, g.most = min(g.least, k.Limit), max(g.most, k.Limit)
				g.seen = append(g.seen, gateSeen{Check: k, good: c.good, measured: f.Code == "", wrong: f.Code == "" && !(f.Off <= 2), fails: f.Code != "" && !k.OK})
			}
		}
	}
	var out []*gate
	for _, g := range byName {
		above, below := 0, 0
		for i := range g.seen {
			s := &g.seen[i]
			switch {
			case s.OK == (s.Value > s.Limit) && s.Value != s.Limit:
				above++
			case s.Value != s.Limit:
				below++
			}
		}
		g.atLeast = above > below
		for i := range g.seen {
			s := &g.seen[i]
			s.margin = s.Value
			if g.least != g.most {
				s.margin = s.Value / s.Limit
			}
		}
		out = append(out, g)
	}
	slices.SortFunc(out, func(a, b *gate) int {
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.name, b.name))
	})
	return out
}

// passes says whether a photo passes a limit.
func (g *gate) passes(s gateSeen, limit float64) bool {
	if g.atLeast {
		return s.margin >= limit
	}
	return s.margin <= limit
}

// limits returns those the curve is drawn at: today's, such as refuse from
// none to a quarter of the good photos, and the same of all photos.
func (g *gate) limits() []float64 {
	var good, all []float64
	for _, s := range g.seen {
		all = append(all, s.margin)
		if s.good {
			good = append(good, s.margin)
		}
	}
	out := []float64{g.today()}
	for _, some := range [][]float64{good, all} {
		slices.Sort(some)
		if g.atLeast {
			slices.Reverse(some)
		}
		for _, q := range []float64{1, 0.99, 0.97, 0.9, 0.75} {
			if len(some) > 0 {
				out = append(out, some[int(math.Round(q*float64(len(some)-1)))])
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// does says what the gate did to photos that failed it.
func (g *gate) does() string {
	refused, noted := false, false
	for _, s := range g.seen {
		refused = refused || s.fails
		noted = noted || !s.OK && s.measured
	}
	switch {
	case noted:
		return "notes"
	case refused:
		return "refuses"
	}
	return "passed all"
}

// today is the limit in use, in the terms of margin.
func (g *gate) today() float64 {
	if g.least != g.most {
		return 1
	}
	return g.least
}

func writeGates(t *testing.T, all []cell, byCell map[string][]fared) {
	t.Helper()
	var b bytes.Buffer
	b.WriteString(harshCommand())
	b.WriteString("What every gate would do at other limits, from the photos of harsh.csv.\n" +
		"# limit: in the check's own terms, or where its limit is not the same for all photos (today: varies) as a share of that.\n" +
		"# good, harsh: photos that came as far as this gate, and those of them that would be refused there. wrong: photos that came out\n" +
		"# wrong, and those of them that would pass. unknown: photos that this gate refuses today and would let pass at the limit stated;\n" +
		"# there are no figures of them, so that nobody knows how many would be wrong. * marks today's limit. does: some checks only leave\n" +
		"# a note. Photos refused at an earlier gate are not counted at later ones. How far a whole photo is smeared (OrBlurred) is no\n" +
		"# check of its own and has no curve.\n")
	w := csv.NewWriter(&b)
	w.Write([]string{"command", "gate", "does", "sense", "today", "limit", "at", "good", "good_refused_%", "harsh", "harsh_refused_%", "wrong", "wrong_passed_%", "unknown"}) //nolint:errcheck // a buffer
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	for _, g := range gates(all, byCell) {
		sense, today := "at most", number(g.least)
		if g.atLeast {
			sense = "at least"
		}
		if g.least != g.most {
			today = "varies"
		}
		for _, limit := range g.limits() {
			var n [2][2]int // harsh and good: all, refused
			var wrong, passed, unknown int
			for _, s := range g.seen {
				which, pass := 0, g.passes(s, limit)
				if s.good {
					which = 1
				}
				n[which][0]++
				if !pass {
					n[which][1]++
				}
				if s.wrong {
					wrong++
					if pass {
						passed++
					}
				}
				if s.fails && pass {
					unknown++
				}
			}
			share := func(k, of int) string {
				if of == 0 {
					return ""
				}
				return strconv.FormatFloat(100*float64(k)/float64(of), 'f', 1, 64)
			}
			at := ""
			if limit == g.today() {
				at = "*"
			}
			w.Write([]string{ //nolint:errcheck // a buffer
				g.kind, g.name, g.does(), sense, today, number(limit), at,
				strconv.Itoa(n[1][0]), share(n[1][1], n[1][0]), strconv.Itoa(n[0][0]), share(n[0][1], n[0][0]),
				strconv.Itoa(wrong), share(passed, wrong), strconv.Itoa(unknown),
			})
		}
	}
	w.Flush()
	if err := record.WriteFile("../../../../testdata/sweep/gates.csv", b.Bytes()); err != nil {
		t.Fatal(err)
	}
}
