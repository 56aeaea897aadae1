package cli

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// stretchLine is what the tests read of a line.
type stretchLine struct {
	Span struct {
		Pitches   int
		Reference string
	}
	Results, Growth, Drive, Forecast map[string]uncert.Quantity
	Running                          map[string]uncert.Quantity
	Maker                            []struct {
		What     string
		Reading  uncert.Quantity
		Decision struct{ Verdict, Settles string }
	}
	Readings []struct {
		Reading string
		Growth  map[string]uncert.Quantity
	}
	Cams []struct {
		Name   string
		Timing map[string]uncert.Quantity
	}
	Limit    record.Limit
	Decision struct {
		Verdict    string
		MoreJoints int `json:"more_joints"`
	}
	Checks []struct {
		Name string
		OK   bool
	}
	Notes []string
}

// stretched runs the command on flags, or on a file with the given text.
func stretched(t *testing.T, args string) stretchLine {
	t.Helper()
	words := append([]string{"stretch", "--json"}, strings.Fields(args)...)
	if strings.Contains(args, "=") {
		path := filepath.Join(t.TempDir(), "x.toml")
		if err := os.WriteFile(path, []byte(args), 0o644); err != nil {
			t.Fatal(err)
		}
		words = []string{"stretch", "--json", "--file", path}
	}
	status, stdout, stderr := run(t, t.Context(), words...)
	if status != statusOK || stderr != "" {
		t.Fatalf("%s: status %d, message %q", args, status, stderr)
	}
	var line stretchLine
	if err := json.Unmarshal([]byte(stdout), &line); err != nil {
		t.Fatal(err)
	}
	return line
}

func TestStretchFigures(t *testing.T) {
	for _, c := range []struct {
		args, group, name string
		want, tol         float64
		source            string
	}{
		{"--links 7 --grown 0.78 --pitches 52", "growth", "chain_growth", 5.79, 0.005, "common practice; 0.78 x 52/7"},
		{"--pitch 25.4 --span-pitches 24 --centres 24.75in", "growth", "elongation", 3.125, 1e-9, "thread on when to replace roller chain"},
		{"--pitch 1/2in --links 24 --grown 1/16in", "growth", "joint_growth", 0.0661, 5e-5, "thread on measuring chain stretch: 0.0026 in a joint"},
		{"--pitch 1/2in --links 24 --grown 1/16in", "growth", "elongation", 0.521, 5e-4, "the same"},
		{"--pitch 12.7 --pins 21 --new-centres 254 --centres 261", "growth", "elongation", 2.76, 0.005, "textbook table for final drives"},
		{"--pitch 15.875 --span-pitches 20 --centres 327", "growth", "elongation", 3, 0.01, "common practice: 317.5 to 327 mm"},
		{"--chain 06B --pins 15 --over pins --outside 136.9", "growth", "elongation", 0.20, 0.005, "workshop manual A, over the pins"},
		{"--pitch 9.525 --pins 15 --centres 136.9", "growth", "elongation", 2.66, 0.005, "workshop manual A, between centres"},
		{"--pitch 9.525 --links 14 --centres 133.35 --temperature 35", "growth", "chain_growth", 0, 0, ""},
		{"--pitch 9.525 --links 14 --centres 133.35 --temperature 35", "results", "span_growth", -0.0230, 5e-5, "11.5e-6/K over 15 K (JCGM 100 H.1), derived"},
		{"--pitch 12.7 --links 39 --centres 495.3 --temperature 80", "results", "span_growth", -0.3418, 5e-5, "the same over 60 K, derived"},
		{"--pitch 9.525 --links 10 --outside 102.05 --inside 89.35", "results", "span", 95.70, 1e-9, "L = (L1 + L2)/2, three engineering pages"},
		{"--pitch 9.525 --links 10 --outside 102.05 --inside 89.35", "growth", "elongation", 100 * 0.45 / 95.25, 1e-9, "(L - n p)/(n p), the same pages"},
		{"--chain 06B --links 14 --outside 136.9 --new-outside 136.63", "results", "span_growth", 0.27, 1e-9, "over the pins of 3.28: their diameter cancels, derived"},
		{"--chain 06B --links 14 --outside 139.97 --new-outside 139.70", "results", "span_growth", 0.27, 1e-9, "the same chain over the rollers of 6.35, derived"},
		{"--pitch 9.525 --links 14 --centres 133.35", "results", "span_growth", 0, 1e-9, "steel caliper as warm as the steel chain: no correction, derived"},
		{"--chain 06B --links 10 --over rollers --outside 102.05", "results", "span", 95.70, 1e-9, "outside less the roller of 6.35, derived"},
		{"--chain 06B --links 10 --over rollers --inside 89.35", "results", "span", 95.70, 1e-9, "inside and the roller of 6.35, derived"},
		{"[chain]\npitch=9.525\n[joints]\nplays=[0.146]\nu=0.001\nnew_play=0.05\nwear='one side'", "growth", "joint_growth", 0.096, 1e-9, "one-sided wear, derived"},
		{"[chain]\npitch=9.525\n[joints]\nplays=[0.146]\nu=0.001\nnew_play=0.05\nwear='one side'", "growth", "elongation", 1.008, 5e-4, "the same"},
		{"[chain]\npitch=9.525\n[joints]\nplays=[0.146]\nu=0.001\nnew_play=0.05\nwear='all round'", "growth", "elongation", 0.504, 5e-4, "all-round wear, derived"},
	} {
		line := stretched(t, c.args)
		group := map[string]map[string]uncert.Quantity{"growth": line.Growth, "results": line.Results}[c.group]
		q, ok := group[c.name]
		if c.source == "" {
			if ok {
				t.Errorf("%s: %s without the number of pitches", c.args, c.name)
			}
			continue
		}
		if !ok || math.Abs(q.Value-c.want) > c.tol || !(q.Lower <= q.Value && q.Value <= q.Upper) {
			t.Errorf("%s: %s is %.6g (%.6g to %.6g), want %g within %g (%s)", c.args, c.name, q.Value, q.Lower, q.Upper, c.want, c.tol, c.source)
		}
	}
}

