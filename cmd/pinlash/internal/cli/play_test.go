package cli

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
	"pinlash/vision"
	"pinlash/vision/synth"
)

const pairFolder = "../../../../testdata/photos/"

// playLine is a printed line of a play, as far as the tests look.
type playLine struct {
	Results  map[string]uncert.Quantity
	Growth   map[string]uncert.Quantity
	Readings []struct {
		Reading string
		Growth  map[string]uncert.Quantity
	}
	Distinct *bool `json:"distinct_from_zero"`
	Clip     *struct {
		Frames, Together, Apart, Reversals int
		Left                               int `json:"left_out"`
		Track                              []struct{ Frame int }
	}
	Refused *struct{ Code, Message string }
	Notes   []string
}

// played runs `pinlash play --json`, and holds the line against the schema.
func played(t *testing.T, args ...string) (playLine, int) {
	t.Helper()
	status, stdout, stderr := run(t, t.Context(), append([]string{"play", "--json"}, args...)...)
	var l playLine
	if err := json.Unmarshal([]byte(stdout), &l); err != nil {
		t.Fatalf("%q: status %d, %v, printed %q and %q", args, status, err, stdout, stderr)
	}
	if err := validLine(schema(t), strings.TrimSpace(stdout)); err != nil {
		t.Errorf("%q: %v\n%s", args, err, stdout)
	}
	return l, status
}

// TestRenderedPairs holds the play of the rendered pairs against what they were
// rendered with: right within 0.10 px and inside its interval, no play said not
// to differ from zero, whichever of the photos comes first.
func TestRenderedPairs(t *testing.T) {
	data, err := os.ReadFile(pairFolder + "truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Images []struct {
			Kind    string
			Files   []string
			MMPerPx float64 `json:"mm_per_px"`
			Play    float64 `json:"play_mm"`
			Pull    float64 `json:"pull_direction_deg"`
		}
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, p := range truth.Images {
		if p.Kind != "pair" {
			continue
		}
		n++
		a, b := pairFolder+p.Files[0], pairFolder+p.Files[1]
		for _, order := range [][]string{{a, b}, {b, a}} {
			l, status := played(t, append(order, "--division", "0.5mm", "--plane-offset", "-1.3", "--working-distance", "160")...)
			if status != statusOK {
				t.Fatalf("%s: status %d, %+v", p.Files[0], status, l.Refused)
			}
			play := l.Results["play"]
			if off := math.Abs(play.Value-p.Play) / p.MMPerPx; off > 0.10 || play.Lower > p.Play || play.Upper < p.Play {
				t.Errorf("%v: play %.4f (%.4f to %.4f) mm, want %.4f: off by %.3f px", order, play.Value, play.Lower, play.Upper, p.Play, off)
			}
			if *l.Distinct != (p.Play > 0) {
				t.Errorf("%v: distinct from zero: %v, play being %g mm", order, *l.Distinct, p.Play)
			}
			pull := l.Results["pull_direction"]
			if turn := math.Remainder(pull.Value-p.Pull, 360); p.Play > 0 && math.Abs(turn) > 1 {
				t.Errorf("%v: pull direction %.2f deg, want %.2f", order, pull.Value, p.Pull)
			}
			if swapped := strings.Contains(strings.Join(l.Notes, "\n"), "came nearer"); p.Play > 0 && swapped != (order[0] == b) {
				t.Errorf("%v: said to be swapped: %v", order, swapped)
			}
		}
	}
	if n == 0 {
		t.Fatal("truth.json names no pair")
	}
}

// TestPairsOfTwoJoints mixes photos of two joints of one shape beside one
// rule. Held against their outlines the rule has moved, which is no play.
func TestPairsOfTwoJoints(t *testing.T) {
	for _, pair := range [][2]string{{"pair_B01a.jpg", "pair_B03b.jpg"}, {"pair_B03a.jpg", "pair_B01b.jpg"}} {
		for _, scale := range [][]string{{"--division", "0.5mm"}, {"--points", "0,0,1000,0", "--distance", "9mm"}} {
			l, status := played(t, append(scale, pairFolder+pair[0], pairFolder+pair[1])...)
			if status != statusRefused || l.Refused == nil || l.Refused.Code != "not_found" {
				t.Errorf("%v %v: status %d, play %+v, refused %+v", pair, scale, status, l.Results["play"], l.Refused)
			}
		}
	}
}

