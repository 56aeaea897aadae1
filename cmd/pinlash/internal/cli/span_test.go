package cli

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/vision/synth"
)

const spanFolder = "testdata/span/"

// TestSpansComeOutRight holds the span photos against what they were rendered
// with. A span is to be right within 0.06 px times the root of its pitches, and
// its elongation within 0.03 percentage points; the kinds of the links, and
// the true span inside its interval, are asked for.
func TestSpansComeOutRight(t *testing.T) {
	for _, c := range []struct {
		file             string
		span, elongation float64
		mmPerPx          float64
		pitches          []float64
	}{
		{"worn.jpg", 72.3143, 0.4365, 0.048, []float64{8.0007, 8.0741, 8.0005, 8.0758, 8.0016, 8.0801, 7.9978, 8.0844, 7.9993}},
		{"sagging.jpg", 88.4939, 0.5613, 0.056, []float64{8.0021, 8.1082, 8.0013, 8.0922, 7.9993, 8.0939, 7.998, 8.0967, 8.001, 8.1015, 7.9997}},
	} {
		status, stdout, stderr := run(t, t.Context(), "span", "--json", "--division", "1mm", "--same-plane", "--pitch", "8", spanFolder+c.file)
		if status != statusOK {
			t.Fatalf("%s: status %d, %s%s", c.file, status, stdout, stderr)
		}
		var line struct {
			Results   map[string]uncert.Quantity
			Reference string
			Pitches   []record.Pitch
		}
		if err := json.Unmarshal([]byte(stdout), &line); err != nil {
			t.Fatal(err)
		}
		span, elongation := line.Results["span"], line.Results["elongation"]
		if tol := 0.06 * math.Sqrt(float64(len(c.pitches))) * c.mmPerPx; math.Abs(span.Value-c.span) > tol || span.Lower > c.span || c.span > span.Upper {
			t.Errorf("%s: span is %.4f (%.4f to %.4f), want %.4f within %.4f", c.file, span.Value, span.Lower, span.Upper, c.span, tol)
		}
		if math.Abs(elongation.Value-c.elongation) > 0.03 {
			t.Errorf("%s: elongation is %.4f %%, want %.4f", c.file, elongation.Value, c.elongation)
		}
		if line.Reference != "pin to pin" || len(line.Pitches) != len(c.pitches) {
			t.Fatalf("%s: %d pitches %s, want %d pin to pin", c.file, len(line.Pitches), line.Reference, len(c.pitches))
		}
		for i, p := range line.Pitches {
			want := []geom.LinkKind{geom.OuterLink, geom.InnerLink}[i%2]
			if p.Index != i || p.Link != want || math.Abs(p.Length.Value-c.pitches[i]) > 0.25*c.mmPerPx {
				t.Errorf("%s: pitch %d is %s, %.4f mm; want %s, %.4f mm within a quarter pixel", c.file, p.Index, p.Link, p.Length.Value, want, c.pitches[i])
			}
		}
	}
}

// mm is a length with an uncertainty.
func mm(value, u float64) uncert.Quantity {
	return uncert.Combine(value, "mm", uncert.Budget{{Name: "edges", U: u}})
}

// spanOf is a made-up result: so many pitches of 9.525 mm, the inner ones grown
// by twice growth mm, the first link being of the given kind.
func spanOf(n int, first geom.LinkKind, growth float64) measure.SpanResult {
	r := measure.SpanResult{Reference: "pin to pin"}
	total := 0.0
	for i := range n {
		link, length := first, 9.525
		if i%2 == 1 {
			link = map[geom.LinkKind]geom.LinkKind{geom.InnerLink: geom.OuterLink, geom.OuterLink: geom.InnerLink}[first]
		}
		inner := link == geom.InnerLink
		if first == geom.UnknownLink {
			link, inner = geom.UnknownLink, i%2 == 0
		}
		if inner {
			length += 2 * growth
		}
		total += length
		r.Pitches = append(r.Pitches, measure.Pitch{Index: i, Link: link, Length: mm(length, 0.003)})
	}
	r.Span = mm(total, 0.005)
	return r
}