// TestOddSpan wants both readings of an odd span: derived from the parity
// rule, growth over n+1 or n-1 links.
func TestOddSpan(t *testing.T) {
	line := stretched(t, "--links 7 --grown 0.78 --pitches 52")
	if len(line.Readings) != 2 {
		t.Fatalf("%d readings, want 2", len(line.Readings))
	}
	whole := line.Growth["chain_growth"]
	for i, want := range []float64{0.78 * 52 / 8, 0.78 * 52 / 6} { // 5.07 and 6.76
		got := line.Readings[i].Growth["chain_growth"].Value
		if math.Abs(got-want) > 1e-9 || got < whole.Lower || got > whole.Upper {
			t.Errorf("%s: %g, want %g, inside %g to %g", line.Readings[i].Reading, got, want, whole.Lower, whole.Upper)
		}
	}
	known := "[chain]\npitches=52\n[span]\nlinks=7\ngrown=[0.78]\n"
	for text, want := range map[string]float64{
		known + "over='pins'\nfirst_link='inner'":    5.07,
		known + "over='pins'\nfirst_link='outer'":    6.76,
		known + "over='rollers'\nfirst_link='inner'": 6.76,
		known + "over='rollers'\nfirst_link='outer'": 5.07,
	} {
		line := stretched(t, text)
		if got := line.Growth["chain_growth"].Value; math.Abs(got-want) > 1e-9 || line.Readings != nil {
			t.Errorf("%s: %g with %d readings, want %g", text, got, len(line.Readings), want)
		}
	}
}

