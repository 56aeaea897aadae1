package cli

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

const (
	sample = "../../../../samples/filler-drive-1.jpg"
	pairA  = "../../../../testdata/photos/pair_B01a.jpg"
	pairB  = "../../../../testdata/photos/pair_B01b.jpg"
)

// TestInch holds what --inch prints line by line against what is printed
// without: the same text, the same numbers, but lengths in inches of 25.4 mm
// to the digits that either shows.
func TestInch(t *testing.T) {
	span := filepath.Join(spanFolder, "worn.jpg")
	for _, args := range []string{
		"joint " + sample + " --division 0.1mm --pitch 9.525 --new-play 0.05 --pitches 90 --limit 1.5 --explain",
		"joint " + sample + " --division 0.1mm --quiet",
		"play " + pairA + " " + pairB + " --division 0.5mm --plane-offset -1.3 --working-distance 160 --pitch 9.525 --new-play 0.05",
		"span " + span + " --division 1mm --same-plane --chain 05B --pitches 90 --limit 0.6",
		"scale " + sample + " --division 0.1mm",
		"stretch --chain 06B --pins 15 --over pins --outside 136.95,136.88,136.91 --new-outside 136.63 --longest 137 --explain",
		"stretch --pitch 9.525 --links 7 --grown 0.78 --pitches 52",
		"stretch --file testdata/stretch/drive.toml",
		"compare testdata/compare --margin 10um",
		"compare testdata/compare --rate km",
		"compare testdata/compare --plan 10um",
	} {
		_, inMM, _ := run(t, t.Context(), strings.Fields(args)...)
		status, inInches, stderr := run(t, t.Context(), strings.Fields(args+" --inch")...)
		if status != statusOK || inMM == "" {
			t.Errorf("pinlash %s --inch: status %d, %s", args, status, stderr)
			continue
		}
		sameInInches(t, inMM, inInches)
	}
}

// sameInInches compares two outputs.
func sameInInches(t *testing.T, inMM, inInches string) {
	t.Helper()
	a, b := strings.Split(inMM, "\n"), strings.Split(inInches, "\n")
	if len(a) != len(b) {
		t.Errorf("%d lines in mm, %d in inches:\n%s\n%s", len(a), len(b), inMM, inInches)
		return
	}
	lengths := 0
	for i := range a {
		n, ok := lineInInches(a[i], b[i])
		if !ok {
			t.Errorf("in mm:     %s\nin inches: %s", a[i], b[i])
		}
		lengths += n
	}
	if lengths == 0 {
		t.Errorf("not a single length in inches:\n%s", inInches)
	}
}

var (
	decimals = regexp.MustCompile(`-?\d+(\.\d+)?(e-?\d+)?`)
	metric   = regexp.MustCompile(`# (mm|um)\b`)
	noLength = regexp.MustCompile(`\d +(%|deg)$`) // rows

	meaningInMM = regexp.MustCompile(`"kind":"stretch".*"meaning":"[^"]*\d mm\b`)
)

// lineInInches says whether b is the line a in inches, and how many numbers in
// it were converted. Notes and cautions stay as they are.
func lineInInches(a, b string) (int, bool) {
	if a == b {
		mm := metric.MatchString(spaces.ReplaceAllString(decimals.ReplaceAllString(a, "#"), " "))
		return 0, !mm || strings.Contains(a, "Note: ") || strings.Contains(a, "Caution: ")
	}
	text := func(s, unit string) string {
		s = spaces.ReplaceAllString(decimals.ReplaceAllString(s, "#"), " ")
		return strings.Replace(metric.ReplaceAllString(s, "# "+unit), "mm per px", unit+" per px", 1)
	}
	if text(a, "in") != text(b, "in") || noLength.MatchString(a) {
		return 0, spaces.ReplaceAllString(a, " ") == spaces.ReplaceAllString(b, " ")
	}
	was, is := decimals.FindAllStringIndex(a, -1), decimals.FindAllStringIndex(b, -1)
	converted := 0
	for i := range was {
		x, y := a[was[i][0]:was[i][1]], b[is[i][0]:is[i][1]]
		behind := a[was[i][1]:]
		percent := strings.HasPrefix(behind, " %") || strings.HasPrefix(behind, " deg")
		switch {
		case x == y:
		case percent || !equalLengths(x, y, strings.HasPrefix(behind, " um")):
			return converted, false
		default:
			converted++
		}
	}
	return converted, true
}

