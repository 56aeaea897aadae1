package report

import (
	"fmt"
	"html"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// grown is a joint that has grown by so much.
func grown(t testing.TB, value float64, levels record.Levels) record.Line {
	t.Helper()
	return read(t, joint(fmt.Sprintf("%s-%s-%s-%s-%d.jpg", levels.Revision, levels.Chain, levels.Inspection, levels.Joint, levels.Repeat), 0.05+value, levels))
}

// chapter returns what the page says between the head of that name and the
// next chapter, "" if there is none.
func chapter(t testing.TB, in Input, id string) string {
	t.Helper()
	_, rest, found := strings.Cut(made(t, in), `<section aria-labelledby="`+id+`">`)
	if !found {
		return ""
	}
	body, _, _ := strings.Cut(rest, "</section>")
	return html.UnescapeString(body)
}

func wants(t *testing.T, text string, all ...string) {
	t.Helper()
	for _, want := range all {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
}

func lacks(t *testing.T, text string, all ...string) {
	t.Helper()
	for _, bad := range all {
		if strings.Contains(text, bad) {
			t.Errorf("there is %q", bad)
		}
	}
}

// chainsOf has chains of joints at the growths given, each with a joint a
// thousandth of a millimetre less and one as much more.
func chainsOf(t testing.TB, revision string, means ...float64) []record.Line {
	var lines []record.Line
	for i, mean := range means {
		for j, off := range []float64{-0.001, 0, 0.001} {
			lines = append(lines, grown(t, mean+off, record.Levels{Revision: revision, Chain: revision + strconv.Itoa(i+1), Joint: strconv.Itoa(j + 1)}))
		}
	}
	return lines
}

// TestComparedDifference is worked out by hand: three chains each, standard
// deviation of their means 0.002, so u is sqrt(2/3) 0.002 = 0.001633, with 4
// degrees of freedom; t 2.776 makes the interval 0.02 -/+ 0.00453, and the
// one-sided t 2.132 the bound 0.02348.
func TestComparedDifference(t *testing.T) {
	in := Input{Lines: append(chainsOf(t, "old", 0.030, 0.032, 0.034), chainsOf(t, "new", 0.010, 0.012, 0.014)...)}
	text := chapter(t, in, "compared")
	wants(t, text, `<h2 id="compared">Comparing revisions</h2>`, "<strong>new and old differ.</strong>",
		"The joint growth of old is larger than that of new by 0.0200 mm (95 % interval 0.0155 to 0.0245 mm).",
		"A one-sided test at 5 % shows that it is not larger than 0.0235 mm.", "old less new", "0.0155 to 0.0245", "mixed model", "share of the variance")
	lacks(t, text, "No statement", "quivalence")

	in.Lines = append(chainsOf(t, "old", 0.010, 0.012, 0.014), chainsOf(t, "new", 0.030, 0.032, 0.034)...)
	wants(t, chapter(t, in, "compared"), "The joint growth of new is larger than that of old by 0.0200 mm (95 % interval 0.0155 to 0.0245 mm).")

	// A difference as small as the scatter is left undecided.
	in.Lines = append(chainsOf(t, "old", 0.010, 0.012, 0.014), chainsOf(t, "new", 0.0101, 0.0121, 0.0141)...)
	wants(t, chapter(t, in, "compared"), "new and old: undecided. Neither a difference nor its absence is shown.", "(95 % interval -0.0046 to 0.0044 mm)")

	// In inches: 0.02 mm is 0.000787 in.
	in.Lines, in.Inches = append(chainsOf(t, "old", 0.030, 0.032, 0.034), chainsOf(t, "new", 0.010, 0.012, 0.014)...), true
	text = chapter(t, in, "compared")
	wants(t, text, "by 0.000787 in (95 % interval 0.000609 to 0.000966 in)", "joint growth, in")
	lacks(t, text, " mm")
}

func TestComparedOneChainEach(t *testing.T) {
	in := Input{Lines: append(chainsOf(t, "old", 0.03), chainsOf(t, "new", 0.01)...)}
	text := chapter(t, in, "compared")
	wants(t, text, "No statement about the revisions is possible with one chain per revision", "one chain: no mean of the revision", "none: one chain",
		"The chains differ by more than the scatter of their joints explains")
	lacks(t, text, "Differences between revisions", "undecided", "old and new differ", "new and old differ")

	in.Lines = append(in.Lines, chainsOf(t, "third", 0.02, 0.03)...)
	wants(t, chapter(t, in, "compared"), "No statement about the revisions new, old is possible with one chain of each.")

	in.Lines = chainsOf(t, "old", 0.01, 0.02)
	text = chapter(t, in, "compared")
	wants(t, text, "Comparing chains", "All 2 chains are of one revision (old): there is no other to compare it with.")
	lacks(t, text, "Comparing revisions")
}

// TestComparedAppears has results with nothing to compare, and the least that
// has.
func TestComparedAppears(t *testing.T) {
	one := record.Levels{Revision: "B", Chain: "cam", DistanceKM: 1000}
	later := one
	later.DistanceKM = 2000
	for _, c := range []struct {
		name  string
		lines []record.Line
		title string
	}{
		{"nothing", nil, ""},
		{"one joint", []record.Line{grown(t, 0.01, one)}, ""},
		{"one span", []record.Line{read(t, span("s.jpg", one))}, ""},
		{"two distances", []record.Line{grown(t, 0.01, one), grown(t, 0.02, later)}, "Wear against distance"},
		{"one refused", []record.Line{grown(t, 0.01, one), read(t, refusedPhoto("r.jpg", record.Levels{Revision: "B", Chain: "other"}))}, ""},
		{"two chains", []record.Line{grown(t, 0.01, one), grown(t, 0.02, record.Levels{Revision: "B", Chain: "other"})}, "Comparing chains"},
		{"two revisions", []record.Line{grown(t, 0.01, one), grown(t, 0.02, record.Levels{Revision: "C", Chain: "cam"})}, "Comparing revisions"},
		{"two specimens", []record.Line{grown(t, 0.01, record.Levels{Specimen: "a"}), grown(t, 0.02, record.Levels{Specimen: "b"})}, "Comparing chains"},
		{"two spans", []record.Line{read(t, span("s.jpg", one)), read(t, span("t.jpg", record.Levels{Revision: "C", Chain: "cam"}))}, "Comparing revisions"},
	} {
		text := chapter(t, Input{Lines: c.lines}, "compared")
		_, title, _ := strings.Cut(text, `<h2 id="compared">`)
		if title, _, _ = strings.Cut(title, "</h2>"); title != c.title {
			t.Errorf("%s: chapter %q, want %q", c.name, title, c.title)
		}
		if alone := c.title == "Wear against distance"; alone != (text != "" && !strings.Contains(text, "Revisions, by the means")) && c.name != "two spans" {
			t.Errorf("%s: tests are shown or missing", c.name)
		}
	}
}

// TestComparedFigure has a joint whose growth is not known: play is compared
// then, in all of them.
func TestComparedFigure(t *testing.T) {
	bare := joint("x.jpg", 0.09, record.Levels{Revision: "B", Chain: "1"})
	bare.Growth = nil
	in := Input{Lines: []record.Line{read(t, bare), grown(t, 0.02, record.Levels{Revision: "B", Chain: "2"})}}
	text := chapter(t, in, "compared")
	wants(t, text, "What is compared is the play.", "0.0900", "0.0700")
	lacks(t, text, "joint growth")
}

// TestComparedLeftOut has what cannot be placed: it is named, never dropped in
// silence.
func TestComparedLeftOut(t *testing.T) {
	in := Input{Lines: chainsOf(t, "old", 0.01, 0.02)}
	in.Lines = append(in.Lines,
		grown(t, 0.03, record.Levels{Chain: "stray"}),
		grown(t, 0.03, record.Levels{Revision: "old", Chain: "two rounds", Inspection: "spring"}),
		grown(t, 0.04, record.Levels{Revision: "old", Chain: "two rounds", Inspection: "autumn"}),
		read(t, play("a.jpg", "b.jpg", record.Levels{Revision: "old", Chain: "old1", Joint: "9"})),
	)
	wants(t, chapter(t, in, "compared"),
		"1 photo names no revision and is left out of the comparison.",
		"Chain two rounds of revision old has 2 inspections that no distance puts in order; it is left out of the tests.",
		"8 joint photos were measured end-on and 1 by movement",
	)
}

// TestComparedRates has revisions that ran different distances: what is
// compared first is then the growth per distance.
func TestComparedRates(t *testing.T) {
	var in Input
	for _, c := range []struct {
		revision, chain string
		per, km         float64
	}{{"old", "1", 0.0010, 40000}, {"old", "2", 0.0011, 40000}, {"new", "1", 0.0009, 80000}, {"new", "2", 0.0012, 80000}} {
		for j := range 3 {
			in.Lines = append(in.Lines, grown(t, c.per*c.km/1000*(1+0.01*float64(j-1)), record.Levels{Revision: c.revision, Chain: c.chain, DistanceKM: c.km, Joint: fmt.Sprint(j + 1)}))
		}
	}
	text := chapter(t, in, "compared")
	rates, last := strings.Index(text, "By running distance"), strings.Index(text, "As found at the last inspection")
	if rates < 0 || last < rates {
		t.Errorf("rates at %d, figures as found at %d", rates, last)
	}
	wants(t, text, "mm/1000 km", "Rates are counted from new: running-in is in them.", "Revisions ran different distances")
}

// TestComparedFresh has a new chain, the distance of which is zero and known.
func TestComparedFresh(t *testing.T) {
	var in Input
	for _, chain := range []string{"1", "2"} {
		for j := range 3 {
			at := record.Levels{Revision: "old", Chain: chain, Inspection: "0 h", Joint: fmt.Sprint(j + 1)}
			in.Lines = append(in.Lines, grown(t, 0.0001*float64(j), at))
			at.Inspection, at.Hours = "1200h", 1200
			in.Lines = append(in.Lines, grown(t, 0.06+0.001*float64(j), at))
		}
	}
	text := chapter(t, in, "compared")
	// The slope is (0.061 - 0.0001) mm over 1200 h.
	wants(t, text, "Rates are slopes between inspections", "0.0508", "mm/1000 h", "Wear against distance", "running, h")
	lacks(t, text, "left out")
}

func TestComparedStandsOut(t *testing.T) {
	in := Input{Lines: chainsOf(t, "old", 0.01, 0.02)}
	for j := range 12 {
		value := 0.01 + 0.0002*float64(j%3)
		if j == 7 {
			value = 0.09
		}
		in.Lines = append(in.Lines, grown(t, value, record.Levels{Revision: "old", Chain: "old3", Joint: fmt.Sprint(j + 1)}))
	}
	wants(t, chapter(t, in, "compared"), "stand out by Grubbs’s test. They are kept", "Joint 8 of chain old3, revision old: 0.0900 mm,")
}

// TestJointsPlot counts the marks: every joint of the last inspections has one,
// photos of one joint sharing it.
func TestJointsPlot(t *testing.T) {
	in := Input{Lines: append(chainsOf(t, "old", 0.03, 0.04), chainsOf(t, "new", 0.01)...)}
	in.Lines = append(in.Lines, grown(t, 0.033, record.Levels{Revision: "old", Chain: "old1", Joint: "1", Repeat: 2}))
	b := newBuilder(in)
	svg := string(b.compared().Joints.SVG)
	arcs := regexp.MustCompile(`d="([^"]*)"`).FindAllStringSubmatch(svg, -1)
	rings := 0
	for _, path := range arcs {
		// The rings of a chain are one path; a circle of a mean stands alone.
		if n := strings.Count(path[1], "M"); n > 1 && strings.Contains(path[1], "A") {
			rings += n
		}
	}
	if rings != 9 {
		t.Errorf("%d rings for 9 joints", rings)
	}
	for _, label := range []string{">all old<", ">old1<", ">old2<", ">all new<", ">new1<", ">one chain: no mean of the revision<", ">joint growth, mm<"} {
		if !strings.Contains(svg, label) {
			t.Errorf("no label %s", label)
		}
	}
}

// TestComparedNames has chains whose names are the same when cut, and
// revisions called alike in two specimens.
func TestComparedNames(t *testing.T) {
	long := strings.Repeat("x", 60)
	var in Input
	for _, l := range []record.Levels{
		{Specimen: "a", Revision: "B", Chain: "1" + long}, {Specimen: "a", Revision: "B", Chain: "2" + long}, {Specimen: "b", Revision: "B", Chain: "1" + long},
	} {
		in.Lines = append(in.Lines, grown(t, 0.01, l), grown(t, 0.02, l))
	}
	b := newBuilder(in)
	c := b.compared()
	seen := map[string]bool{}
	for _, row := range c.Blocks[0].Chains {
		if row.Revision != "B" || seen[row.Name] || row.Joints != 2 {
			t.Errorf("chain %q of revision %q has %d joints", row.Name, row.Revision, row.Joints)
		}
		seen[row.Name] = true
	}
	if len(seen) != 3 {
		t.Errorf("%d chains, want 3", len(seen))
	}
}

// TestComparedSize holds the chapter of 90 chains of 20 joints to its size, and
// to saying which have no room.
func TestComparedSize(t *testing.T) {
	scatter := rand.New(rand.NewPCG(9, 27))
	var in Input
	for r := range 3 {
		for c := range 30 {
			mean := 0.03 + 0.01*float64(r) + 0.004*scatter.NormFloat64()
			for j := range 20 {
				of := joint("j.jpg", 0.05+mean+0.003*scatter.NormFloat64(), record.Levels{Revision: string(rune('A' + r)), Chain: fmt.Sprintf("%c%d", 'A'+r, c+1), DistanceKM: 1000 * float64(1+c%3), Joint: fmt.Sprint(j + 1)})
				in.Lines = append(in.Lines, record.Line{Record: &of}) // reading so many back takes its time
			}
		}
	}
	b := &builder{units: units{}, in: in} // without drawing each joint's wear
	b.group()
	body, err := section{Template: "compared.html", Data: b.compared()}.Body()
	if err != nil {
		t.Fatal(err)
	}
	text := string(body)
	wants(t, text, "54 chains have no room here", "(Games-Howell)", "There are too many chains to name here")
	if n := len(text); n > 400e3 {
		t.Errorf("the chapter has %d bytes", n)
	} else {
		t.Logf("90 chains, 1800 joints: %.0f kB", float64(n)/1e3)
	}
}

// TestRepeats is worked out by hand: two photos of each joint that differ by
// 0.002 mm have a variance of 2e-6, the root of which is 0.00141.
func TestRepeats(t *testing.T) {
	var in Input
	add := func(by string, times int) {
		for j := range 4 {
			for repeat := range times {
				in.Lines = append(in.Lines, grown(t, 0.02*float64(j)+0.002*float64(repeat), record.Levels{Chain: "A", Joint: fmt.Sprint(j + 1), By: by, Repeat: repeat + 1}))
			}
		}
	}
	add("", 1)
	if text := chapter(t, in, "repeats"); text != "" {
		t.Error("photos taken once are said to repeat")
	}
	in.Lines = nil
	add("Ann", 2)
	text := chapter(t, in, "repeats")
	wants(t, text, "1 person photographed 4 joints 2 times each. One photo of one joint by one person scatters by 0.00141 mm", "repeatability: photos by one person", "levels told apart", "One person: what others would read is not in it.", "What follows:")
	lacks(t, text, "between people")
	add("Ben", 2)
	wants(t, chapter(t, in, "repeats"), "2 people photographed 4 joints 2 times each.", "reproducibility: between people")

	in.Lines = in.Lines[:2]
	wants(t, chapter(t, in, "repeats"), "two joints at least that every person has measured twice")
}

func TestSignificant(t *testing.T) {
	for _, c := range []struct {
		v    float64
		n    int
		want string
	}{{0.00012345, 2, "0.00012"}, {123456, 2, "120000"}, {1e-9, 2, "0.000000001"}, {0, 3, "0"}, {-0.0996, 2, "-0.1"}, {math.MaxFloat64, 2, strconv.FormatFloat(math.MaxFloat64, 'f', -1, 64)}} {
		if got := significant(c.v, c.n); got != c.want {
			t.Errorf("%g to %d digits is %.40q, want %.40q", c.v, c.n, got, c.want)
		}
	}
	if got := chance(0.0004); got != "< 0.001" {
		t.Errorf("p 0.0004 prints as %q", got)
	}
}

// TestComparedOdd has figures and distances that no chain can have.
func TestComparedOdd(t *testing.T) {
	in := Input{Lines: chainsOf(t, "old", 0.01, 0.02)}
	for _, v := range []float64{1e300, -1e300, 1e-300, 1e12} {
		r := joint("odd.jpg", 0.1, record.Levels{Revision: "new", Chain: "odd", DistanceKM: math.Abs(v), Joint: "1"})
		r.Growth[0].Quantity = uncert.Quantity{Value: v, Unit: "mm", Lower: v, Upper: v}
		in.Lines = append(in.Lines, read(t, r), grown(t, 0.01, record.Levels{Revision: "new", Chain: "far", DistanceKM: math.Abs(v)}))
	}
	text := chapter(t, in, "compared")
	lacks(t, text, "NaN", "Inf", "e+3")
	wants(t, text, "3 photos have a figure that cannot be right and are left out of the comparison.")
}