// TestStretchTiming holds cams against derived rows: growth of 0.060 mm a
// joint at 9.525 mm pitch and 38 teeth lags the cam 0.7153 deg by a strand of
// 12 links, not 5.365 deg by the whole chain of 90.
func TestStretchTiming(t *testing.T) {
	text := `
[chain]
pitch = 9.525
pitches = 90
[span]
links = 10
grown = [0.6]
[[drive.wheel]]
name = "crank"
kind = "driver"
teeth = 19
to_next = 20
[[drive.wheel]]
name = "cam"
kind = "cam"
teeth = 38
to_next = 12
`
	line := stretched(t, text)
	if len(line.Cams) != 1 || line.Limit.Value != 0.5 || line.Limit.Provenance != "M" {
		t.Fatalf("%d cams, limit %+v; want one, and the practice for timing drives", len(line.Cams), line.Limit)
	}
	for name, want := range map[string]float64{"lag_cam": 0.7153, "lag_crank": 1.4306, "strand_growth": 0.72} {
		if got := line.Cams[0].Timing[name].Value; math.Abs(got-want) > 1e-4 {
			t.Errorf("%s is %g, want %g", name, got, want)
		}
	}
	// An idler on the pulling side passes the pull on: its strands add.
	with := stretched(t, strings.Replace(text, "to_next = 12", "to_next = 7\n[[drive.wheel]]\nname='idler'\nkind='idler'\nteeth=17\nto_next=5", 1))
	if got := with.Cams[0].Timing["lag_cam"].Value; math.Abs(got-line.Cams[0].Timing["lag_cam"].Value) > 1e-9 {
		t.Errorf("with an idler on the way the lag is %g", got)
	}
	// The limits of the model are printed.
	notes := strings.Join(line.Notes, ";")
	for _, want := range []string{"only the strand that pulls shifts a cam", "rides higher on both wheels does not shift it", "wheels, guides and phasers"} {
		if !strings.Contains(notes, want) {
			t.Errorf("notes %q lack %q", notes, want)
		}
	}
	if line.Drive["slack"].Value < 0.06*32 || line.Drive["slack"].Value > 0.06*90 {
		t.Errorf("slack is %g mm, want between the free pitches' growth and the whole chain's", line.Drive["slack"].Value)
	}
}

func TestStretchDecides(t *testing.T) {
	joints := "[chain]\npitch=9.525\n[joints]\nplays=[%s]\nu=0.002\nnew_play=0.05\nwear='one side'\n[limit]\npercent=0.5\n"
	for _, c := range []struct {
		args, verdict, unit string
		more                bool
	}{
		{"--chain 06B --pins 15 --outside 136.9 --new-outside 136.63 --limit 0.5", "within the limit", "%", false},
		{"--chain 06B --pins 15 --outside 137.9 --new-outside 136.63 --limit 0.5", "past the limit", "%", false},
		{"--chain 06B --pins 15 --outside 137.3 --new-outside 136.63 --limit 0.5", "too close to call", "%", false},
		{"--chain 06B --pins 15 --length 136.8 --longest 136.9", "within the limit", "mm", false},
		{"--chain 06B --pins 15 --length 136.91 --longest 136.9", "too close to call", "mm", false},
		{"--chain 06B --pins 15 --length 137.0,137.01,137.01 --longest 136.9", "past the limit", "mm", false},
		{"--chain 06B --pins 15 --over pins --outside 136.7 --longest 136.9", "within the limit", "mm", false},
		{"--chain 06B --pins 15 --over pins --outside 137.1 --longest 136.9", "past the limit", "mm", false},
		{strings.Replace(joints, "%s", "0.085, 0.100, 0.088, 0.096", 1), "too close to call", "%", true},
		{strings.Replace(joints, "%s", "0.130, 0.131, 0.129, 0.130", 1), "past the limit", "%", false},
	} {
		line := stretched(t, c.args)
		if line.Decision.Verdict != c.verdict || line.Limit.Unit != c.unit || c.more != (line.Decision.MoreJoints > 0) {
			t.Errorf("%s: %+v against %+v, want %s in %s, more joints %t", c.args, line.Decision, line.Limit, c.verdict, c.unit, c.more)
		}
	}
}

