package vision

import (
	"bytes"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/synth"
)

// The speed table, for a machine at rest, goes to testdata/speed.csv:
//
//	go test -count 1 -timeout 30m -run SpeedTable -v ./vision -speed 5
var speedRounds = flag.Int("speed", 0, "rounds of which the speed table has the median, 0 for none")

// speedSizes are the pictures of the table, million pixels.
var speedSizes = []float64{1.3, 5, 12, 48}

// TestSpeedTable times every command and its stages against the bare grey
// decode of the same files, on generated photos with the same scene at every
// size. A command's time is that of the whole program, start included.
func TestSpeedTable(t *testing.T) {
	if *speedRounds == 0 {
		t.Skip("takes some minutes of a machine at rest; see -speed")
	}
	folder := t.TempDir()
	tool := filepath.Join(folder, "pinlash")
	for _, build := range [][]string{{"build", "-o", tool + "-photo", "../cmd/pinlash"}, {"build", "-tags", "front", "-o", tool, "../cmd/pinlash"}} {
		if out, err := exec.Command("go", build...).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
	}
	var rows [][]string
	row := func(command, size, stage string, took, decode time.Duration) {
		of := ""
		if decode > 0 {
			of = strconv.FormatFloat(took.Seconds()/decode.Seconds(), 'f', 2, 64)
		}
		rows = append(rows, []string{command, size, stage, strconv.FormatFloat(1e3*took.Seconds(), 'f', 1, 64), of})
		t.Log(rows[len(rows)-1])
	}
	for _, megapixels := range speedSizes {
		size := strconv.FormatFloat(megapixels, 'g', -1, 64)
		for _, p := range speedPhotos(t, folder, megapixels) {
			var times [][]time.Duration
			for range *speedRounds {
				times = append(times, p.stages(t))
			}
			decode := medianTime(times, 0)
			row(p.command, size, "grey decode", decode, decode)
			for i, stage := range p.names {
				row(p.command, size, stage, medianTime(times, i+1), decode)
			}
			var whole [][]time.Duration
			for range *speedRounds {
				whole = append(whole, []time.Duration{runTime(t, tool, p.args...)})
			}
			row(p.command, size, "whole command", medianTime(whole, 0), decode)
		}
	}
	for _, args := range [][]string{{"--help"}, {"chains"}, {"stretch", "--pitch", "9.525", "--joint-play", "0.1"}, {"compare", "--help"}, {"report", "--help"}} {
		var whole [][]time.Duration
		for range 4 * *speedRounds {
			whole = append(whole, []time.Duration{runTime(t, tool, args...)})
		}
		row(args[0], "", "whole command", medianTime(whole, 0), 0)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "# go test -count 1 -timeout 30m -run SpeedTable -v ./vision -speed %d\n", *speedRounds)
	fmt.Fprintf(&b, "# %s. Medians on two cores at rest, milliseconds, of generated photos; of_decode: over the grey decode of the\n# same files alone, one after the other. Rule and joint are looked for side by side.\n", time.Now().Format("2006-01-02"))
	w := csv.NewWriter(&b)
	if err := w.WriteAll(append([][]string{{"command", "megapixels", "stage", "ms", "of_decode"}}, rows...)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join("..", "testdata", "speed.csv"), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// speedPhoto is what a command is timed on. stages returns the time of the
// grey decode and that of each of the named stages.
type speedPhoto struct {
	command string
	args    []string
	names   []string
	stages  func(testing.TB) []time.Duration
}

func speedPhotos(t *testing.T, folder string, megapixels float64) []speedPhoto {
	t.Helper()
	ctx := context.Background()
	write := func(name string, file []byte) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	k := math.Sqrt(megapixels / 5)
	joint := write("joint.jpg", jointFile(t, k))
	span := write("span.jpg", spanFile(t, k*math.Sqrt(5/1.43)))
	first, second := pairFiles(t, k*math.Sqrt(5/0.48))
	push, pull := write("together.jpg", first), write("apart.jpg", second)
	open := func(t testing.TB, path string) Photo {
		p, err := Open(ctx, path, Limits{})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	return []speedPhoto{
		{"joint", []string{"joint", "--division", "0.1mm", joint}, []string{"open", "rule", "joint"}, func(t testing.TB) []time.Duration {
			w := newWatch(t)
			w.decode(joint)
			p := open(t, joint)
			w.lap()
			_, err := FindRule(p.Light)
			w.lap()
			_, _, err2 := FindJoint(p.Light, p.Curve)
			w.lap()
			return w.done(err, err2)
		}},
		{"span", []string{"span", "--points", "100,100,400,100", "--distance", "9.525", span}, []string{"open", "heads"}, func(t testing.TB) []time.Duration {
			w := newWatch(t)
			w.decode(span)
			p := open(t, span)
			w.lap()
			_, _, err := FindHeads(p.Light, p.Curve)
			w.lap()
			return w.done(err)
		}},
		{"play", []string{"play", "--points", "100,100,400,100", "--distance", "1", push, pull}, []string{"open both", "motion"}, func(t testing.TB) []time.Duration {
			w := newWatch(t)
			w.decode(push, pull)
			var a, b Photo
			together(func() { a = open(t, push) }, func() { b = open(t, pull) })
			w.lap()
			_, _, err := FindMotion(a.Light, b.Light, MotionHint{})
			w.lap()
			return w.done(err)
		}},
	}
}

// watch takes the times of stages one after the other.
type watch struct {
	t    testing.TB
	last time.Time
	laps []time.Duration
}

func newWatch(t testing.TB) *watch { return &watch{t: t} }

// decode is the first stage: the bare grey decode of some files.
func (w *watch) decode(paths ...string) {
	var files [][]byte
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			w.t.Fatal(err)
		}
		files = append(files, data)
	}
	w.last = time.Now()
	for _, data := range files {
		m, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
		if err != nil {
			w.t.Fatal(err)
		}
		m.Close()
	}
	w.lap()
}

func (w *watch) lap() {
	now := time.Now()
	w.laps = append(w.laps, now.Sub(w.last))
	w.last = now
}

func (w *watch) done(errs ...error) []time.Duration {
	for _, err := range errs {
		if err != nil {
			w.t.Log(err) // a refusal takes time, too
		}
	}
	return w.laps
}

// medianTime returns the median of stage i.
func medianTime(times [][]time.Duration, i int) time.Duration {
	var v []time.Duration
	for _, t := range times {
		v = append(v, t[i])
	}
	slices.Sort(v)
	return v[len(v)/2]
}

// runTime returns how long a command takes that ends well or in a refusal.
func runTime(t testing.TB, tool string, args ...string) time.Duration {
	began := time.Now()
	out, err := exec.Command(tool, args...).CombinedOutput()
	took := time.Since(began)
	if err != nil {
		t.Logf("%v: %v\n%s", args, err, out)
	}
	return took
}

// spanFile is a JPEG of a chain, 1.43 million pixels for k = 1.
func spanFile(t testing.TB, k float64) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := spanScene(k).WriteJPEG(&buf); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func spanScene(k float64) synth.Scene {
	s := synth.Pulled(rand.New(rand.NewPCG(4, 2)), 6, 230, 0.05, 0.01, 0, true)
	c := &s.Chain
	for i := range c.Pins {
		c.Pins[i] = r2.Scale(k, c.Pins[i])
	}
	for _, l := range []*float64{&c.HeadR, &c.PlateR, &c.Waist, &c.LineWidth, &c.ShadowWidth, &c.Outer.Finish.Along, &c.Outer.Finish.Across, &c.Inner.Finish.Along, &c.Inner.Finish.Across} {
		*l *= k
	}
	c.Dome.Towards, c.Dome.Shift = r2.Scale(k, c.Dome.Towards), c.Dome.Shift/k
	s.W, s.H = int(k*float64(s.W)), int(k*float64(s.H))
	s.Camera.Gradient = r2.Scale(1/k, s.Camera.Gradient)
	return s
}

// pairFiles are JPEGs of a joint rocked, each 0.48 million pixels for k = 1.
func pairFiles(t testing.TB, k float64) (together, apart []byte) {
	t.Helper()
	p := plainPair(5)
	p.W, p.H = int(k*float64(p.W)), int(k*float64(p.H))
	p.Joint, p.Pull, p.Shift = r2.Scale(k, p.Joint), r2.Scale(k, p.Pull), r2.Scale(k, p.Shift)
	p.PinR, p.PlateR, p.Pitch, p.Rule = k*p.PinR, k*p.PlateR, k*p.Pitch, k*p.Rule
	a, b := mustPhotos(t, p)
	return storedJPEG(t, a, 90), storedJPEG(t, b, 90)
}
