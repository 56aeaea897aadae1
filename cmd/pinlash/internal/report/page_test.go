package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"html"
	"io"
	"math"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func made(t testing.TB, in Input) string {
	t.Helper()
	var b bytes.Buffer
	if err := Page(&b, in); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var (
	tag       = regexp.MustCompile(`<[a-z][^>]*>`)
	reference = regexp.MustCompile(`(?:src|href|action|srcset|poster|data|xlink:href)="([^"]*)"`)
	dataURL   = regexp.MustCompile(`data:image/jpeg;base64,[A-Za-z0-9+/=]*`)
)

func TestPageStandsAlone(t *testing.T) {
	text := made(t, sample(t))
	for _, outside := range []string{"://", "xmlns", "@import", "url(", "<iframe", "<object", "<base"} {
		if strings.Contains(dataURL.ReplaceAllString(text, ""), outside) {
			t.Errorf("the page holds %s", outside)
		}
	}
	for _, r := range reference.FindAllStringSubmatch(text, -1) {
		if !strings.HasPrefix(r[1], "#") && !strings.HasPrefix(r[1], "data:") {
			t.Errorf("the page refers to %.80s", r[1])
		}
	}
	_, rest, _ := strings.Cut(text, "<script>")
	code, _, _ := strings.Cut(rest, "</script>")
	sum := sha256.Sum256([]byte(code))
	if want := "script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; !strings.Contains(html.UnescapeString(text), want) {
		t.Errorf("the policy does not name the script: want %s", want)
	}
	if strings.Count(text, "<script") != 1 {
		t.Error("there is more than one script")
	}
	if again := made(t, sample(t)); again != text {
		t.Error("the same results give another page")
	}
}

func TestPageVerdicts(t *testing.T) {
	levels := record.Levels{Chain: "A"}
	for _, c := range []struct {
		verdict     wear.Verdict
		mark, words string
	}{
		{wear.Past, `class="verdict past"`, "Chain A is past its limit."},
		{wear.Within, `class="verdict within"`, "Chain A is within its limit."},
		{wear.TooClose, `class="verdict close"`, "Chain A is too close to its limit to call."},
	} {
		text := made(t, Input{Lines: []record.Line{read(t, stretch(levels, 0.49, 0.02, c.verdict))}})
		at := strings.Index(text, c.mark)
		if at < 0 || !strings.Contains(text, c.words) {
			t.Errorf("%s: no %q or no %q", c.verdict, c.mark, c.words)
		}
		if plot := strings.Index(text, "<svg"); at > plot {
			t.Errorf("%s: the verdict does not stand first", c.verdict)
		}
		// t(7 degrees of freedom) is 2.365: 0.49 -/+ 0.047.
		if want := "It has grown by 0.490 % (95 % interval 0.443 to 0.537 %). The limit is 0.5 %, maker&#39;s limit (as stated)."; !strings.Contains(text, want) {
			t.Errorf("%s: no %q", c.verdict, want)
		}
		if got := strings.Contains(text, "6 more joints like these."); got != (c.verdict == wear.TooClose) {
			t.Errorf("%s: says what would settle it: %t", c.verdict, got)
		}
	}
}

// TestPageLatest has three inspections, the gravest earlier than the last.
func TestPageLatest(t *testing.T) {
	at := func(km float64) record.Levels { return record.Levels{Chain: "A", DistanceKM: km} }
	text := made(t, Input{Lines: []record.Line{
		read(t, stretch(at(9000), 0.2, 0.01, wear.Within)),
		read(t, stretch(at(12000), 0.3, 0.01, wear.Within)),
		read(t, stretch(at(3000), 0.6, 0.01, wear.Past)),
	}})
	if !strings.Contains(text, "Chain A is within its limit.") || strings.Contains(text, "Chain A is past") {
		t.Error("not the latest inspection's verdict")
	}
	var places []int
	for _, words := range []string{"3000 km: chain", "9000 km: chain", "12\u202f000 km: chain"} {
		places = append(places, strings.Index(text, words))
	}
	if places[0] < 0 || !slices.IsSorted(places) {
		t.Errorf("inspections at %v, want them in order of distance", places)
	}
}

// TestPageScaleOnly has a scale by itself, which is no chain.
func TestPageScaleOnly(t *testing.T) {
	text := made(t, Input{Lines: []record.Line{
		read(t, stretch(record.Levels{Chain: "A"}, 0.3, 0.01, wear.Within)),
		read(t, record.Record{
			Kind: record.Ruler, Photo: record.Photo{Path: "rule.jpg", SHA256: sum64}, Version: "0.1.0", Scale: scale(),
			Results: record.Figures{{Name: "mm_per_px", Quantity: uncert.Combine(0.006, "mm/px", uncert.Budget{{U: 1e-6}})}},
			Batch:   &record.Batch{Levels: record.Levels{Specimen: "drive"}},
		}),
	}})
	if n := strings.Count(text, `<article class="verdict`); n != 1 {
		t.Errorf("%d verdicts", n)
	}
	if !strings.Contains(text, "<h3>Scales</h3>") || !strings.Contains(text, "rule.jpg") {
		t.Error("the scale's photo is lost")
	}
}