// TestStretchForecast draws the line through inspections that lie on
// 0.05 % + 0.002 %/km x distance, so that 0.45 % is met at 200 km.
func TestStretchForecast(t *testing.T) {
	line := stretched(t, `
[chain]
pitch = 10
[span]
links = 10
grown = [0.35]
[limit]
percent = 0.45
[forecast]
unit = "km"
running_in = 10
now = 150
inspection = [
  {at = 5, elongation = 0.3, u = 0.001}, # running in, left out
  {at = 50, elongation = 0.15, u = 0.0001},
  {at = 75, elongation = 0.20, u = 0.0001},
  {at = 100, elongation = 0.25, u = 0.0001},
  {at = 125, elongation = 0.30, u = 0.0001},
]`)
	at := line.Forecast["limit_met_at"]
	if math.Abs(at.Value-200) > 1e-6 || at.Unit != "km" || !(at.Lower < 200 && 200 < at.Upper) {
		t.Errorf("limit met at %+v, want 200 km", at)
	}
	if left := line.Forecast["left_to_limit"].Value; math.Abs(left-50) > 1e-6 {
		t.Errorf("%g km left, want 50", left)
	}
	longest := stretched(t, `
[chain]
pitch = 10
[span]
links = 10
centres = [100.35]
[limit]
longest = 100.45
[forecast]
unit = "km"
now = 150
inspection = [{at = 50, elongation = 0.15}, {at = 75, elongation = 0.20}, {at = 100, elongation = 0.25}]`)
	if got := longest.Forecast["limit_met_at"].Value; math.Abs(got-200) > 1e-6 {
		t.Errorf("a longest reading of 100.45 mm is met at %g, want 200 km", got)
	}
	few := stretched(t, "[chain]\npitch=10\n[span]\nlinks=10\ngrown=[0.3]\n[forecast]\nunit='h'\ninspection=[{at=1,elongation=0.1},{at=2,elongation=0.2}]")
	if few.Forecast != nil || !strings.Contains(strings.Join(few.Notes, ";"), "no forecast: a forecast needs inspections at 3 distances") {
		t.Errorf("two inspections: %+v, notes %q", few.Forecast, few.Notes)
	}
}

func TestStretchPull(t *testing.T) {
	for pull, want := range map[string]bool{"60": false, "70": true, "140": true, "147": true} {
		line := stretched(t, "--chain 06B --links 14 --edges 133.6 --pull "+pull)
		found := false
		for _, c := range line.Checks {
			if c.Name == "pull" {
				found = true
				if c.OK != want {
					t.Errorf("%s N: check %t, want %t (measuring load of 06B 70 N, ISO 606:1994)", pull, c.OK, want)
				}
			}
		}
		if !found {
			t.Errorf("%s N: no check of the pull", pull)
		}
	}
}

// TestStretchLaws: worn and new changed over give the growth its other sign,
// twice the pitch halves the percentage, places in any order are alike.
func TestStretchLaws(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var base typed
		n := rapid.IntRange(2, 40).Draw(r, "links")
		base.Span.Links.n = n
		base.Chain.Pitch = typedLength{8, true}
		base.Chain.Pitches.n = rapid.IntRange(40, 200).Draw(r, "pitches")
		length := func(name string) []typedLength {
			places := rapid.SliceOfN(rapid.Float64Range(0.97, 1.03), 1, 5).Draw(r, name)
			out := make([]typedLength, len(places))
			for i, p := range places {
				out[i] = typedLength{8 * float64(n) * p, true}
			}
			return out
		}
		base.Span.Edges, base.Span.NewEdges = length("used"), length("new")
		growth := func(x typed, name string) float64 {
			res, err := x.stretch()
			if err != nil {
				r.Fatal(err)
			}
			q, ok := res.Growth.Find(name)
			if !ok {
				r.Fatalf("no %s", name)
			}
			return q.Value
		}
		same := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-9 {
				r.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		joint, percent := growth(base, "joint_growth"), growth(base, "elongation")
		swapped := base
		swapped.Span.Edges, swapped.Span.NewEdges = base.Span.NewEdges, base.Span.Edges
		same("changed over", growth(swapped, "joint_growth"), -joint)
		coarse := base
		coarse.Chain.Pitch.mm *= 2
		same("twice the pitch", growth(coarse, "elongation"), percent/2)
		same("whole chain", growth(base, "chain_growth"), joint*float64(base.Chain.Pitches.n))
		turned := base
		turned.Span.Edges = append(append([]typedLength{}, base.Span.Edges[1:]...), base.Span.Edges[0])
		same("places turned round", growth(turned, "joint_growth"), joint)
	})
}

