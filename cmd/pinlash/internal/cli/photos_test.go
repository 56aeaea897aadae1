package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// truthFile is what is used of the truth.json beside rendered photos.
type truthFile struct {
	Images []photoTruth `json:"images"`
}

type photoTruth struct {
	Kind      string   `json:"kind"`
	Files     []string `json:"files"`
	Note      string   `json:"note"`
	Expect    string   `json:"expect"`
	AsKind    string   `json:"as_kind"`
	MMPerPx   float64  `json:"mm_per_px"`
	Bore      float64  `json:"bore_diameter_mm"`
	Pin       float64  `json:"pin_diameter_mm"`
	Clearance float64  `json:"clearance_diametral_mm"`
	Offset    float64  `json:"eccentricity_mm"`
	Play      float64  `json:"play_along_pull_mm"`
	Proud     float64  `json:"pin_proud_mm"`
	Chamfer   float64  `json:"pin_chamfer_mm"`
	EdgeBreak float64  `json:"bore_edge_break_mm"`
	WearBore  float64  `json:"wear_depth_bore_mm"`
	WearPin   float64  `json:"wear_depth_pin_mm"`
	Wear      *struct {
		Where string  `json:"where"`
		Depth float64 `json:"depth_mm"`
	} `json:"wear"`
	Scale struct {
		Division float64 `json:"division_mm"`
	} `json:"scale"`
	Scales []struct {
		Division float64 `json:"division_mm"`
	} `json:"scales"`
}

func (p photoTruth) division() float64 {
	if p.Scale.Division > 0 {
		return p.Scale.Division
	}
	if len(p.Scales) > 0 {
		return p.Scales[0].Division
	}
	return 0.5
}

func readTruth(t *testing.T, folder string) []photoTruth {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(folder, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var f truthFile
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(err)
	}
	return f.Images
}

// line is a printed line of JSON, as far as the tests look.
type line struct {
	Results map[string]struct {
		Value, U, Lower, Upper float64
	}
	Refused *struct{ Code, Message, Remedy string }
	Notes   []string
}

// measured runs `pinlash joint --json` on one photo.
func measured(t *testing.T, photo string, division float64) (line, int) {
	t.Helper()
	var out, errs bytes.Buffer
	status := Main(context.Background(), []string{"joint", "--json", "--division", strconv.FormatFloat(division, 'g', -1, 64), photo}, Streams{Out: &out, Err: &errs})
	var l line
	if err := json.Unmarshal(out.Bytes(), &l); err != nil {
		t.Fatalf("%s: status %d, %v, printed %q and %q", photo, status, err, out.String(), errs.String())
	}
	return l, status
}

// TestTaughtPhotos holds harsh photos on which a version of the program went
// wrong against their truth: each is refused, or all of its figures lie within
// twice their intervals.
func TestTaughtPhotos(t *testing.T) {
	const folder = "../../../../testdata/rendered/harsh/taught"
	refused := 0
	for _, p := range readTruth(t, folder) {
		l, status := measured(t, filepath.Join(folder, p.Files[0]), p.division())
		if l.Refused != nil {
			refused++
			continue
		}
		if status != 0 {
			t.Errorf("%s: status %d", p.Files[0], status)
		}
		for name, want := range map[string]float64{
			"bore_diameter": p.Bore, "pin_diameter": p.Pin, "clearance": p.Clearance, "play": p.Play, "offset": p.Offset,
			"wear_depth_bore": p.WearBore, "wear_depth_pin": p.WearPin, "roundness_bore": p.WearBore, "roundness_pin": p.WearPin,
		} {
			q, ok := l.Results[name]
			if !ok {
				t.Errorf("%s: no %s", p.Files[0], name)
			}
			if off := math.Abs(q.Value - want); off > 2*max(q.Upper-q.Value, q.Value-q.Lower) {
				t.Errorf("%s: %s %.4f (%.4f to %.4f) mm, true %.4f", p.Files[0], name, q.Value, q.Lower, q.Upper, want)
			}
		}
	}
	if n := len(readTruth(t, folder)); 2*refused > n {
		t.Errorf("%d of %d photos refused", refused, n)
	}
}

