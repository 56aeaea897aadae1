package jobcard

import (
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestReadName(t *testing.T) {
	for _, c := range []struct {
		name string
		want reading
	}{
		{"joint-7.jpg", reading{kind: Joint, joint: "7"}},
		{"Joint 07.JPG", reading{kind: Joint, joint: "7"}},
		{"joint7.jpg", reading{kind: Joint, joint: "7"}},
		{"joint #7.jpg", reading{kind: Joint, joint: "7"}},
		{"pin-7b.jpg", reading{kind: Joint, joint: "7", mark: 2}},
		{"bore_7_2.png", reading{kind: Joint, joint: "7", mark: 2}},
		{"bush 7 (3).tif", reading{kind: Joint, joint: "7", mark: 3}},
		{"joint-7-repeat.jpg", reading{kind: Joint, joint: "7", mark: 2}},
		{"joint-7 rep 4.jpg", reading{kind: Joint, joint: "7", mark: 4}},
		{"joint-a.jpg", reading{kind: Joint, joint: "a"}},
		{"joint-7-left.jpg", reading{kind: Joint, joint: "7-left"}},
		{"joint-left-7-2.jpg", reading{kind: Joint, joint: "left-7", mark: 2}},
		{"joint-7-123.jpg", reading{kind: Joint, joint: "7-123"}},
		{"joint.jpg", reading{kind: Joint}},
		{"pinion-7.jpg", reading{joint: "pinion-7"}},
		{"IMG_0123.jpg", reading{joint: "IMG_0123"}},
		{"7b.jpg", reading{joint: "7", mark: 2}},
		{"20260501_101112.jpg", reading{joint: "20260501_101112"}},
		{"span-2.jpg", reading{kind: Span, joint: "2"}},
		{"strand.jpg", reading{kind: Span}},
		{"stage-micrometer-2.jpg", reading{kind: Scale}},
		{"ruler.jpg", reading{kind: Scale}},
		{"rocking-9.avi", reading{kind: Play, joint: "9"}},
		{"joint-9.mp4", reading{kind: Play, joint: "9"}},
		{"MVI_9.mov", reading{kind: Play, joint: "MVI_9"}},
		{"play-7-together.jpg", reading{kind: Play, joint: "7", state: together}},
		{"play7apart.jpg", reading{kind: Play, joint: "7", state: apart}},
		{"pair-7b-pushed.jpg", reading{kind: Play, joint: "7", mark: 2, state: together}},
		{"joint-7-pulled-3.jpg", reading{kind: Play, joint: "7", state: apart, stateMark: 3}},
		{"7-together(2).jpg", reading{kind: Play, joint: "7", state: together, stateMark: 2}},
		{"apart.jpg", reading{kind: Play, state: apart}},
		{"pushed together.jpg", reading{kind: Play, state: together}},
		{"play-7-pull-apart b.jpg", reading{kind: Play, joint: "7", state: apart, stateMark: 2}},
		{"IMG_1-together.jpg", reading{kind: Play, joint: "IMG_1", state: together}},
		{"altogether.jpg", reading{joint: "altogether"}},
		{".jpg", reading{}},
	} {
		if got := readName(c.name); got != c.want {
			t.Errorf("readName(%q) = %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestRun(t *testing.T) {
	for _, c := range []struct {
		name      string
		km, hours float64
		clear     bool
	}{
		{"12000km", 12000, 0, true},
		{"12000 km", 12000, 0, true},
		{"2026-05 12000km", 12000, 0, true},
		{"12,000km", 12000, 0, true},
		{"1_200_000 KM", 1200000, 0, true},
		{"12.5h", 0, 12.5, true},
		{"350h", 0, 350, true},
		{"350 hours", 0, 350, true},
		{"after 350 hrs left", 0, 350, true},
		{"0km", 0, 0, true},
		{"12.000km", 0, 0, false},
		{"12 000km", 0, 0, false},
		{"012km", 0, 0, false},
		{"1,2km", 0, 0, false},
		{"99999999999km", 0, 0, false},
		{"2026-05 120km", 120, 0, true},
		{"second", 0, 0, true},
		{"12kmh", 0, 0, true},
		{"7heads", 0, 0, true},
		{"", 0, 0, true},
	} {
		km, hours, clear := run(c.name)
		if km != c.km || hours != c.hours || clear != c.clear {
			t.Errorf("run(%q) = %g, %g, %t; want %g, %g, %t", c.name, km, hours, clear, c.km, c.hours, c.clear)
		}
	}
}

func TestNatural(t *testing.T) {
	want := []string{"", "A", "a", "a/b", "b/2", "b/10/a", "b/10/b", "b-01", "b-1", "b-2", "b-2a", "b-10", "c"}
	for i, x := range want {
		for j, y := range want {
			got := natural(x, y)
			if i < j && got >= 0 || i == j && got != 0 || i > j && got <= 0 {
				t.Errorf("natural(%q, %q) = %d", x, y, got)
			}
		}
	}
}

// TestNaturalIsAnOrder holds it against the laws that sorting needs.
func TestNaturalIsAnOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	word := func() string {
		b := make([]byte, random.IntN(6))
		for i := range b {
			b[i] = "0019aAb/-\xff"[random.IntN(10)]
		}
		return string(b)
	}
	for range 200_000 {
		x, y, z := word(), word(), word()
		if natural(x, y) != -natural(y, x) || (natural(x, y) == 0) != (x == y) {
			t.Fatalf("%q and %q: %d, %d", x, y, natural(x, y), natural(y, x))
		}
		if natural(x, y) < 0 && natural(y, z) < 0 && natural(x, z) >= 0 {
			t.Fatalf("%q < %q < %q, but not the first < the last", x, y, z)
		}
	}
}

// FuzzNames reads names of any bytes: none is lost, the order of the names does
// not matter, and the suggested card changes nothing.
func FuzzNames(f *testing.F) {
	for _, names := range []string{
		"joint-1.jpg\x00joint-1b.jpg\x00left/12000km/pin-7 (2).png", "play-7-together.jpg\x00play-7-apart.jpg\x00play-07-apart.jpg",
		"\xff.jpg\x00pin-\xfe.jpg\x00pin-a.jpg", "a/b/c/d/e/joint-[1].jpg\x00rule.tif\x00x.raw", "rock*.avi\x00rock?.avi\x00rock\\.mov",
		"joint-\n.jpg\x00joint-'\".jpg", "7-together.jpg\x007-pulled-apart (2).jpg\x007-apart.mp4",
	} {
		f.Add(names)
	}
	f.Fuzz(func(t *testing.T, list string) {
		var files []string
		for name := range strings.SplitSeq(list, "\x00") {
			if name != "" && name != "." && path.Clean(name) == name && name[0] != '/' && !strings.HasPrefix(name, "..") && sortOf(name) != sideFile && path.Base(name) != CardName {
				files = append(files, name)
			}
		}
		slices.SortFunc(files, natural)
		files = slices.Compact(files)
		// No file is a folder as well.
		files = slices.DeleteFunc(files, func(name string) bool {
			return slices.ContainsFunc(files, func(other string) bool { return strings.HasPrefix(other, name+"/") })
		})
		bare, err := arrange(tree{files: files}, nil)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]int{}
		for _, task := range bare.Tasks {
			for _, name := range taskFiles(task) {
				seen[name]++
			}
		}
		for _, p := range bare.Problems {
			seen[p.Path]++
		}
		for _, name := range files {
			if seen[name] != 1 {
				t.Fatalf("%q was taken %d times", name, seen[name])
			}
		}
		text, err := suggest(tree{files: files})
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), "cannot be named here") {
			return
		}
		c, err := decode(text)
		if err == nil {
			err = c.settle(CardName)
		}
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		carded, err := arrange(tree{files: files}, []card{c})
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(bare.Tasks, carded.Tasks); d != "" {
			t.Fatalf("tasks by the card (-names +card):\n%s\n%s", d, text)
		}
	})
}
