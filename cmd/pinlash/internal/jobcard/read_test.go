package jobcard

import (
	"errors"
	"fmt"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pinlash/calib"
)

// folder makes a folder of files. The text of a job card is its content, all
// others are empty.
func folder(t *testing.T, files ...string) string {
	t.Helper()
	top := t.TempDir()
	for _, f := range files {
		name, text := f, ""
		if i := strings.Index(f, CardName+"\n"); i >= 0 {
			name, text = f[:i+len(CardName)], f[i+len(CardName)+1:]
		}
		name = filepath.Join(top, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return top
}

func read(t *testing.T, files ...string) Study {
	t.Helper()
	s, err := Read(folder(t, files...))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func joint(photo string, l Levels) Task {
	return Task{Kind: Joint, Photos: []string{photo}, Levels: l}
}

// same compares tasks without their notes and settings.
func same(t *testing.T, got, want []Task) {
	t.Helper()
	var bare []Task
	for _, task := range got {
		task.Notes, task.Settings = nil, Settings{}
		bare = append(bare, task)
	}
	if d := cmp.Diff(want, bare); d != "" {
		t.Errorf("tasks (-want +got):\n%s", d)
	}
}

func wantProblems(t *testing.T, got []Problem, want ...Problem) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("got %d problems, want %d: %q", len(got), len(want), got)
		return
	}
	for i := range got {
		if got[i].Path != want[i].Path || !strings.Contains(got[i].Message, want[i].Message) {
			t.Errorf("problem %d: got %q, want %q", i, got[i], want[i])
		}
	}
}

func TestFoldersAreLevels(t *testing.T) {
	s := read(t,
		"joint-1.jpg",
		"left/joint-1.jpg",
		"rev-a/left/joint-1.jpg",
		"rev-a/left/first/joint-1.jpg",
		"rev-a/left/2026-05 12000km/joint-1.jpg",
		"left/350h/joint-1.jpg",
		"12000km/joint-1.jpg",
		"north/engine 7/rev-a/left/first/joint-1.jpg",
	)
	same(t, s.Tasks, []Task{
		joint("12000km/joint-1.jpg", Levels{Inspection: "12000km", Joint: "1", DistanceKM: 12000}),
		joint("joint-1.jpg", Levels{Joint: "1"}),
		joint("left/350h/joint-1.jpg", Levels{Chain: "left", Inspection: "350h", Joint: "1", Hours: 350}),
		joint("left/joint-1.jpg", Levels{Chain: "left", Joint: "1"}),
		joint("north/engine 7/rev-a/left/first/joint-1.jpg", Levels{Specimen: "north/engine 7", Revision: "rev-a", Chain: "left", Inspection: "first", Joint: "1"}),
		joint("rev-a/left/2026-05 12000km/joint-1.jpg", Levels{Revision: "rev-a", Chain: "left", Inspection: "2026-05 12000km", Joint: "1", DistanceKM: 12000}),
		joint("rev-a/left/first/joint-1.jpg", Levels{Revision: "rev-a", Chain: "left", Inspection: "first", Joint: "1"}),
		joint("rev-a/left/joint-1.jpg", Levels{Revision: "rev-a", Chain: "left", Joint: "1"}),
	})
	wantProblems(t, s.Problems)
}

func TestTopCardLeavesLevelsToFolders(t *testing.T) {
	s := read(t,
		"jobcard.toml\nrevision = 'B'",
		"left/joint-1.jpg",
		"left/second/joint-1.jpg",
	)
	same(t, s.Tasks, []Task{
		joint("left/joint-1.jpg", Levels{Revision: "B", Chain: "left", Joint: "1"}),
		joint("left/second/joint-1.jpg", Levels{Revision: "B", Chain: "left", Inspection: "second", Joint: "1"}),
	})
	s = read(t, "jobcard.toml\nchain = 'left'", "second/joint-1.jpg")
	same(t, s.Tasks, []Task{joint("second/joint-1.jpg", Levels{Chain: "left", Inspection: "second", Joint: "1"})})
	s = read(t, "jobcard.toml\ninspection = 'May'", "left/12000km/joint-1.jpg")
	same(t, s.Tasks, []Task{joint("left/12000km/joint-1.jpg", Levels{Chain: "left", Inspection: "May", Joint: "1"})})
	s = read(t, "jobcard.toml\nchain = 'left'\nspecimen = 'x'", "a/b/joint-1.jpg")
	same(t, s.Tasks, []Task{joint("a/b/joint-1.jpg", Levels{Specimen: "x", Chain: "left", Joint: "1"})})
	wantProblems(t, s.Problems, Problem{"a/b", "too deep"})
}

func TestCardWinsOverNamesAndInnerOverOuter(t *testing.T) {
	s := read(t,
		"jobcard.toml\nby = 'A'\noil = '5W-30'\n[scale]\ndivision = '0.1mm'\ntemperature = 25\n[new_chain]\ntype = '06B'\nplay = '0.05mm'\n[limit]\npercent = 1.5",
		"left/jobcard.toml\nchain = 'port'\nby = 'B'\n[scale]\ngauge = '5mm'",
		"left/12000km/joint-1.jpg",
		"left/jobs/jobcard.toml\nkm = 13000\ninspection = 3\n[new_chain]\npitch = '9.525mm'\n[limit]\npercent = 2",
		"left/jobs/joint-1.jpg",
	)
	same(t, s.Tasks, []Task{
		joint("left/12000km/joint-1.jpg", Levels{Chain: "port", Inspection: "12000km", Joint: "1", By: "B", Oil: "5W-30", DistanceKM: 12000}),
		joint("left/jobs/joint-1.jpg", Levels{Revision: "left", Chain: "port", Inspection: "3", Joint: "1", By: "B", Oil: "5W-30", DistanceKM: 13000}),
	})
	warm, play := 25.0, calib.Length(0.05)
	if d := cmp.Diff(Settings{Gauge: 5, Temperature: &warm, ChainName: "06B", NewPlay: &play, Limit: 1.5}, s.Tasks[0].Settings); d != "" {
		t.Errorf("settings (-want +got):\n%s", d)
	}
	if d := cmp.Diff(Settings{Gauge: 5, Temperature: &warm, Pitch: 9.525, Limit: 2}, s.Tasks[1].Settings); d != "" {
		t.Errorf("settings under another chain (-want +got):\n%s", d)
	}
	if len(s.Cards) != 3 || s.Cards[0].Path != "jobcard.toml" || s.Cards[1].Path != "left/jobcard.toml" {
		t.Errorf("cards %+v", s.Cards)
	}
}

func TestWhatReplacesWhat(t *testing.T) {
	yes, off := true, calib.Length(-1)
	for _, c := range []struct {
		name, outer, inner string
		want               Settings
	}{
		{"kept scale instead of rule", "division='1mm'\ndivision_tolerance='10um'\nsame_plane=true\ntemperature=30", "file='a.scale'", Settings{ScaleFile: "a.scale"}},
		{"both at once stay", "gauge='5mm'", "file='a.scale'\ndivision='1mm'", Settings{ScaleFile: "a.scale", Division: 1}},
		{"points instead of gauge", "gauge='5mm'", "points='1,2,3,4'\ndistance='10mm'", Settings{Points: "1,2,3,4", Distance: 10}},
		{"another rule has another tolerance", "division='1mm'\ndivision_tolerance='10um'", "division='2mm'", Settings{Division: 2}},
		{"a tolerance for the same rule", "division='1mm'", "division_tolerance='10um'", Settings{Division: 1, DivisionTolerance: 0.01}},
		{"level instead of heights", "gauge='5mm'\nplane_offset='-1mm'\nworking_distance='100mm'", "same_plane=true", Settings{Gauge: 5, SamePlane: &yes}},
		{"height instead of level", "gauge='5mm'\nsame_plane=true\nworking_distance='100mm'", "plane_offset='-1mm'", Settings{Gauge: 5, PlaneOffset: &off, WorkingDistance: 100}},
	} {
		s := read(t, "jobcard.toml\n[scale]\n"+c.outer, "a/jobcard.toml\n[scale]\n"+c.inner, "a/joint-1.jpg", "a/a.scale")
		c.want.ScaleFile = strings.Replace(c.want.ScaleFile, "a.scale", "a/a.scale", 1)
		if d := cmp.Diff(c.want, s.Tasks[0].Settings); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

func TestEntries(t *testing.T) {
	s := read(t, `jobcard.toml
chain = "left"
scale.division = "0.5mm"
[[joint]]
joint = 7
files = ["c.jpg", "a*.jpg"]
[[joint]]
files = ["joint-*.jpg", "IMG_9.jpg"]
[[play]]
joint = 8
together = ["t?.png"]
apart = ["p.png"]
moving = "1,2,30,40"
[[play]]
clip = "rock-9.avi"
[[span]]
files = ["sub/*.tif"]
inspection = "350h"
scale = { file = "x.scale" }
[[scale_photo]]
files = ["m.jpg"]
save = "x.scale"
scale = { division = "10um" }
`, "a1.jpg", "a10.jpg", "a2.jpg", "c.jpg", "joint-3b.jpg", "joint-3a.jpg", "joint-3.jpg", "IMG_9.jpg",
		"t1.png", "t2.png", "p.png", "rock-9.avi", "sub/span-1.tif", "m.jpg", "notes.txt")
	left := Levels{Chain: "left"}
	with := func(joint string, repeat int) Levels {
		l := left
		l.Joint, l.Repeat = joint, repeat
		return l
	}
	same(t, s.Tasks, []Task{
		{Kind: Scale, Photos: []string{"m.jpg"}, Levels: left, SaveScale: "x.scale"},
		joint("a1.jpg", with("7", 2)),
		joint("a2.jpg", with("7", 3)),
		joint("a10.jpg", with("7", 4)),
		joint("c.jpg", with("7", 1)),
		joint("IMG_9.jpg", with("IMG_9", 0)),
		joint("joint-3.jpg", with("3", 1)),
		joint("joint-3a.jpg", with("3", 2)),
		joint("joint-3b.jpg", with("3", 3)),
		{Kind: Play, Clip: "rock-9.avi", Levels: with("9", 0)},
		{Kind: Span, Photos: []string{"sub/span-1.tif"}, Levels: Levels{Chain: "left", Inspection: "350h", Joint: "1", Hours: 350}},
		{Kind: Play, Together: []string{"t1.png", "t2.png"}, Apart: []string{"p.png"}, Levels: with("8", 0)},
	})
	wantProblems(t, s.Problems)
	if got := s.Tasks[0].Settings; got != (Settings{Division: 0.01}) {
		t.Errorf("settings of the scale: %+v", got)
	}
	if got := s.Tasks[len(s.Tasks)-1].Settings; got != (Settings{Division: 0.5, Moving: "1,2,30,40"}) {
		t.Errorf("settings of the play: %+v", got)
	}
	if got := s.Tasks[10].Settings; got != (Settings{ScaleFile: "x.scale"}) {
		t.Errorf("settings of the span: %+v", got)
	}
}

func TestRepeatsOfEachPerson(t *testing.T) {
	s := read(t, `jobcard.toml
[[joint]]
joint = 1
by = "A"
files = ["a1.jpg", "a2.jpg"]
[[joint]]
joint = 1
by = "B"
files = ["b1.jpg"]
[[joint]]
joint = 1
by = "B"
files = ["b2.jpg"]
`, "a1.jpg", "a2.jpg", "b1.jpg", "b2.jpg")
	same(t, s.Tasks, []Task{
		joint("a1.jpg", Levels{Joint: "1", Repeat: 1, By: "A"}),
		joint("a2.jpg", Levels{Joint: "1", Repeat: 2, By: "A"}),
		joint("b1.jpg", Levels{Joint: "1", Repeat: 1, By: "B"}),
		joint("b2.jpg", Levels{Joint: "1", Repeat: 2, By: "B"}),
	})
}

func TestNamesMakePlays(t *testing.T) {
	s := read(t,
		"play-7-together.jpg", "play-7-apart.jpg",
		"play-7-2-together.jpg", "play-7-2-apart.jpg",
		"joint-8-pushed-1.jpg", "joint-8-pushed-2.jpg", "joint-8-pulled-apart.jpg",
		"MVI_0012.mov", "rocking-9.avi", "play-10.jpg", "11-together.jpg", "span-pulled.jpg",
	)
	same(t, s.Tasks, []Task{
		{Kind: Play, Together: []string{"joint-8-pushed-1.jpg", "joint-8-pushed-2.jpg"}, Apart: []string{"joint-8-pulled-apart.jpg"}, Levels: Levels{Joint: "8"}},
		{Kind: Play, Clip: "MVI_0012.mov", Levels: Levels{Joint: "MVI_0012"}},
		{Kind: Play, Together: []string{"play-7-2-together.jpg"}, Apart: []string{"play-7-2-apart.jpg"}, Levels: Levels{Joint: "7", Repeat: 2}},
		{Kind: Play, Together: []string{"play-7-together.jpg"}, Apart: []string{"play-7-apart.jpg"}, Levels: Levels{Joint: "7", Repeat: 1}},
		{Kind: Play, Clip: "rocking-9.avi", Levels: Levels{Joint: "9"}},
		{Kind: Span, Photos: []string{"span-pulled.jpg"}, Levels: Levels{Joint: "pulled"}},
	})
	wantProblems(t, s.Problems,
		Problem{"11-together.jpg", "links apart"},
		Problem{"play-10.jpg", "together or apart"},
	)
}

func TestScaleByNameIsNotUsed(t *testing.T) {
	s := read(t, "micrometer.jpg", "joint-1.jpg")
	same(t, s.Tasks, []Task{joint("joint-1.jpg", Levels{Joint: "1"}), {Kind: Scale, Photos: []string{"micrometer.jpg"}}})
	if n := s.Tasks[1].Notes; len(n) != 1 || !strings.Contains(n[0], "not used for any other photo") {
		t.Errorf("notes %q", n)
	}
	wantProblems(t, s.Problems)
}

func TestNothingIsSilentlyLost(t *testing.T) {
	s := read(t, `jobcard.toml
[scale]
file = "gone.scale"
[[joint]]
files = ["a.jpg", "b.jpg", "x*.jpg", "notes.txt", "d.avi", "raw.cr2"]
[[play]]
together = ["b.jpg"]
apart = ["c.jpg"]
[[play]]
together = ["e.jpg"]
apart = ["e.jpg"]
`, "a.jpg", "b.jpg", "c.jpg", "d.avi", "e.jpg", "f.jpg", "notes.txt", "raw.cr2", "odd.heic", "JobCard.toml", "sub/IMG_1.jpg",
		"12.000km/joint-1.jpg", "results.jsonl", "results-1-of-4.jsonl", "results.csv", "report.html", "overlays/joint-1.jpg", ".hidden/joint-1.jpg", ".joint-1.jpg")
	same(t, s.Tasks, []Task{
		joint("12.000km/joint-1.jpg", Levels{Inspection: "12.000km", Joint: "1"}),
		joint("a.jpg", Levels{Joint: "a"}),
	})
	wantProblems(t, s.Problems,
		Problem{"12.000km", "state km or hours"},
		Problem{"b.jpg", "claimed by two entries, jobcard.toml line 3 and jobcard.toml line 5"},
		Problem{"c.jpg", "jobcard.toml line 5 has no photo left of the other state"},
		Problem{"d.avi", "is no photo"},
		Problem{"e.jpg", "both together and apart in jobcard.toml line 8"},
		Problem{"f.jpg", "is in no entry of jobcard.toml"},
		Problem{"gone.scale", "neither lies there"},
		Problem{"JobCard.toml", "write it jobcard.toml"},
		Problem{"jobcard.toml", `line 3: [[joint]] number 1: no photo is like "x*.jpg"`},
		Problem{"jobcard.toml", `line 3: [[joint]] number 1: there is no photo "notes.txt"`},
		Problem{"odd.heic", "no kind of file"},
		Problem{"raw.cr2", "is no photo, as jobcard.toml has it"},
		Problem{"sub/IMG_1.jpg", "what this photo shows is not known"},
	)
}

func TestLinks(t *testing.T) {
	outside := folder(t, "joint-9.jpg", "deep/joint-9.jpg")
	top := folder(t, "joint-1.jpg", ".store/joint-2.jpg", ".store/more/joint-5.jpg", "left/joint-3.jpg")
	for name, target := range map[string]string{
		"joint-9.jpg":      filepath.Join(outside, "joint-9.jpg"),
		"deep":             filepath.Join(outside, "deep"),
		"up":               "..",
		"joint-again.jpg":  "joint-1.jpg",
		"joint-2.jpg":      ".store/joint-2.jpg",
		"joint-gone.jpg":   "nowhere.jpg",
		"joint-loop.jpg":   "joint-loop.jpg",
		"left/whole":       "..",
		"left/joint-3.png": "../left/joint-3.jpg",
		"stored":           ".store/more",
	} {
		if err := os.Symlink(target, filepath.Join(top, name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := syscall.Mkfifo(filepath.Join(top, "joint-4.jpg"), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := Read(top)
	if err != nil {
		t.Fatal(err)
	}
	same(t, s.Tasks, []Task{
		joint("joint-1.jpg", Levels{Joint: "1"}),
		joint("joint-2.jpg", Levels{Joint: "2"}),
		joint("left/joint-3.jpg", Levels{Chain: "left", Joint: "3"}),
	})
	wantProblems(t, s.Problems,
		Problem{"deep", "leads out of the folder"},
		Problem{"joint-4.jpg", "is no file"},
		Problem{"joint-9.jpg", "leads out of the folder"},
		Problem{"joint-gone.jpg", "leads nowhere"},
		Problem{"joint-loop.jpg", "leads nowhere"},
		Problem{"stored", "a link to a folder"},
		Problem{"up", "leads out of the folder"},
	)
}

func TestCardThatIsALinkOut(t *testing.T) {
	outside := folder(t, "jobcard.toml\nchain = 'x'")
	top := folder(t, "joint-1.jpg")
	if err := os.Symlink(filepath.Join(outside, CardName), filepath.Join(top, CardName)); err != nil {
		t.Fatal(err)
	}
	s, err := Read(top)
	var fault *FileError
	if !errors.As(err, &fault) || fault.Path != CardName || !strings.Contains(fault.Message, "out of the folder") {
		t.Errorf("tasks %v, error %v; want one on the card", s.Tasks, err)
	}
}

func TestFoldersThatCannotBeRead(t *testing.T) {
	deep := strings.Repeat("d/", mostDepth)
	top := folder(t, "joint-1.jpg", deep+"joint-2.jpg", deep+"d/joint-3.jpg", "shut/joint-4.jpg")
	want := []Problem{{strings.TrimSuffix(deep, "/") + "/d", "folders deep"}}
	if os.Getuid() != 0 {
		if err := os.Chmod(filepath.Join(top, "shut"), 0); err != nil {
			t.Fatal(err)
		}
		defer os.Chmod(filepath.Join(top, "shut"), 0o777)
		want = append(want, Problem{"shut", "cannot be read: permission denied"})
	}
	s, err := Read(top)
	if err != nil {
		t.Fatal(err)
	}
	wantProblems(t, s.Problems, want...)
	if !slices.ContainsFunc(s.Tasks, func(t Task) bool { return t.first() == deep+"joint-2.jpg" }) {
		t.Errorf("the photo %d folders deep is not among %v", mostDepth, s.Tasks)
	}
	if _, err := Read(filepath.Join(top, "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a folder that is not there: %v", err)
	}
	if _, err := Read(filepath.Join(top, "joint-1.jpg")); err == nil {
		t.Error("a file instead of a folder was read")
	}
}

func TestNamesOfAllBytes(t *testing.T) {
	names := []string{"joint-1\xff.jpg", "joint-2\nx.jpg", "joint-'\"\\[*?].jpg", "\xfe\xff/joint-3.jpg", "pin-\u202e7.jpg", "joint-" + strings.Repeat("9", 200) + ".jpg"}
	s := read(t, names...)
	var got []string
	for _, task := range s.Tasks {
		got = append(got, task.Photos...)
	}
	slices.Sort(got)
	slices.Sort(names)
	if d := cmp.Diff(names, got); d != "" {
		t.Errorf("photos (-want +got):\n%s", d)
	}
	wantProblems(t, s.Problems)

	// Longer than any disk takes, as another system may have them.
	for _, name := range []string{
		"joint-" + strings.Repeat("7", 5000) + ".jpg",
		"joint-" + strings.Repeat("-", 5000) + ".jpg",
		"joint-7" + strings.Repeat("(2)", 1700) + ".jpg",
		strings.Repeat("joint-7-together", 320) + ".jpg",
		strings.Repeat("\xff", 5000) + ".jpg",
	} {
		s, err := arrange(tree{files: []string{name, strings.Repeat("9", 5000) + "km/joint-1.jpg"}}, nil)
		if err != nil || len(s.Tasks) == 0 {
			t.Errorf("%.20q: tasks %d, error %v", name, len(s.Tasks), err)
		}
		if len(s.Tasks)+len(s.Problems) < 2 {
			t.Errorf("%.20q was lost", name)
		}
	}
}

// TestDocumentedCard reads the card in the package comment.
func TestDocumentedCard(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "doc.go", nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for line := range strings.Lines(f.Doc.Text()) {
		if code, ok := strings.CutPrefix(line, "\t"); ok {
			text.WriteString(code)
		} else if strings.TrimSpace(line) == "" {
			text.WriteString("\n")
		}
	}
	files := []string{
		"a1.jpg", "a2.jpg", "a3.jpg", "joint-8.jpg", "joint-8b.jpg", "c-together1.jpg", "c-together2.jpg", "c-apart.jpg",
		"rocking.avi", "chain-1.jpg", "micrometer.jpg", "x40/joint-11.jpg", "x40/IMG_1.jpg",
	}
	s := read(t, append(files, CardName+"\n"+text.String())...)
	wantProblems(t, s.Problems)
	left := Levels{Specimen: "engine 4711", Revision: "B", Chain: "left", Inspection: "2026-05", DistanceKM: 12000, By: "A. Fitter", Oil: "5W-30"}
	with := func(joint string, repeat int, by string) Levels {
		l := left
		l.Joint, l.Repeat, l.By = joint, repeat, by
		return l
	}
	const a, b = "A. Fitter", "B. Apprentice"
	same(t, s.Tasks, []Task{
		{Kind: Scale, Photos: []string{"micrometer.jpg"}, Levels: left, SaveScale: "x40.scale"},
		joint("a1.jpg", with("7", 1, a)), joint("a2.jpg", with("7", 2, a)), joint("a3.jpg", with("7", 3, a)),
		{Kind: Play, Together: []string{"c-together1.jpg", "c-together2.jpg"}, Apart: []string{"c-apart.jpg"}, Levels: with("9", 0, a)},
		{Kind: Span, Photos: []string{"chain-1.jpg"}, Levels: with("1", 0, a)},
		joint("joint-8.jpg", with("8", 1, b)), joint("joint-8b.jpg", with("8", 2, b)),
		{Kind: Play, Clip: "rocking.avi", Levels: with("10", 0, a)},
		joint("x40/IMG_1.jpg", with("IMG_1", 0, a)), joint("x40/joint-11.jpg", with("11", 0, a)),
	})
	warm, off, play, yes := 23.5, calib.Length(-1.3), calib.Length(0.05), true
	chain := Settings{ChainName: "06B", Pitches: 114, NewPlay: &play, Limit: 1}
	shared := chain
	shared.Division, shared.DivisionTolerance, shared.PlaneOffset, shared.WorkingDistance, shared.Temperature = 0.1, 0.005, &off, 160, &warm
	if d := cmp.Diff(shared, s.Tasks[1].Settings); d != "" {
		t.Errorf("settings of a joint (-want +got):\n%s", d)
	}
	span := chain
	span.Division, span.SamePlane, span.Temperature = 1, &yes, &warm
	if d := cmp.Diff(span, s.Tasks[5].Settings); d != "" {
		t.Errorf("settings of the span (-want +got):\n%s", d)
	}
	kept := chain
	kept.ScaleFile, kept.PlaneOffset, kept.WorkingDistance = "x40.scale", &off, 160
	if d := cmp.Diff(kept, s.Tasks[10].Settings); d != "" {
		t.Errorf("settings under a kept scale (-want +got):\n%s", d)
	}
}

func TestSuggestionReadsAsTheNamesDo(t *testing.T) {
	for name, files := range map[string][]string{
		"none":  nil,
		"plain": {"joint-1.jpg", "joint-2.jpg", "joint-2b.jpg", "IMG_1.jpg", "odd.heic"},
		"levels": {
			"rev-a/left/12000km/pin-1.jpg", "rev-a/left/12000km/pin-1 (2).jpg", "rev-a/right/bush7.png", "350h/span-1.tif",
			"n/o/p/q/joint-1.jpg", "rev-a/left/12.000km/pin-1.jpg",
		},
		"plays": {
			"play-7-together.jpg", "play-7-apart.jpg", "play-7-2-apart.jpg", "play-7-2-together.jpg", "play-7.avi", "x.mp4",
			"together.jpg", "pulled-apart.jpg", "joint-8-pushed1.jpg", "joint-8-pushed2.jpg", "joint-8-pulled.jpg", "lone-apart.jpg",
		},
		"scales": {"micrometer.jpg", "a/rule.png", "a/stage-micrometer-2.jpg"},
		"odd names": {
			"joint-1\n.jpg", "joint-'\".jpg", `joint-\.jpg`, "joint-[a].jpg", "joint-*.jpg", "joint-?.jpg", "joint-\x01\x7f'.jpg",
			"pin-\xff.jpg", "\xfe/joint-2.jpg", "joint-\xc3\xa4.jpg", "a'b\"c/joint 3.jpg", "\xfd/play-\xfc-together.png", "\xfd/play-\xfc-apart.png",
		},
	} {
		top := folder(t, files...)
		bare, err := Read(top)
		if err != nil {
			t.Fatal(err)
		}
		text, err := Suggest(top)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(top, CardName), text, 0o666); err != nil {
			t.Fatal(err)
		}
		carded, err := Read(top)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, text)
		}
		if d := cmp.Diff(bare.Tasks, carded.Tasks); d != "" {
			t.Errorf("%s: tasks by the card (-names +card):\n%s\n%s", name, d, text)
		}
		if len(bare.Tasks) == 0 && files != nil {
			t.Errorf("%s: no tasks", name)
		}
		if _, err := Suggest(top); err == nil {
			t.Error("a second card was suggested")
		}
	}
}

func TestSuggestionSaysWhatItCannotName(t *testing.T) {
	top := folder(t, "pin-\xff.jpg", "pin-7.jpg")
	text, err := Suggest(top)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), `# "pin-\xff.jpg" cannot be named here`) {
		t.Errorf("the card does not say that a photo cannot be named:\n%s", text)
	}
}

func TestTooManyFiles(t *testing.T) {
	root, err := os.OpenRoot(folder(t, "a/joint-1.jpg", "a/joint-2.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	w := walker{root: root, seen: map[string]bool{}, count: mostFiles - 2}
	if err := w.folder(".", 0); err == nil || !strings.Contains(err.Error(), "more than 1000000 files") {
		t.Errorf("error %v", err)
	}
}

func TestTooManyPatterns(t *testing.T) {
	var many tree
	for i := range 20_000 {
		many.files = append(many.files, fmt.Sprintf("d/%05d.jpg", i))
	}
	text := "[[joint]]\nfiles = [" + strings.Repeat("'z*/a.jpg',", 10_000) + "]"
	c, err := decode([]byte(text))
	if err == nil {
		err = c.settle(CardName)
	}
	if err != nil {
		t.Fatal(err)
	}
	_, err = arrange(many, []card{c})
	var fault *FileError
	if !errors.As(err, &fault) || fault.Line != 1 || !strings.Contains(fault.Message, "too many patterns") {
		t.Errorf("error %v", err)
	}
}

func BenchmarkArrange(b *testing.B) {
	var many tree
	for i := range 100_000 {
		many.files = append(many.files, fmt.Sprintf("rev-a/chain %d/12000km/joint-%d.jpg", i/100, i%100))
	}
	for b.Loop() {
		if s, err := arrange(many, nil); err != nil || len(s.Tasks) != len(many.files) {
			b.Fatal(len(s.Tasks), err)
		}
	}
}