// TestPageWithoutBatch takes lines as --json prints them.
func TestPageWithoutBatch(t *testing.T) {
	r := joint("a.jpg", 0.12, record.Levels{})
	r.Batch = nil
	s := refusedPhoto("b.jpg", record.Levels{})
	s.Batch = nil
	text := made(t, Input{Title: "Bench", Lines: []record.Line{read(t, r), read(t, s)}})
	for _, want := range []string{
		"The chain: no verdict.", "as if every joint were like it, 1 joint gives: 1 within the limit.", "no line for the whole chain", "Give the maker&#39;s with --limit.",
		"The results name no picture of this photo.", "The settings are not in these results.",
		"No rule was seen.", "What to do:", "a.jpg", "0.1200",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
	if !strings.Contains(made(t, Input{}), "There are no results to judge.") {
		t.Error("no results are not said to be none")
	}
}

// TestPageStructure holds the page's bones against what assistive programs
// need.
func TestPageStructure(t *testing.T) {
	text := made(t, sample(t))
	level := 0
	for _, m := range regexp.MustCompile(`<h([1-6])[ >]`).FindAllStringSubmatch(text, -1) {
		next := int(m[1][0] - '0')
		if next > level+1 {
			t.Errorf("a heading of level %d follows one of level %d", next, level)
		}
		level = next
	}
	for _, want := range []string{`<html lang="en">`, "<main", "<nav", "<header", "<footer", `class="skip" href="#main"`, "prefers-color-scheme", "prefers-reduced-motion", "@page"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s", want)
		}
	}
	if tables, captions := strings.Count(text, "<table"), strings.Count(text, "<caption>"); tables != captions || tables < 5 {
		t.Errorf("%d tables with %d captions", tables, captions)
	}
	ids := map[string]bool{}
	for _, m := range tag.FindAllString(text, -1) {
		switch {
		case strings.HasPrefix(m, "<th") && !strings.HasPrefix(m, "<thead") && !strings.Contains(m, "scope="):
			t.Errorf("%s has no scope", m)
		case strings.HasPrefix(m, "<img") && !regexp.MustCompile(`alt="[^"]+"`).MatchString(m):
			t.Errorf("%.60s has no words", m)
		case strings.HasPrefix(m, "<svg") && !strings.Contains(m, "aria-hidden") && !regexp.MustCompile(`role="img" aria-label="[^"]+"`).MatchString(m):
			t.Errorf("%.90s has no words", m)
		}
		if id := regexp.MustCompile(` id="([^"]*)"`).FindStringSubmatch(m); id != nil {
			if ids[id[1]] {
				t.Errorf("two elements are named %s", id[1])
			}
			ids[id[1]] = true
		}
	}
	for _, m := range regexp.MustCompile(`href="#([^"]*)"`).FindAllStringSubmatch(text, -1) {
		if !ids[m[1]] {
			t.Errorf("a link leads to %s, which is not there", m[1])
		}
	}
	for _, name := range []string{"details", "summary", "table", "tbody", "section", "article", "figure", "svg", "div", "ul", "li", "p", "a"} {
		if opened, closed := len(regexp.MustCompile("<"+name+"[ >]").FindAllString(text, -1)), strings.Count(text, "</"+name+">"); opened != closed {
			t.Errorf("%d <%s> and %d </%s>", opened, name, closed, name)
		}
	}
}