// TestScaleInEither reads the scale of pairs of which both photos, one or none
// show it, and of one in which they contradict each other.
func TestScaleInEither(t *testing.T) {
	open := func(path string) vision.Photo {
		photo, err := vision.Open(t.Context(), path, vision.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		return photo
	}
	a, b, other := open(pairFolder+"pair_B01a.jpg"), open(pairFolder+"pair_B01b.jpg"), open(pairFolder+"bore_A01.jpg")
	blank := open(withoutRule(t, pairFolder+"pair_B01a.jpg"))
	source := &scaleSource{scaleOptions: scaleOptions{division: 0.5}}
	for _, c := range []struct {
		name          string
		first, second vision.Photo
		rules         int
		note          string
		refused       check.Code
	}{
		{"both", a, b, 1, "", ""},
		{"first", a, blank, 1, "the scale is that of " + a.Path, ""},
		{"second", blank, b, 0, "the scale is that of " + b.Path, ""},
		{"none", blank, blank, 0, "", check.NoScale},
		{"two settings", a, other, 1, "", check.ScalesDisagree},
	} {
		found, err := source.readEither(c.first, c.second)
		var refused *check.Refusal
		if c.refused != "" {
			if !errors.As(err, &refused) || refused.Code != c.refused {
				t.Errorf("%s: %v, want %s", c.name, err, c.refused)
			}
			continue
		}
		if err != nil || math.Abs(found.Scale.MMPerPx.Value-0.009) > 1e-6 || len(found.rules) != c.rules {
			t.Errorf("%s: %v mm/px, %d rules, %v; want 0.009 and %d", c.name, found.Scale.MMPerPx.Value, len(found.rules), err, c.rules)
		}
		if notes := strings.Join(found.Notes, "\n"); !strings.Contains(notes, c.note) || c.note == "" && strings.Contains(notes, "the scale is that of") {
			t.Errorf("%s: notes %q, want %q", c.name, notes, c.note)
		}
	}
}

// withoutRule paints the lower quarter of a photo, where its rule is, grey.
func withoutRule(t *testing.T, path string) string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	out := image.NewGray(img.Bounds())
	for y := range out.Rect.Max.Y {
		for x := range out.Rect.Max.X {
			if y < 890 {
				out.Set(x, y, img.At(x, y))
			} else {
				out.SetGray(x, y, color.Gray{90})
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	blank := filepath.Join(t.TempDir(), "blank.jpg")
	if err := os.WriteFile(blank, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return blank
}

// TestPlayGrowth wants both ends of the growth, half of the added play and all
// of it, and a growth below zero where the joint has less play than new.
func TestPlayGrowth(t *testing.T) {
	a, b := pairFolder+"pair_B01a.jpg", pairFolder+"pair_B01b.jpg"
	for _, fresh := range []float64{0.05, 0.25} {
		l, status := played(t, a, b, "--division", "0.5mm", "--same-plane", "--pitch", "9.525", "--pitches", "100", "--new-play", strconv.FormatFloat(fresh, 'g', -1, 64), "--limit", "1")
		if status != statusOK || len(l.Readings) != 2 {
			t.Fatalf("status %d, %d readings", status, len(l.Readings))
		}
		added := l.Results["play"].Value - fresh
		joint := l.Growth["joint_growth"]
		for i, want := range []float64{added / 2, added} {
			got := l.Readings[i].Growth["joint_growth"].Value
			if math.Abs(got-want) > 1e-6 || joint.Lower > got || got > joint.Upper {
				t.Errorf("new play %g: reading %d is %.5f mm, want %.5f, inside %.5f to %.5f", fresh, i, got, want, joint.Lower, joint.Upper)
			}
		}
		if whole := l.Growth["chain_growth"].Value; math.Abs(whole-75*added) > 1e-3 {
			t.Errorf("chain growth %.4f mm, want %.4f", whole, 75*added)
		}
		if percent := l.Growth["elongation"].Value; math.Abs(percent-75*added/9.525) > 1e-3 {
			t.Errorf("elongation %.4f %%, want %.4f", percent, 75*added/9.525)
		}
	}
}

// rockedJoint is a small joint with texture enough to be followed.
func rockedJoint(play float64) synth.Pair {
	p := synth.DrawPair(rand.New(rand.NewPCG(11, 1)), play)
	p.W, p.H = 480, 360
	p.Joint, p.PinR, p.PlateR, p.Pitch, p.Rule = r2.Vec{X: 190, Y: 140}, 45, 85, 240, 16
	p.AngleRad, p.Pull, p.SwingRad = 0, r2.Vec{X: play}, 0
	p.Texture, p.Shift, p.TurnRad, p.Zoom, p.Parallax = 0.12, r2.Vec{X: 3, Y: -3}, 0, 0, 0
	p.Camera.Glare, p.Camera.Blur, p.Camera.JPEGQuality = nil, 1, 0
	return p
}

// rocked is the share of the play in each frame: the link rests at both ends
// for seven frames and goes over four times in three.
func rocked() []float64 {
	var out []float64
	for way := range 5 {
		from := float64(way % 2)
		for range 7 {
			out = append(out, from)
		}
		for k := 1; k <= 3 && way < 4; k++ {
			out = append(out, from+(1-2*from)*float64(k)/4)
		}
	}
	return out
}

// film writes a clip of the joint with a hand-held camera.
func film(t *testing.T, p synth.Pair, pulled []float64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(3, 3))
	var frames [][]byte
	for i, share := range pulled {
		g, err := p.Photo(share, 0.2*r.Float64(), uint64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, encoded(g), &jpeg.Options{Quality: 95}); err != nil {
			t.Fatal(err)
		}
		frames = append(frames, b.Bytes())
	}
	path := filepath.Join(t.TempDir(), "rocking.avi")
	if err := os.WriteFile(path, avi(frames, p.W, p.H), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// avi returns JPEG files as a clip of 30 frames a second (AVI RIFF File
// Reference, from memory).
func avi(frames [][]byte, w, h int) []byte {
	chunk := func(id string, data []byte) []byte {
		out := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(data)))
		out = append(out, data...)
		if len(data)%2 == 1 {
			out = append(out, 0)
		}
		return out
	}
	words := func(v ...uint32) (out []byte) {
		for _, x := range v {
			out = binary.LittleEndian.AppendUint32(out, x)
		}
		return out
	}
	list := func(kind string, parts ...[]byte) []byte {
		return chunk("LIST", append([]byte(kind), bytes.Join(parts, nil)...))
	}
	n, width, height := uint32(len(frames)), uint32(w), uint32(h)
	header := chunk("avih", words(33333, 0, 0, 0x10, n, 0, 1, 0, width, height, 0, 0, 0, 0))
	stream := chunk("strh", append([]byte("vidsMJPG"), words(0, 0, 0, 1, 30, 0, n, 0, 0xffffffff, 0, 0, 0)...))
	format := chunk("strf", append(append(words(40, width, height, 24<<16|1), []byte("MJPG")...), words(3*width*height, 0, 0, 0, 0)...))
	var movie, index []byte
	for _, f := range frames {
		index = append(append(index, []byte("00dc")...), words(0x10, uint32(4+len(movie)), uint32(len(f)))...)
		movie = append(movie, chunk("00dc", f)...)
	}
	body := bytes.Join([][]byte{
		list("hdrl", header, list("strl", stream, format)),
		list("movi", movie), chunk("idx1", index),
	}, nil)
	return chunk("RIFF", append([]byte("AVI "), body...))
}

// animated holds an animated picture of a play against what it has to be: two
// pictures of one size that differ, in turn without end, small enough for a
// report.
func animated(t *testing.T, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	g, err := gif.DecodeAll(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if len(g.Image) != 2 || g.LoopCount != 0 || g.Config.Width > 480 || len(data) > 400_000 {
		t.Fatalf("%s: %d pictures, loop %d, %d px wide, %d bytes", path, len(g.Image), g.LoopCount, g.Config.Width, len(data))
	}
	if g.Image[0].Bounds() != g.Image[1].Bounds() || bytes.Equal(g.Image[0].Pix, g.Image[1].Pix) {
		t.Errorf("%s: %v and %v do not show a change", path, g.Image[0].Bounds(), g.Image[1].Bounds())
	}
}

// TestPlayOfRepeats takes three photos of each state, of which one shows
// another joint: it is left out and said to be, and the play is that of the
// others, right within 0.1 px.
func TestPlayOfRepeats(t *testing.T) {
	const play = 5.0
	joint, other := rockedJoint(play), rockedJoint(play)
	other.Seed++
	other.NoOutline = true // of one shape it would be found again by its outlines
	var args []string
	dir := t.TempDir()
	for i, c := range []struct {
		p      synth.Pair
		pulled float64
	}{{joint, 0}, {joint, 0}, {joint, 0}, {joint, 1}, {joint, 1}, {other, 1}} {
		g, err := c.p.Photo(c.pulled, 0.1*float64(i), uint64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, encoded(g), &jpeg.Options{Quality: 95}); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, strconv.Itoa(i)+".jpg")
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		args = append(args, map[float64]string{0: "--together", 1: "--apart"}[c.pulled], path)
	}
	l, status := played(t, append(args, "--points", "0,0,400,0", "--distance", "4mm", "--same-plane", "--overlay", dir)...)
	if status != statusOK {
		t.Fatalf("status %d, %+v", status, l.Refused)
	}
	animated(t, filepath.Join(dir, "0-motion.gif"))
	got := l.Results["play"]
	if math.Abs(100*got.Value-play) > 0.1 || 100*got.Lower > play || 100*got.Upper < play || !*l.Distinct {
		t.Errorf("play %.3f (%.3f to %.3f) px, distinct %v, want %g", 100*got.Value, 100*got.Lower, 100*got.Upper, *l.Distinct, play)
	}
	if notes := strings.Join(l.Notes, "\n"); !strings.Contains(notes, "5.jpg was left out: links not found") || strings.Count(notes, "left out") != 1 {
		t.Errorf("notes %q", notes)
	}
}

// TestPlayOfClip films a joint with known play: right within 0.1 px, four
// ways seen, every frame told of, and both ends shown in turn.
func TestPlayOfClip(t *testing.T) {
	for _, play := range []float64{5, 0} {
		pulled := rocked()
		path, seen := film(t, rockedJoint(play), pulled), t.TempDir()
		// A pixel is a hundredth of a millimetre.
		l, status := played(t, "--clip", path, "--points", "0,0,400,0", "--distance", "4mm", "--same-plane", "--overlay", seen)
		if status != statusOK {
			t.Fatalf("play %g px: status %d, %+v", play, status, l.Refused)
		}
		got := l.Results["play"]
		if off := math.Abs(100*got.Value - play); off > 0.1 && play > 0 || 100*got.Lower > play || 100*got.Upper < play {
			t.Errorf("play %.3f (%.3f to %.3f) px, want %g", 100*got.Value, 100*got.Lower, 100*got.Upper, play)
		}
		if *l.Distinct != (play > 0) {
			t.Errorf("play %g px: distinct from zero: %v", play, *l.Distinct)
		}
		if l.Clip.Frames != len(pulled) || len(l.Clip.Track) != len(pulled) || play > 0 && l.Clip.Reversals != 4 {
			t.Errorf("play %g px: %+v, want %d frames and 4 reversals", play, *l.Clip, len(pulled))
		}
		if play > 0 {
			animated(t, filepath.Join(seen, "rocking-motion.gif"))
		}
	}
}

// TestClipsRefused: what is no clip, is cut short, or shows no rocking.
func TestClipsRefused(t *testing.T) {
	still := film(t, rockedJoint(5), make([]float64, 4))
	data, err := os.ReadFile(still)
	if err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(t.TempDir(), "text.avi")
	if err := os.WriteFile(text, []byte(strings.Repeat("no clip ", 9)), 0o644); err != nil {
		t.Fatal(err)
	}
	short := filepath.Join(t.TempDir(), "short.avi")
	if err := os.WriteFile(short, data[:300], 0o644); err != nil {
		t.Fatal(err)
	}
	for path, code := range map[string]string{still: "unreadable", text: "not_an_image", short: "unreadable", pairFolder + "pair_B01a.jpg": "not_an_image"} {
		l, status := played(t, "--clip", path, "--points", "0,0,400,0", "--distance", "4mm")
		if status != statusRefused || l.Refused == nil || l.Refused.Code != code {
			t.Errorf("%s: status %d, refused %+v, want %s", filepath.Base(path), status, l.Refused, code)
		}
	}
	if status, _, stderr := run(t, t.Context(), "play", "--clip", "gone.avi", "--division", "1"); status != statusFile || !strings.Contains(stderr, "gone.avi") {
		t.Errorf("missing clip: status %d, %q", status, stderr)
	}
}

func TestRectangle(t *testing.T) {
	for in, want := range map[string]string{"1,2,3,4": "1,2,3,4", " 0, 0 ,5,6": "0,0,5,6", "": "", "1,2,3": "", "1,2,0,4": "", "-1,2,3,4": "", "1,2,3,4.5": "", "1,2,3,99999999": ""} {
		var r rectangle
		if err := r.Set(in); (err == nil) != (want != "") || r.String() != want {
			t.Errorf("%q reads as %q, %v; want %q", in, r.String(), err, want)
		}
	}
}

// TestPlayMeaning: a play that does not differ from zero is told by what it
// may be at most.
func TestPlayMeaning(t *testing.T) {
	for _, c := range []struct {
		play measure.PlayResult
		want string
	}{
		{measure.PlayResult{Play: mm(0.15, 0.001), Distinct: true}, "rocks 0.150"},
		{measure.PlayResult{Play: mm(0, 0.001)}, "does not differ from zero; if there is any it is less than 0.00"},
	} {
		var r outcome
		if err := (chainReference{}).applyPlay(&r.record, c.play); err != nil || !strings.Contains(r.record.Meaning.String(), c.want) {
			t.Errorf("%q, %v; want %q", r.record.Meaning, err, c.want)
		}
	}
}
