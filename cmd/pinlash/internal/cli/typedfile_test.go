package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
)

func TestDecodeTyped(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", ""},
		{"[span]\npins = 15\noutside = [136.9, \"136900um\", 1_36.9]\n", ""},
		{"[span]\npinns = 15\nouter = 3", `line 2: unknown key "span.pinns"; line 3: unknown key "span.outer"`},
		{"[span\n", "line 1, column 6: "},
		{"\n[span]\noutside = 136.9", `line 3, column 11: "span.outside" does not take this kind of value (integer); it wants a list`},
		{"[span]\npins = 1.5", `line 2`},
		{"[span]\npins = 0", "line 2: must be at least 1"},
		{"[span]\npins = -3", "line 2: must be at least 1"},
		{"[chain]\nname = '06B'\n[span]\noutside = [136.9,\n nan]\npins = 15", `line 5: length "nan" has no number`},
		{"[span]\npull = inf", "line 2: "},
		{"[span]\nu = 'far'", "line 2, column 5: "},
		{"[span]\nover = 'teeth'", `line 2, column 8: want one of pins, rollers, got "teeth"`},
		{"[[drive.wheel]]\nkind = 'cam'\n[[drive.wheel]]\nkind = 'fan'", "line 4, column 8: want one of driver, cam, idler"},
		{"[[drive.wheel]]\nteeth = 99999999999999999999", "line 2"},
		{"[span]\npins = 3\npins = 4", "line 3"},
		{"# " + strings.Repeat("x", mostTypedBytes), "longer than"},
	} {
		_, err := decodeTyped(strings.NewReader(c.text))
		got := ""
		if err != nil {
			got = err.Error()
		}
		if c.want == "" && err != nil || !strings.HasPrefix(got, strings.Replace(c.want, "(integer)", "(float)", 1)) {
			t.Errorf("%.60q: %q, want %q", c.text, got, c.want)
		}
	}
}

// FuzzTyped reads any text as a file of readings. It is refused with an error,
// or goes through the model to an error or to a line that keeps the schema.
func FuzzTyped(f *testing.F) {
	files, err := filepath.Glob("testdata/stretch/*.toml")
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	for _, seed := range []string{
		"[span]\nlinks = 7\ngrown = [0.78]\n[chain]\npitches = 52",
		"[chain]\nname = '06B'\n[span]\npins = 16\nlength = [147.5]\ntemperature = 60\npull = 1e9",
		"[chain]\npitch = 1e-9\n[span]\npitches = 100000\nedges = [1e6, 1]\nu = 1e6\n[limit]\nlongest = 1e-9",
		"[chain]\nname='05B'\n[joints]\nplays=[0.1,0.1]\nu=0\nnew_play=0.05\n[forecast]\nunit='h'\nnow=3\ninspection=[{at=1,elongation=1},{at=2,elongation=2}]",
		"[chain]\npitch=8\npitches=90\n[span]\nlinks=8\ngrown=[0.1]\n[[drive.wheel]]\nname=\"\\u001b[2J\"\nkind='driver'\nteeth=19\nto_next=9\n[forecast]\nunit=\"\\u001b\"",
		"[[maker]]\nwhat='wheel'\nread=[96.2,96.25]\nleast=96.2\n[[maker]]\nwhat='slack'\nread=[3]\nu=0.5\nmost=3.175",
		worked + "force_u=50\nteeth=[19,38]\nspeed=10\nhours=20412\n[[maker]]\nwhat='slack'\nread=[1e-9]\nstep=0.05\nmost=1e-9",
		worked + "pin_diameter=1e-9\nteeth=[3]\ncircuits=1e9",
	} {
		f.Add([]byte(seed))
	}
	s := schema(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		readings, err := decodeTyped(bytes.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "line ") && !strings.HasPrefix(err.Error(), "longer ") || !printable(err.Error()) {
				t.Errorf("error without a line, or that acts on a terminal: %q", err)
			}
			return
		}
		result, err := readings.stretch()
		if err != nil {
			if err.Error() == "" || !printable(err.Error()) {
				t.Errorf("no words, or such that act on a terminal: %q", err)
			}
			return
		}
		result.Version, result.Source = Version, "-"
		line, err := json.Marshal(result)
		if err != nil {
			t.Fatal(err)
		}
		if err := validLine(s, string(line)); err != nil {
			t.Errorf("%v\n%s", err, line)
		}
		var table bytes.Buffer
		if err := record.WriteStretch(&table, result, record.Style{Explain: true}); err != nil {
			t.Fatal(err)
		}
		if !printable(table.String()) {
			t.Errorf("acts on a terminal: %q", table.String())
		}
	})
}

func TestTypedFileTooLong(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.toml")
	if err := os.WriteFile(path, bytes.Repeat([]byte("#\n"), mostTypedBytes), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := readTyped(path, nil)
	var at *typedFileError
	if !errors.As(err, &at) || at.Path != path || statusOf(err) != statusFile {
		t.Errorf("got %v, want a file error", err)
	}
}