// equalLengths compares printed lengths, each to half of its last digit.
func equalLengths(mm, inches string, um bool) bool {
	x, halfX := printedNumber(mm)
	y, halfY := printedNumber(inches)
	perInch := 25.4
	if um {
		perInch *= 1000
	}
	return math.Abs(x/perInch-y) <= 1.001*(halfX/perInch+halfY)
}

func printedNumber(s string) (value, half float64) {
	value, _ = strconv.ParseFloat(s, 64)
	mantissa, exponent, _ := strings.Cut(s, "e")
	power, _ := strconv.Atoi(exponent)
	_, fraction, _ := strings.Cut(mantissa, ".")
	return value, 0.5 * math.Pow10(power-len(fraction))
}

// TestInchIsForPeople: what programs read is in mm always, what a batch leaves
// as well; only its summary follows.
func TestInchIsForPeople(t *testing.T) {
	for _, args := range []string{
		"joint " + sample + " --division 0.1mm --chain 06B",
		"stretch --pitch 9.525 --links 7 --grown 0.78 --pitches 52",
	} {
		_, want, _ := run(t, t.Context(), strings.Fields(args+" --json")...)
		status, got, _ := run(t, t.Context(), strings.Fields(args+" --json --inch")...)
		if status != statusOK || got != want {
			t.Errorf("pinlash %s --json --inch: status %d, prints\n%swithout --inch\n%s", args, status, got, want)
		}
	}
	photo, err := os.ReadFile(sample)
	if err != nil {
		t.Fatal(err)
	}
	summaries := map[string]string{}
	files := map[string]string{}
	for _, flag := range []string{"", "--inch"} {
		folder := t.TempDir()
		if err := os.WriteFile(filepath.Join(folder, "joint-1.jpg"), photo, 0o644); err != nil {
			t.Fatal(err)
		}
		args := append([]string{"batch", folder, "--division", "0.1mm", "--chain", "06B"}, strings.Fields(flag)...)
		status, stdout, stderr := run(t, t.Context(), args...)
		if status != statusOK {
			t.Fatalf("pinlash %q: status %d, %s", args, status, stderr)
		}
		summaries[flag], _, _ = strings.Cut(stdout, "Of 1 to measure")
		for _, name := range []string{"results.jsonl", "results.csv"} {
			data, err := os.ReadFile(filepath.Join(folder, name))
			if err != nil {
				t.Fatal(err)
			}
			files[flag] += string(data)
		}
	}
	sameInInches(t, summaries[""], summaries["--inch"])
	if files[""] != files["--inch"] || !meaningInMM.MatchString(files[""]) {
		t.Errorf("a batch leaves\n%s\nwith --inch\n%s", files[""], files["--inch"])
	}
}

// TestCaptionInInches: the text below a picture follows --inch.
func TestCaptionInInches(t *testing.T) {
	r := record.Record{
		Results: record.Figures{{Name: "play", Quantity: mm(0.1197, 0.001)}},
		Scale:   &record.Scale{MMPerPx: 0.006, U: 1e-6, Source: "rule", DivisionMM: 0.1, Marks: 95},
		Meaning: record.Say("The joint rocks %s.", mm(0.1197, 0.001)),
	}
	c := caption(r, record.Units{Inch: true})
	text := strings.Join(append(c.Lines, c.Text...), "\n")
	if strings.Contains(text, "mm") || !strings.Contains(text, "rocks 0.004713 in.") || !strings.Contains(text, "in/px") {
		t.Errorf("caption in inches:\n%s", text)
	}
	r.Refused = check.Refuse(check.NoScale, "no scale was found")
	if c := caption(r, record.Units{Inch: true}); len(c.Lines) > 0 || len(c.Text) != 2 {
		t.Errorf("caption of a refused photo: %q", c)
	}
}