// TestRenderedJoints holds the figures of every rendered joint against its
// truth: clearance to 0.15 px and diameters to 0.25 px, with one-sided wear to
// 0.4 px, with a proud or chamfered pin or a broken edge to 1.5 px; intervals no
// wider than eight times that; and nine of ten intervals must hold the truth.
func TestRenderedJoints(t *testing.T) {
	figures, inside := 0, 0
	for _, folder := range []string{"../../../../testdata/photos", "../../../../testdata/rendered", "../../../../testdata/rendered/hard"} {
		for _, p := range readTruth(t, folder) {
			if p.Kind != "bore" {
				continue
			}
			l, status := measured(t, filepath.Join(folder, p.Files[0]), p.division())
			if status != 0 || l.Refused != nil {
				t.Errorf("%s: status %d, refused %+v", p.Files[0], status, l.Refused)
				continue
			}
			clearance, diameter := 0.15, 0.25
			wear := map[string]float64{}
			if p.Wear != nil {
				clearance, diameter = 0.4, 0.4
				wear[p.Wear.Where] = p.Wear.Depth
			}
			// A bore whose wall is lit looks like one whose edge is broken.
			hard := p.Proud > 0 || p.Chamfer > 0 || p.EdgeBreak > 0 || strings.Contains(p.Note, "bore wall")
			if hard {
				clearance, diameter = 1.5, 1.5
				if len(l.Notes) == 0 {
					t.Errorf("%s: no note says that the visible rim is not the bearing diameter", p.Files[0])
				}
			}
			for _, f := range []struct {
				name       string
				want, tol  float64
				boundWidth bool
			}{
				{"bore_diameter", p.Bore, diameter, true},
				{"pin_diameter", p.Pin, diameter, true},
				{"clearance", p.Clearance, clearance, true},
				{"play", p.Play, max(clearance, 0.25), true},
				{"offset", p.Offset, diameter, true},
				{"wear_depth_bore", wear["bore"], max(clearance, 0.4), false},
				{"wear_depth_pin", wear["pin"], max(clearance, 0.4), false},
			} {
				got, ok := l.Results[f.name]
				if !ok {
					t.Errorf("%s: no %s", p.Files[0], f.name)
					continue
				}
				off := (got.Value - f.want) / p.MMPerPx
				// A broken or chamfered edge in the shade can pass for wear; the
				// interval says so.
				passes := hard && strings.HasPrefix(f.name, "wear_depth")
				if math.Abs(off) > f.tol && !passes {
					t.Errorf("%s: %s %.4f mm, want %.4f: off by %.3f px, at most %.2f px", p.Files[0], f.name, got.Value, f.want, off, f.tol)
				}
				if w := (got.Upper - got.Lower) / p.MMPerPx; f.boundWidth && w > 8*f.tol {
					t.Errorf("%s: %s interval %.2f px wide, at most %.2f px", p.Files[0], f.name, w, 8*f.tol)
				}
				figures++
				if got.Lower <= f.want && f.want <= got.Upper {
					inside++
				} else {
					t.Logf("%s: %s off by %.3f px lies outside its interval", p.Files[0], f.name, off)
				}
			}
		}
	}
	if 10*inside < 9*figures {
		t.Errorf("the truth lies in %d of %d intervals, want nine of ten", inside, figures)
	}
	t.Logf("the truth lies in %d of %d intervals", inside, figures)
}

// TestRefusedPhotos runs the rendered photos that must be refused.
func TestRefusedPhotos(t *testing.T) {
	for _, tt := range []struct {
		folder, photo string
		division      float64
		want          string
	}{
		{"photos", "bad_D01_no_scale.jpg", 0.1, "no_scale"},
		{"photos", "bad_D05_overexposed.jpg", 0.1, "overexposed"},
		{"photos", "bad_D11_two_scales_conflict.jpg", 1, "scales_disagree"},
		{"photos", "pair_B01b.jpg", 0.5, "not_found"}, // a riveted head is no pin in a bush
		{"photos", "pair_B03a.jpg", 0.5, "not_found"},
		{"photos", "span_C02.jpg", 1, "not_found"},
		{"rendered", "q01_motion.jpg", 0.1, "blurred"},
		{"rendered", "q02_defocus.jpg", 0.5, "blurred"},
		{"rendered", "q03_dark.jpg", 0.1, "too_dark"},
		{"rendered", "q04_no_joint.jpg", 0.5, "not_found"},
		{"rendered", "q06_motion_tick.jpg", 0.5, "blurred"},
		{"rendered", "q07_motion_aslant.jpg", 0.5, "blurred"},
		{"rendered", "q08_motion_short.jpg", 0.5, "blurred"},
	} {
		l, status := measured(t, filepath.Join("../../../../testdata", tt.folder, tt.photo), tt.division)
		if status != 3 || l.Refused == nil {
			t.Errorf("%s: status %d, not refused", tt.photo, status)
			continue
		}
		if l.Refused.Code != tt.want || l.Refused.Message == "" || l.Refused.Remedy == "" {
			t.Errorf("%s: refused with %+v, want %s", tt.photo, *l.Refused, tt.want)
		}
	}
}

// A bore cut off by the frame still shows enough of its rim.
func TestCutOffBore(t *testing.T) {
	l, status := measured(t, "../../../../testdata/rendered/q05_cut_off.jpg", 0.1)
	if status != 0 {
		t.Fatalf("status %d, refused %+v", status, l.Refused)
	}
	for name, want := range map[string]float64{"bore_diameter": 3.6, "pin_diameter": 3.48, "clearance": 0.12} {
		if q := l.Results[name]; q.Lower > want || want > q.Upper {
			t.Errorf("%s %+v does not hold %.3f", name, q, want)
		}
	}
}
