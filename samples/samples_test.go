package samples

import (
	"bytes"
	"encoding/json"
	"image/jpeg"
	"io/fs"
	"math"
	"os"
	"path"
	"strings"
	"testing"
)

// shown is what truth.json says of one sample: a photo, the two photos of a
// joint from the side, or a clip.
type shown struct {
	Files  []string `json:"files"`
	Kind   string   `json:"kind"`
	Expect string   `json:"expect"`
	Size   [2]int   `json:"size_px"`

	Pin       float64 `json:"pin_diameter_mm"`
	Bore      float64 `json:"bore_diameter_mm"`
	Worn      float64 `json:"one_sided_wear_mm"`
	AlongPull float64 `json:"play_along_pull_mm"`

	Play       float64 `json:"play_mm"`
	LinkHeight float64 `json:"inner_link_plane_z_mm"`
	FromLens   float64 `json:"working_distance_mm"`

	Pitches    []float64 `json:"pitch_mm"`
	Nominal    float64   `json:"nominal_pitch_mm"`
	Elongation float64   `json:"elongation_percent"`

	Scale struct {
		Division float64 `json:"division_mm"`
	} `json:"scale"`
}

func truth(t *testing.T) []shown {
	t.Helper()
	data, err := os.ReadFile("truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Images []shown `json:"images"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Images
}

// mostBytes is what the samples may add to the program.
const mostBytes = 7 << 20

// Every photo and clip has its truth, and nothing is told of a file that is
// not there.
func TestTruthIsComplete(t *testing.T) {
	told := map[string]bool{}
	for _, s := range truth(t) {
		for _, file := range s.Files {
			if told[file] {
				t.Errorf("%s: told twice", file)
			}
			told[file] = true
		}
	}
	size := 0
	err := fs.WalkDir(Files, Folder, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := Files.ReadFile(name)
		size += len(data)
		if path.Ext(name) == ".toml" {
			return err
		}
		file := strings.TrimPrefix(name, Folder+"/")
		if !told[file] {
			t.Errorf("%s: truth.json does not tell of it", file)
		}
		delete(told, file)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for file := range told {
		t.Errorf("%s: told of and not there", file)
	}
	if size > mostBytes {
		t.Errorf("the samples have %d bytes, more than %d", size, mostBytes)
	}
}

func TestTruthAgreesWithItself(t *testing.T) {
	near := func(a, b, within float64) bool { return math.Abs(a-b) <= within }
	for _, s := range truth(t) {
		name := strings.Join(s.Files, ", ")
		for _, file := range s.Files {
			if path.Ext(file) != ".jpg" {
				continue
			}
			data, err := Files.ReadFile(path.Join(Folder, file))
			if err != nil {
				t.Error(err)
				continue
			}
			if c, err := jpeg.DecodeConfig(bytes.NewReader(data)); err != nil || [2]int{c.Width, c.Height} != s.Size {
				t.Errorf("%s: %dx%d (%v), told %v", file, c.Width, c.Height, err, s.Size)
			}
		}
		switch s.Kind {
		case "scale":
			if s.Scale.Division <= 0 {
				t.Errorf("%s: no division told", name)
			}
		case "joint":
			if s.Pin <= 0 || !near(s.AlongPull, s.Bore-s.Pin+s.Worn, 1e-5) {
				t.Errorf("%s: play %g, clearance %g, worn %g", name, s.AlongPull, s.Bore-s.Pin, s.Worn)
			}
		case "pair", "clip":
			if s.Play <= 0 || s.LinkHeight >= 0 || s.FromLens <= 0 {
				t.Errorf("%s: play %g, link at %g, lens at %g", name, s.Play, s.LinkHeight, s.FromLens)
			}
		case "span":
			sum := 0.0
			for _, p := range s.Pitches {
				sum += p
			}
			if n := float64(len(s.Pitches)); n == 0 || !near(s.Elongation, 100*(sum/n/s.Nominal-1), 0.001) {
				t.Errorf("%s: %g %% told of pitches %v", name, s.Elongation, s.Pitches)
			}
		default:
			t.Errorf("%s: unknown kind %q", name, s.Kind)
		}
	}
}
