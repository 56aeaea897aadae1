package cli

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/samples"
)

// rendered is what samples/truth.json says of one sample.
type rendered struct {
	Files      []string  `json:"files"`
	Pin        float64   `json:"pin_diameter_mm"`
	Bore       float64   `json:"bore_diameter_mm"`
	AlongPull  float64   `json:"play_along_pull_mm"` // of a joint seen end-on
	Play       float64   `json:"play_mm"`            // of one seen from the side
	Pitches    []float64 `json:"pitch_mm"`
	Elongation float64   `json:"elongation_percent"`
}

// TestDemo runs the demo as a newcomer does and holds every figure of it
// against the truth of its rendered photos, then runs it again.
func TestDemo(t *testing.T) {
	data, err := os.ReadFile("../../../../samples/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Images []rendered `json:"images"`
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(t.TempDir(), "demo")
	status, stdout, stderr := run(t, t.Context(), "demo", folder)
	if status != statusOK || strings.Contains(stdout+stderr, "\x1b") {
		t.Fatalf("status %d\n%s%s", status, stdout, stderr)
	}
	for _, want := range []string{"$ pinlash batch", "Forecast:", "joints and spans agree", "rendered pictures of invented chains", "report.html"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("the demo does not print %q:\n%s", want, stdout)
		}
	}
	page, err := os.ReadFile(filepath.Join(folder, "report.html"))
	if err != nil || len(page) < 500_000 {
		t.Errorf("a report of %d bytes: %v", len(page), err)
	}
	lines, err := readResults(filepath.Join(folder, "results.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	held, figures, refused := 0, 0, 0
	for _, l := range lines {
		if l.Record == nil {
			continue
		}
		path := l.Record.Photo.Path
		if l.Record.Refused != nil {
			refused++
			if !samples.ToBeRefused(path) {
				t.Errorf("%s was refused: %s", path, l.Record.Refused.Message)
			}
			continue
		}
		i := slices.IndexFunc(truth.Images, func(r rendered) bool { return slices.Contains(r.Files, path) })
		if i < 0 {
			t.Errorf("nothing is told of %s", path)
			continue
		}
		for _, c := range truth.Images[i].held(*l.Record) {
			figures++
			if c.holds {
				held++
			} else {
				t.Logf("%s: %s", path, c.words)
			}
		}
	}
	// 95 % of them, less what chance may take (2.3 standard deviations).
	n := float64(figures)
	if figures < 100 || float64(held) < 0.95*n-2.3*math.Sqrt(0.95*0.05*n) {
		t.Errorf("%d of %d intervals hold the truth", held, figures)
	}
	if refused != 1 {
		t.Errorf("%d photos refused, want 1", refused)
	}
	if status, stdout, _ := run(t, t.Context(), "demo", folder); status != statusOK || !strings.Contains(stdout, "38 of them were there from before") {
		t.Errorf("the second time: status %d\n%s", status, stdout)
	}
}

type heldFigure struct {
	holds bool
	words string
}

// held holds the figures of a photo against its truth.
func (r rendered) held(got record.Record) []heldFigure {
	var out []heldFigure
	want := map[string]float64{}
	switch got.Kind {
	case record.Joint:
		want = map[string]float64{"pin_diameter": r.Pin, "bore_diameter": r.Bore, "clearance": r.Bore - r.Pin, "play": r.AlongPull}
	case record.Play:
		want = map[string]float64{"play": r.Play}
	case record.Span:
		want = map[string]float64{"elongation": r.Elongation}
		for i, p := range got.Pitches {
			if i < len(r.Pitches) {
				out = append(out, heldFigure{p.Length.Lower <= r.Pitches[i] && r.Pitches[i] <= p.Length.Upper, record.Say("pitch %s", p.Length).String()})
			}
		}
	case record.Ruler: // it has no truth of its own
	}
	for name, v := range want {
		q, _ := got.Figures().Find(name)
		out = append(out, heldFigure{q.Lower <= v && v <= q.Upper, record.Say(name+" %s", q).String()})
	}
	return out
}