// TestPageSays looks for everything the sample holds.
func TestPageSays(t *testing.T) {
	text := html.UnescapeString(made(t, sample(t)))
	for _, want := range []string{
		"line 7: not JSON", // problems
		"Of 7 chains 1 too close to call, 6 without a verdict.",
		"Growth against the limit", "limit 0.5 %", "Map of the chain", "10–12", "not measured", "refused", "largest",
		"Play of the joints", "Cam timing", "inlet", "exhaust", "Slack and tensioner", "Forecast", "0.00500", "% per 1000 km",
		"The spans have grown more than their joints explain.", "Plates stretched.",
		"Checks that failed", "tilt is 4, limit 3.", "2 checks passed", "focus 1.7 (limit 5)",
		"0.0060010 mm/px (u 0.0000020) from the rule, 97 marks of 0.1 mm at 0.0 deg",
		"pinlash joint --chain=06B --division=0.1mm --limit=1 --new-play=0.05 --pitches=12 photos/j2.jpg",
		"pinlash play --division=0.5mm --together=photos/a.jpg --apart=photos/b.jpg",
		"scale 0.00072 (64 %); edge noise 0.00054 (36 %, 9 degrees of freedom)",
		"no play seen, at most 0.00080 mm", "bridged by inner links", "Wear by direction, enlarged",
		"No rule was seen.", "(no_scale; joint seen end-on)", "Show the movement",
		"The picture gone.png cannot be shown: it is not in the folder of the results.",
		"Interference engine: with the chain off", "wear eye protection", sum64, "pinlash 0.1.0", "JCGM 106",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
}

func TestPageHostile(t *testing.T) {
	in, names := hostile(t)
	text := made(t, in)
	for _, bad := range []string{"<script>window", "<img src=x", "<svg onload", "</title><script", "ZgotmplZ"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %s", bad)
		}
	}
	for _, m := range tag.FindAllString(text, -1) {
		if regexp.MustCompile(`(?i)\son[a-z]+=`).MatchString(regexp.MustCompile(`"[^"]*"`).ReplaceAllString(m, "")) {
			t.Errorf("a tag wants to act: %.200s", m)
		}
	}
	plain := html.UnescapeString(text)
	for _, name := range names {
		if !strings.Contains(plain, name) {
			t.Errorf("%.60q is lost", name)
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<h[1-4][^>]*>(.*?)</h[1-4]>`).FindAllStringSubmatch(text, -1) {
		if n := len([]rune(html.UnescapeString(m[1]))); n > 200 {
			t.Errorf("a heading of %d characters: %.80s", n, m[1])
		}
	}
}

// TestPageOddFigures has figures that no plot can show, and none at all.
func TestPageOddFigures(t *testing.T) {
	var lines []record.Line
	for _, v := range []float64{1e300, -1e300, 1e-300, 0, 1e12} {
		r := joint("a.jpg", 0.1, record.Levels{Chain: "A", Joint: "1"})
		for i := range r.Results {
			r.Results[i].Quantity = uncert.Quantity{Value: v, Unit: r.Results[i].Unit, Lower: v, Upper: v}
		}
		r.Growth[1].Quantity = uncert.Quantity{Value: v, Unit: "%", Lower: v, Upper: v}
		s := stretch(record.Levels{Chain: "A"}, 0.3, 0.1, wear.Within)
		s.Growth[1].Quantity = uncert.Quantity{Value: v, Unit: "%", Lower: v, Upper: v}
		p := span("s.jpg", record.Levels{Chain: "A"})
		p.Pitches[3].Length = uncert.Quantity{Value: v, Unit: "mm", Lower: v, Upper: v}
		lines = append(lines, read(t, r), read(t, s), read(t, p))
	}
	for _, in := range []Input{{Lines: lines}, {Lines: lines, Inches: true}} {
		for _, bad := range []string{"NaN", "Inf"} {
			page, _, _ := strings.Cut(made(t, in), "<script>")
			if strings.Contains(dataURL.ReplaceAllString(page, ""), bad) {
				t.Errorf("the page holds %s", bad)
			}
		}
	}
}

func TestInches(t *testing.T) {
	in := sample(t)
	in.Inches = true
	text := html.UnescapeString(made(t, in))
	// 0.12 mm is 0.0047244 in, u 0.0015 mm 0.000059 in.
	for _, want := range []string{"0.004724", "An inch is 25.4 mm exactly.", "play, in", "in/px"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
	u := units{record.Units{Inch: true}}
	if got := u.of(uncert.Combine(50.8, "mm", uncert.Budget{{U: 0.0254}})); math.Abs(got.Value-2) > 1e-12 || got.Unit != "in" || math.Abs(got.U-0.001) > 1e-15 {
		t.Errorf("50.8 mm is %v", got)
	}
	if got := u.of(uncert.Combine(3, "%", nil)); got.Unit != "%" || got.Value != 3 {
		t.Errorf("3 %% is %v", got)
	}
}

// TestPageSize holds 200 joints with their pictures to 15 MB.
func TestPageSize(t *testing.T) {
	if n := len(made(t, many(t, 200))); n > 15e6 {
		t.Errorf("%d bytes", n)
	} else {
		t.Logf("200 joints: %.1f MB", float64(n)/1e6)
	}
}

// TestCommand has a shell take the command line apart again.
func TestCommand(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no sh")
	}
	for _, photo := range append(slices.Clone(hostileNames), "-rf.jpg", "a b.jpg", "$HOME `id` $(id).jpg", "it's.jpg", "new\nline.jpg") {
		r := joint(photo, 0.1, record.Levels{})
		r.Batch.Settings = map[string]string{"scale-file": photo, "division": "0.1mm"}
		line := command(&r)
		out, err := exec.Command(shell, "-c", `pinlash() { for word in "$@"; do printf '%s\0' "$word"; done; }; `+line).Output()
		if err != nil {
			t.Fatalf("%.80q: %v", line, err)
		}
		got := strings.Split(strings.TrimSuffix(string(out), "\x00"), "\x00")
		want := []string{"joint", "--division=0.1mm", "--scale-file=" + photo}
		if strings.HasPrefix(photo, "-") {
			want = append(want, "--")
		}
		if want = append(want, photo); !slices.Equal(got, want) {
			t.Errorf("%.80q is read as %.300q", line, got)
		}
	}
}

func BenchmarkPage(b *testing.B) {
	in := many(b, 200)
	b.ReportAllocs()
	for b.Loop() {
		if err := Page(io.Discard, in); err != nil {
			b.Fatal(err)
		}
	}
}