// TestSpanGrowth wants the growth per joint that a span was made with, whatever
// its count and first link, and both readings where the links are not known.
func TestSpanGrowth(t *testing.T) {
	ref := chainReference{pitch: 9.525, pitches: 100, limit: 1}
	const growth = 0.05
	for _, c := range []struct {
		n     int
		first geom.LinkKind
	}{{8, geom.InnerLink}, {8, geom.UnknownLink}, {9, geom.InnerLink}, {9, geom.OuterLink}, {9, geom.UnknownLink}} {
		var r record.Record
		if err := ref.applySpan(&r, spanOf(c.n, c.first, growth)); err != nil {
			t.Fatal(err)
		}
		joint, _ := r.Growth.Find("joint_growth")
		whole, _ := r.Growth.Find("chain_growth")
		if c.n%2 == 1 && c.first == geom.UnknownLink {
			if len(r.Readings) != 2 || !strings.Contains(r.Meaning.String(), "An odd span of 9 pitches") {
				t.Fatalf("%d readings, %q; want both in words", len(r.Readings), r.Meaning)
			}
			least, _ := r.Readings[0].Growth.Find("joint_growth")
			if math.Abs(least.Value-growth) > 1e-9 || joint.Lower > growth || growth > joint.Upper {
				t.Errorf("readings %+v of %+v, want %g among them", r.Readings, joint, growth)
			}
			continue
		}
		if math.Abs(joint.Value-growth) > 1e-9 || math.Abs(whole.Value-100*growth) > 1e-7 || r.Readings != nil {
			t.Errorf("%d pitches from %s: joint growth %g, chain %g, want %g and %g", c.n, c.first, joint.Value, whole.Value, growth, 100*growth)
		}
		if r.Decision != "within the limit of 1 %" {
			t.Errorf("%d pitches from %s: decision %q", c.n, c.first, r.Decision)
		}
	}
	// A single link that does not grow says nothing of wear.
	var r record.Record
	if err := ref.applySpan(&r, spanOf(1, geom.OuterLink, growth)); err != nil || r.Growth != nil || r.Notes == nil {
		t.Errorf("one outer link: %+v, notes %q, %v", r.Growth, r.Notes, err)
	}
}

// TestSpanOfBushes wants "bush to bush" printed for a chain without pins, in
// the table and in JSON, and the span it was drawn with.
func TestSpanOfBushes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 71))
	s := synth.Opened(r, synth.Pulled(r, 8, 165, 0.05, 0.01, 0.02, false), 0, false)
	path := filepath.Join(t.TempDir(), "bushes.jpg")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.WriteJPEG(f), f.Close()); err != nil {
		t.Fatal(err)
	}
	const mmPerPx = 0.05
	want := 0.0
	for _, p := range s.Chain.Pitches() {
		want += p * mmPerPx
	}
	args := []string{"span", path, "--points", "100,400,1500,400", "--distance", "70", "--same-plane", "--pitch", "8.25"}
	status, stdout, stderr := run(t, t.Context(), append(args, "--json")...)
	if status != statusOK {
		t.Fatalf("status %d, %s%s", status, stdout, stderr)
	}
	var line struct {
		Results   map[string]uncert.Quantity
		Reference string
		Pitches   []record.Pitch
	}
	if err := json.Unmarshal([]byte(stdout), &line); err != nil {
		t.Fatal(err)
	}
	span := line.Results["span"]
	if line.Reference != "bush to bush" || len(line.Pitches) != 8 || line.Pitches[0].Link != geom.UnknownLink {
		t.Errorf("%d pitches %s, first link %q; want 8 bush to bush, unknown", len(line.Pitches), line.Reference, line.Pitches[0].Link)
	}
	if tol := 0.06 * math.Sqrt(8) * mmPerPx; math.Abs(span.Value-want) > tol || span.Lower > want || want > span.Upper {
		t.Errorf("span is %.4f (%.4f to %.4f), want %.4f within %.4f", span.Value, span.Lower, span.Upper, want, tol)
	}
	_, stdout, _ = run(t, t.Context(), args...)
	if !strings.Contains(stdout, "over 8 pitches, bush to bush") || !strings.Contains(stdout, "hollow pins look the same") {
		t.Errorf("table does not say bush to bush:\n%s", stdout)
	}
}
