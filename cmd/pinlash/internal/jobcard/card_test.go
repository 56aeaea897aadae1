package jobcard

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"
)

func TestCardErrorsNameThePlace(t *testing.T) {
	for _, c := range []struct {
		text         string
		line, column int
		message      string
	}{
		{"chian = 'left'", 1, 1, `unknown key "chian"`},
		{"\n[scale]\n  breadth = '1mm'\n  colour = 1", 3, 3, `unknown key "scale.breadth"; line 4: unknown key "scale.colour"`},
		{"percent = 3", 1, 1, `unknown key "percent"`},
		{"km = { value = 3 }", 1, 8, "unknown key"},
		{"[scale.division]\nmm = 3", 2, 1, "unknown key"},
		{"[[joint]]\nfiles = ['a.jpg']\nclip = 'a.avi'", 3, 1, `unknown key "joint.clip"`},
		{"chain = 'left", 1, 13, "unterminated"},
		{"chain = 'a'\nchain = 'b'", 2, 1, "already defined"},
		{"[scale]\ndivision = '1 furlong'", 2, 12, "furlong"},
		{"[scale]\ndivision = '-1mm'", 2, 12, "not above zero"},
		{"[scale]\ndivision = 0", 2, 0, "not above zero"},
		{"[scale]\ngauge = nan", 2, 0, `length "nan"`},
		{"[scale]\ntemperature = nan", 2, 0, "not a usable number"},
		{"km = inf", 1, 0, "not a usable number"},
		{"km = 1e300", 1, 0, "not a usable number"},
		{"km = -1", 1, 0, "below zero"},
		{"[new_chain]\npitches = 0", 2, 0, "at least 1"},
		{"[new_chain]\npitches = 1.5", 2, 0, "not a usable whole number"},
		{"[new_chain]\nplay = '-1um'", 2, 8, "below zero"},
		{"[limit]\n\npercent = 200", 3, 0, "200 %"},
		{"limit = 3", 1, 9, `"limit" does not take this kind of value (integer)`},
		{"[scale]\npoints = '1,2,3'", 2, 10, "x1,y1,x2,y2"},
		{"[scale]\npoints = '1,2,1,2'", 2, 10, "are one"},
		{"[scale]\npoints = '1,2,3,inf'", 2, 10, "in pixels"},
		{"[[play]]\nmoving = '1,2,3,0'", 2, 10, "is empty"},
		{"[[play]]\nmoving = '1,2,3.5,4'", 2, 10, "whole pixels"},
		{"[[joint]]\nfiles = 'a.jpg'", 2, 9, `it wants a list, like ["a*.jpg"]`},
		{"[[joint]]\nfiles = ['../a.jpg']", 2, 10, "outside the card's folder"},
		{"[[joint]]\nfiles = ['/a.jpg']", 2, 10, "from the card's folder on"},
		{"[[joint]]\nfiles = ['**/a.jpg']", 2, 10, "is not understood"},
		{"[[joint]]\nfiles = ['[a.jpg']", 2, 10, "is not understood"},
		{"[[joint]]\nfiles = ['']", 2, 10, "the name of a photo"},
		{"\n[[joint]]\njoint = 1", 2, 0, "[[joint]] number 1: names no files"},
		{"[[play]]\ntogether = ['a.jpg']", 1, 0, "both states"},
		{"[[play]]\ntogether = ['a.jpg']\napart = ['b.jpg']\nclip = 'c.avi'", 1, 0, "instead of"},
		{"[scale]\ndivision = 1\ngauge = 5", 0, 0, "only one of division, gauge"},
		{"[scale]\nfile = '../x.scale'", 0, 0, "has to lie in the folder"},
		{"[scale]\nfile = '/x.scale'", 0, 0, "has to lie in the folder"},
		{"[[scale_photo]]\nfiles = ['m.jpg']\nsave = 'm.jpg'", 1, 0, "to end in .scale"},
		{"[[joint]]\nfiles = ['a.jpg']\n\n[[joint]]\nfiles = ['b.jpg']\nscale = { points = '1,2,3,4', file = 'x.scale' }", 4, 0, "[[joint]] number 2: scale: give only one of file, points"},
		{"[new_chain]\ntype = '06B'\npitch = 9.525", 0, 0, "only one of type, pitch"},
		{"chain = 'x\xff'", 1, 11, "UTF-8"},
		{strings.Repeat("#", mostCardBytes+1), 0, 0, "longer than"},
		{strings.Repeat("#", 10<<10) + "\nx = 1", 2, 1, "unknown key"},
	} {
		_, err := Read(folder(t, CardName+"\n"+c.text))
		var fault *FileError
		if !errors.As(err, &fault) {
			t.Errorf("%.80q: error %v, want a FileError", c.text, err)
			continue
		}
		if fault.Path != CardName || fault.Line != c.line || fault.Column != c.column || !strings.Contains(fault.Message, c.message) {
			t.Errorf("%.80q: %v\nwant line %d, column %d: ...%s", c.text, err, c.line, c.column, c.message)
		}
	}
}

