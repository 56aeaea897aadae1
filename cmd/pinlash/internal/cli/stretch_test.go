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
	Readings                         []struct {
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
	for pull, want := range map[string]bool{"60": false, "70": true, "147": true} {
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
