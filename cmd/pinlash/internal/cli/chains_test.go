package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// chainTruth is what is used of the truth of a rendered span or pair.
type chainTruth struct {
	ID         string
	Kind       string
	Files      []string
	Note       string
	MMPerPx    float64   `json:"mm_per_px"`
	Pitches    []float64 `json:"pitch_mm"`
	Links      []string  `json:"pitch_link_type"`
	Pitch      float64   `json:"nominal_pitch_mm"`
	Sum        float64   `json:"sum_of_pitches_mm"`
	Elongation float64   `json:"elongation_percent_all"`
	RuleZ      float64   `json:"rule_plane_z_mm"`
	HeadZ      float64   `json:"pin_head_rim_plane_z_mm"`
	Play       float64   `json:"play_mm"`
	Swing      float64   `json:"inner_link_swing_deg"`
	Camera     struct {
		Distance float64 `json:"distance_mm"`
	}
	Scale struct {
		Division float64 `json:"division_mm"`
	}
}

const chainFolder = "../../../../testdata/chains"

func chainTruths(t *testing.T, kind string) []chainTruth {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(chainFolder, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all struct{ Images []chainTruth }
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	var out []chainTruth
	for _, c := range all.Images {
		if c.Kind == kind {
			out = append(out, c)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no %s in the truth", kind)
	}
	return out
}

// chainLine is a printed line of a span or a pair, as far as the tests look.
type chainLine struct {
	line
	Pitches []struct {
		Link   string
		Length struct{ Value, Lower, Upper float64 }
	}
	Distinct bool `json:"distinct_from_zero"`
}

func measuredChain(t *testing.T, args ...string) (chainLine, int) {
	t.Helper()
	var out, errs bytes.Buffer
	status := Main(context.Background(), args, Streams{Out: &out, Err: &errs})
	var l chainLine
	if err := json.Unmarshal(out.Bytes(), &l); err != nil {
		t.Fatalf("%q: status %d, %v, printed %q and %q", args, status, err, out.String(), errs.String())
	}
	return l, status
}

// TestTracedSpans holds spans ray-traced with POV-Ray against their truth: the
// span to 0.06 px times the root of its pitches and at most 0.25 px, proud
// heads and those with oil on every other rim to 0.25 px, the elongation to 0.03 percentage points, every link's kind,
// and the truth inside the interval in nine of ten figures.
func TestTracedSpans(t *testing.T) {
	inside, figures := 0, 0
	hold := func(lower, want, upper float64) {
		figures++
		if lower <= want && want <= upper {
			inside++
		}
	}
	for _, c := range chainTruths(t, "span") {
		args := []string{"span", "--json", "--division", "1", "--pitch", fmt.Sprint(c.Pitch), "--same-plane"}
		if c.RuleZ < -1 {
			args = append(args[:6], "--plane-offset", fmt.Sprintf("%gmm", c.HeadZ-c.RuleZ), "--working-distance", fmt.Sprintf("%gmm", c.Camera.Distance-c.RuleZ))
		}
		l, status := measuredChain(t, append(args, filepath.Join(chainFolder, c.Files[0]))...)
		if c.ID == "R02" {
			if status != statusRefused || l.Refused.Code != "too_few_edges" {
				t.Errorf("%s: status %d, %+v, want it refused", c.ID, status, l.Refused)
			}
			continue
		}
		if status != statusOK {
			t.Errorf("%s: status %d, refused %+v", c.ID, status, l.Refused)
			continue
		}
		span, elongation := l.Results["span"], l.Results["elongation"]
		tol := min(0.06*math.Sqrt(float64(len(c.Pitches))), 0.25)
		if strings.HasPrefix(c.ID, "R") || strings.HasPrefix(c.ID, "E") {
			tol = 0.25
		}
		if off := (span.Value - c.Sum) / c.MMPerPx; math.Abs(off) > tol {
			t.Errorf("%s (%s): span off by %.3f px, at most %.3f", c.ID, c.Note, off, tol)
		}
		if off := elongation.Value - c.Elongation; math.Abs(off) > 0.03 {
			t.Errorf("%s (%s): elongation off by %.4f points, at most 0.03", c.ID, c.Note, off)
		}
		hold(span.Lower, c.Sum, span.Upper)
		hold(elongation.Lower, c.Elongation, elongation.Upper)
		if len(l.Pitches) != len(c.Pitches) {
			t.Errorf("%s: %d pitches, want %d", c.ID, len(l.Pitches), len(c.Pitches))
			continue
		}
		for i, p := range l.Pitches {
			hold(p.Length.Lower, c.Pitches[i], p.Length.Upper)
			if p.Link != "unknown" && p.Link != c.Links[i] {
				t.Errorf("%s: link %d is %s, want %s", c.ID, i, p.Link, c.Links[i])
			}
		}
	}
	if 10*inside < 9*figures {
		t.Errorf("the truth lies in %d of %d intervals, want nine of ten", inside, figures)
	}
	t.Logf("the truth lies in %d of %d intervals", inside, figures)
}

// TestTracedPairs holds pairs rendered with POV-Ray against their truth: the
// play to 0.1 px, with a swing, a turned chain or 12 µm a pixel to 0.2 px, and
// inside its interval; no play is not told from zero.
func TestTracedPairs(t *testing.T) {
	for _, c := range chainTruths(t, "pair") {
		l, status := measuredChain(t, "play", "--json", "--division", fmt.Sprint(c.Scale.Division),
			"--plane-offset=-1.3mm", "--working-distance", "160mm",
			filepath.Join(chainFolder, c.Files[0]), filepath.Join(chainFolder, c.Files[1]))
		if status != statusOK {
			t.Errorf("%s: status %d, refused %+v", c.ID, status, l.Refused)
			continue
		}
		tol := 0.1
		if c.Swing != 0 || c.MMPerPx > 0.01 || strings.Contains(c.Note, "25 deg") {
			tol = 0.2
		}
		play := l.Results["play"]
		if off := (play.Value - c.Play) / c.MMPerPx; math.Abs(off) > tol {
			t.Errorf("%s (%s): play off by %.3f px, at most %.2f", c.ID, c.Note, off, tol)
		}
		if play.Lower > c.Play || c.Play > play.Upper {
			t.Errorf("%s (%s): play %.4f to %.4f mm does not hold %.4f", c.ID, c.Note, play.Lower, play.Upper, c.Play)
		}
		if l.Distinct != (c.Play > 0) {
			t.Errorf("%s (%s): distinct from zero %v", c.ID, c.Note, l.Distinct)
		}
	}
}