func TestWhatLacksOrCollidesAcrossCards(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"[scale]\npoints = '1,2,3,4'", CardName + ": scale: points and distance"},
		{"[scale]\ndistance = 1", CardName + ": scale: points and distance"},
		{"[scale]\nplane_offset = 1", CardName + ": scale: plane_offset and working_distance"},
		{"[scale]\ndivision_tolerance = 1", CardName + ": scale: division_tolerance needs division"},
		{"[scale]\nfile = 'x.scale'\ntemperature = 3", CardName + ": scale: temperature is"},
		{"[[joint]]\nfiles = ['joint-1.jpg']\nscale.file = 'x.scale'\nscale.same_plane = true", CardName + ": line 1: [[joint]] number 1: scale: same_plane is"},
		{"[[scale_photo]]\nfiles = ['*.jpg']\nsave = 'x.scale'", CardName + ": line 1: [[scale_photo]] number 1: save keeps the scale of one photo, and 2"},
		{"[[scale_photo]]\nfiles = ['joint-1.jpg']\nsave = 'x.scale'\n[[scale_photo]]\nfiles = ['joint-2.jpg']\nsave = 'x.scale'", `both "joint-1.jpg" and "joint-2.jpg"`},
	} {
		s, err := Read(folder(t, CardName+"\n"+c.text, "joint-1.jpg", "joint-2.jpg"))
		var fault *FileError
		if !errors.As(err, &fault) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one ...%s", c.text, err, c.want)
		}
		if len(s.Tasks) > 0 {
			t.Errorf("%q: tasks beside an error", c.text)
		}
	}
	// A card without photos of its own need not be whole.
	read(t, CardName+"\n[scale]\nplane_offset = 1", "a/"+CardName+"\n[scale]\nworking_distance = 100", "a/joint-1.jpg")
}

func TestAllBadCardsAreNamed(t *testing.T) {
	_, err := Read(folder(t, CardName+"\nx = 1", "a/"+CardName+"\ny = 1", "a/joint-1.jpg"))
	if err == nil || !strings.Contains(err.Error(), `"x"`) || !strings.Contains(err.Error(), `"y"`) {
		t.Errorf("error %v, want both cards in it", err)
	}
}

func TestExcerpt(t *testing.T) {
	_, err := Read(folder(t, CardName+"\nchain = 'left'\n[scale]\ndivision = 'wide'"))
	var fault *FileError
	if !errors.As(err, &fault) || !strings.Contains(fault.Excerpt, "3| division = 'wide'") {
		t.Errorf("error %#v", err)
	}
}

// TestDrive checks that the tables for the elongation model stand where they
// stood, and nothing else does.
func TestDrive(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"chain = 'left'\n", ""},
		{"[[joint]]\nfiles = ['a.jpg']", ""},
		{"chain = 'left' # x\n[limit] # y\npercent = 1\n[scale]\ndivision = 1\n", "                  \n[limit] # y\npercent = 1\n       \n            \n"},
		{"limit.percent = 1\nkm = 3\n", "limit.percent = 1\n      \n"},
		{"km = 3\r\nlimit = { percent = 1 }\r\n", "      \r\nlimit = { percent = 1 }\r\n"},
		{
			"oil = \"\"\"\n[limit]\n\"\"\"\n[drive.tensioner]\nlever = 2\n[[drive.wheel]]\nname = '''\n[x]\n'''\n[[joint]]\nfiles = [\n  'a.jpg',\n]\n[forecast]\n  unit = 'km'",
			"         \n       \n   \n[drive.tensioner]\nlever = 2\n[[drive.wheel]]\nname = '''\n[x]\n'''\n         \n         \n          \n \n[forecast]\n  unit = 'km'",
		},
		{"  [drive]\n", "  [drive]\n"},
	} {
		card, err := decode([]byte(c.text))
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if d := cmp.Diff(c.want, string(card.stated)); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.text, d)
		}
	}
}