// Readings that workshop manuals limit and that are no length of the chain
// (extracts C and E, seen): across the rollers of a chain laid round its wheel
// 97.4 mm new and 96.2 mm at least; 3.175 mm of movement at most.
const makersLimits = `
[[maker]]
what = "chain round its wheel, across the rollers"
read = [%s]
least = 96.2
[[maker]]
what = "movement of the chain, 41 Nm to and fro on the cam bolt"
read = [2.4]
u = 0.2
most = 3.175
`

func TestStretchMaker(t *testing.T) {
	for read, want := range map[string]string{
		"97.4": "within the limit", "96.2, 96.22, 96.19": "too close to call", "95.9, 95.92": "past the limit",
	} {
		line := stretched(t, strings.Replace(makersLimits, "%s", read, 1))
		if line.Growth != nil || line.Results != nil || line.Limit.Value != 0 {
			t.Errorf("%s: a growth %v or limit %v of the chain", read, line.Growth, line.Limit)
		}
		if len(line.Maker) != 2 {
			t.Fatalf("%d readings, want 2", len(line.Maker))
		}
		if got := line.Maker[0].Decision; got.Verdict != want || (got.Settles == "") != (want != "too close to call") {
			t.Errorf("%s: %+v, want %s", read, got, want)
		}
		if got := line.Maker[1]; got.Decision.Verdict != "within the limit" || got.Reading.Value != 2.4 || got.Reading.U != 0.2 {
			t.Errorf("movement: %+v", got)
		}
	}
	// Beside a span both are told, and neither changes the other.
	span := "[chain]\npitch=9.525\n[span]\nlinks=10\ngrown=[0.45]\n"
	alone, both := stretched(t, span), stretched(t, span+strings.Replace(makersLimits, "%s", "95.9", 1))
	if len(both.Maker) != 2 || both.Maker[0].Decision.Verdict != "past the limit" ||
		both.Growth["elongation"].String() != alone.Growth["elongation"].String() || both.Decision != alone.Decision {
		t.Errorf("with a span: %+v", both)
	}
	// A timing drive has its cautions also without a span.
	timing := strings.Replace(makersLimits, "%s", "97.4", 1) + "[limit]\ntiming = true\n"
	path := filepath.Join(t.TempDir(), "timing.toml")
	if err := os.WriteFile(path, []byte(timing), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, stdout, _ := run(t, t.Context(), "stretch", "--file", path); !strings.Contains(stdout, "Caution: interference engine") {
		t.Errorf("no caution in\n%s", stdout)
	}
}

// worked is the worked example of the wear law (derived): 0.127 mm a joint, one
// percent of the pitch of 08B, after 20 412 h at 1000 N and 10 m/s on 19 and 38
// teeth, from an assumed k of 1e-17 m2/N.
const worked = `
[chain]
name = "08B"
pitches = 100
[joints]
plays = [0.177]
u = 0.004
new_play = 0.05
wear = "one side"
[running]
force = 1000
bush_length = 11.30
`

func TestStretchRunning(t *testing.T) {
	for name, text := range map[string]string{
		"hours":    worked + "teeth = [19, 38]\nspeed = 10\nhours = 20412",
		"circuits": worked + "teeth = [19, 38]\ncircuits = 5.786e8",
		"drive": worked + "circuits = 5.786e8\n[[drive.wheel]]\nkind='driver'\nteeth=19\nto_next=35\n" +
			"[[drive.wheel]]\nkind='idler'\nteeth=38\nto_next=35",
		"no table": strings.Replace(worked, `name = "08B"`, "pitch = 12.7", 1) + "pin_diameter = 4.45\nteeth = [19, 38]\ncircuits = 5.786e8",
	} {
		line := stretched(t, text)
		for _, want := range []struct {
			figure        string
			value, tol, u float64
			unit          string
		}{
			{"pressure", 19.887, 0.0005, 0, "MPa"},
			{"sliding_path", 1.10369e-3 * 5.786e8, 1.10369e-3 * 0.0005e8, 0, "m"},
			{"wear_coefficient", 10, 10 * 0.0005 / 5.786, 10 * 0.004 / 0.127, "nm2/N"},
		} {
			q := line.Running[want.figure]
			if math.Abs(q.Value-want.value) > want.tol || math.Abs(q.U-want.u) > 0.001*want.u || q.Unit != want.unit {
				t.Errorf("%s: %s is %v, want %g within %g, u %g", name, want.figure, q, want.value, want.tol, want.u)
			}
		}
	}
	// The same joints after the same time under half the pull: twice the k.
	half := stretched(t, strings.Replace(worked, "force = 1000", "force = 500\nforce_u = 50", 1)+"teeth = [19, 38]\ncircuits = 5.786e8")
	k := half.Running["wear_coefficient"]
	if math.Abs(k.Value-20) > 0.01 || math.Abs(k.U/k.Value-math.Hypot(0.1, 0.004/0.127)) > 1e-4 {
		t.Errorf("half the pull, known to 10 %%: %v", k)
	}
	unworn := stretched(t, strings.Replace(worked, "0.177", "0.053", 1)+"teeth = [19, 38]\ncircuits = 5.786e8")
	if notes := strings.Join(unworn.Notes, ";"); !strings.Contains(notes, "does not stand out from zero, and so neither") || !strings.Contains(notes, "contact area grows") {
		t.Errorf("notes of joints as new: %q", notes)
	}
}

func TestStretchFileRefusals(t *testing.T) {
	maker := "[[maker]]\nwhat='wheel'\n"
	for _, c := range []struct{ text, want string }{
		{"[[maker]]\nread=[97]\nleast=96", "maker's reading 1 needs in what a name"},
		{"[[maker]]\nwhat=\"\\u001b\"\nread=[97]\nleast=96", "maker's reading 1 needs in what a name"},
		{maker + "least=96", "it was not read"},
		{maker + "read=[97]", "one of most and least"},
		{maker + "read=[97]\nleast=96\nmost=98", "one of most and least"},
		{maker + "read=[97]\nleast=-96", "limit is -96"},
		{maker + "read=[0]\nmost=3", `maker's reading "wheel": caliper reading is 0`},
		{maker + "read=[97]\nleast=96\nu=-1", "below zero"},
		{maker + "read=[97]\nleast=96\n[limit]\npercent=0.5", "nothing was read"},
		{maker + "read=[97]\nleast=96\n[running]\nforce=1", "nothing was read"},
		{strings.Replace(worked, "force = 1000", "", 1), "needs force"},
		{strings.Replace(worked, "force = 1000", "force = 0", 1) + "teeth=[19]\ncircuits=1", "pull is 0"},
		{worked + "force_u=-1", "force_u is below zero"},
		{worked, "needs the teeth"},
		{worked + "teeth=[19,38]", "needs circuits, or speed"},
		{worked + "teeth=[19,38]\nspeed=10", "needs circuits, or speed"},
		{worked + "teeth=[19,38]\nspeed=10\nhours=1\ncircuits=1", "give one"},
		{worked + "teeth=[19,2]\ncircuits=1", "number of teeth is 2"},
		{strings.Replace(worked, "pitches = 100", "", 1) + "teeth=[19,38]\nspeed=10\nhours=1", "chain.pitches"},
		{strings.Replace(worked, `name = "08B"`, "pitch=12.7", 1) + "teeth=[19,38]\ncircuits=1", "running.pin_diameter"},
		{worked + "teeth=[19]\ncircuits=1\n[[drive.wheel]]\nkind='driver'\nteeth=19\nto_next=35\n[[drive.wheel]]\nkind='idler'\nteeth=38\nto_next=35", "give one of them"},
	} {
		path := filepath.Join(t.TempDir(), "x.toml")
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		if status, stdout, stderr := run(t, t.Context(), "stretch", "--file", path); status != statusUsage || stdout != "" || !strings.Contains(stderr, c.want) {
			t.Errorf("%s\nstatus %d, %q, want %d and %q", c.text, status, stderr, statusUsage, c.want)
		}
	}
}