// FuzzCard reads cards of any bytes beside photos: either the error says where
// it lies, or every photo is measured or spoken of, and the tables that are
// handed on are those of the card.
func FuzzCard(f *testing.F) {
	for _, text := range []string{
		"", "chain = 'left'\nkm = 12_000\n[scale]\ndivision = '0.1mm'\n[limit]\npercent = 1.5\n[[drive.wheel]]\nteeth = 21",
		"[[joint]]\njoint = 7\nfiles = ['a*.jpg', 'left/*.jpg']\nscale = { file = 'x.scale' }",
		"[[play]]\ntogether = ['joint-1.jpg']\napart = ['*/joint-2.jpg']\n[[play]]\nclip = 'rock.avi'",
		"[[scale_photo]]\nfiles = ['a1.jpg']\nsave = 'x.scale'\n[[span]]\nfiles = ['?1.jpg', '[!b]2.jpg']",
		"[scale]\npoints = '1,2,3,4'\ndistance = '1/64 in'", "km = nan", "limit.percent = 1e400", "x = \xff", "[[joint]]\nfiles = ['\\u0000']",
		"[drive]\na = \"\"\"\n[b]\n\"\"\"\n[new_chain]\ntype = 1", "joint = [{files = ['a1.jpg']}]", "LIMIT = {percent = 1}\n[Drive]", "inspection = '12.000km'",
	} {
		f.Add([]byte(text))
	}
	files := []string{"a1.jpg", "a2.jpg", "joint-1.jpg", "left/joint-2.jpg", "left/odd.raw", "rock.avi", "rev/left/12000km/pin-1b.png"}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := decode(text)
		if err == nil {
			err = c.settle(CardName)
		}
		var s Study
		if err == nil {
			s, err = arrange(tree{files: files}, []card{c})
		}
		if err != nil {
			var fault *FileError
			if !errors.As(err, &fault) || fault.Message == "" {
				t.Fatalf("error %#v is no FileError", err)
			}
			if fault.Line > 1+bytes.Count(text, []byte("\n")) {
				t.Fatalf("%v: the card has not so many lines", err)
			}
			return
		}
		seen := map[string]int{}
		for _, task := range s.Tasks {
			for _, name := range taskFiles(task) {
				seen[name]++
			}
			for _, v := range []float64{task.Levels.DistanceKM, task.Levels.Hours, float64(task.Settings.Division), task.Settings.Limit} {
				if !(v >= 0 && v <= mostTyped) {
					t.Fatalf("%g in %+v", v, task)
				}
			}
			if strings.HasPrefix(task.Settings.ScaleFile, "..") || strings.HasPrefix(task.SaveScale, "..") {
				t.Fatalf("scale outside the folder: %+v", task)
			}
		}
		for _, p := range s.Problems {
			seen[p.Path] += 1
		}
		for _, name := range files {
			if seen[name] == 0 {
				t.Fatalf("%s was lost: %+v", name, s)
			}
		}
		if err := sameTables(text, s.Cards[0].Drive); err != nil {
			t.Fatal(err)
		}
	})
}

func taskFiles(t Task) []string {
	out := append(append(append([]string{}, t.Photos...), t.Together...), t.Apart...)
	if t.Clip != "" {
		out = append(out, t.Clip)
	}
	return out
}

// sameTables holds what is handed on against the card.
func sameTables(text, stated []byte) error {
	type tables struct{ Drive, Limit, Forecast map[string]any }
	var whole, part tables
	var rest map[string]any
	if err := toml.Unmarshal(text, &whole); err != nil {
		return err
	}
	if err := toml.Unmarshal(stated, &part); err != nil {
		return fmt.Errorf("what is handed on cannot be read: %w\n%s", err, stated)
	}
	if fmt.Sprint(whole) != fmt.Sprint(part) { // as text, since NaN is not NaN
		return fmt.Errorf("the card has %v, %v was handed on", whole, part)
	}
	if err := toml.Unmarshal(stated, &rest); err != nil {
		return err
	}
	for key := range rest {
		switch strings.ToLower(key) {
		case "drive", "limit", "forecast":
		default:
			return fmt.Errorf("%q was handed on", key)
		}
	}
	return nil
}
