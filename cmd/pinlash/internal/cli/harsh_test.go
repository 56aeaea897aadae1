package cli

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision"
	"pinlash/vision/synth"
)

// The long sweep over harsh photos writes what became of them, and of each
// limit, to testdata/sweep:
//
//	go test -count 1 -timeout 60m -run HarshPhotos -v ./cmd/pinlash/internal/cli -harsh 30
//
// With -harshlog FILE every photo measured is kept there, and a run that was
// stopped is taken up again. One photo alone is measured, and left in the
// folder of temporary files, by
//
//	go test -run HarshPhoto$ -v ./cmd/pinlash/internal/cli -harshphoto 'joint,motion blur,8,17'
var (
	harshTrials = flag.Int("harsh", 0, "photos of each kind, effect and level in the long sweep over harsh photos, 0 for the short one")
	harshLog    = flag.String("harshlog", "", "file that keeps the photos measured so far")
	harshPhoto  = flag.String("harshphoto", "", "KIND,EFFECT,LEVEL,SEED of the only photo")
)

// Limits that the sweep is held to, in percent.
const (
	mostWrong   = 0.5 // of the photos measured
	mostRefused = 3.0 // of the good ones
)

// cell is one effect at one level on one kind of photo.
type cell struct {
	kind   string
	effect effect
	level  float64
	good   bool
}

func (c cell) name() string {
	return c.kind + "," + c.effect.name + "," + strconv.FormatFloat(c.level, 'g', -1, 64)
}

func cells() []cell {
	var out []cell
	for _, kind := range []string{"joint", "span", "play"} {
		for _, e := range effects {
			for i, level := range e.levels {
				if strings.Contains(e.kinds, kind[:1]) {
					out = append(out, cell{kind, e, level, i < e.mild})
				}
			}
		}
	}
	return out
}

// fared is how one photo fared.
type fared struct {
	Cell string
	Seed int
	Code check.Code `json:",omitempty"` // of a refusal
	// Off is how far the worst of the figures, named in Worst, lies from its
	// truth, in halves of its interval on that side.
	Off   float64 `json:",omitempty"`
	Worst string  `json:",omitempty"`
	// Checks are those made up to the end, or to the refusal.
	Checks []check.Check
}

// photograph takes the photos of a cell into a folder.
func (c cell) photograph(folder string, seed int) (truth, []string, error) {
	h := fnv.New64a()
	h.Write([]byte(c.name())) //nolint:errcheck // never fails
	s := newShot(c.kind, rand.New(rand.NewPCG(uint64(seed), h.Sum64())))
	if c.kind == "joint" && strings.HasPrefix(c.effect.name, "zoomed") {
		// The sensor has the fewer pixels, the more they are enlarged.
		s.scene = s.scene.Scaled(min(0.8, 1.6/c.level))
	}
	c.effect.do(s, c.level)
	var paths []string
	for i, light := range s.lights() {
		path := filepath.Join(folder, fmt.Sprintf("%s-%d-%d.jpg", strings.Map(plain, c.name()), seed, i))
		var b bytes.Buffer
		if err := synth.Store(&b, s.photos[i].Take(light, *s.camera(), s.seed(i)), s.quality); err != nil {
			return truth{}, nil, err
		}
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			return truth{}, nil, err
		}
		paths = append(paths, path)
	}
	return s.truth(), paths, nil
}

// plain keeps what is easy in a file's name.
func plain(r rune) rune {
	if r == ',' || r == ' ' {
		return '_'
	}
	return r
}

// measured takes the photos the whole way of their command.
func (c cell) measured(t *testing.T, paths []string) (outcome, error) {
	scale := scaleOptions{division: 0.1}
	given := changed(func(name string) bool { return name == "division" || name == "same-plane" && c.kind != "joint" })
	var way photoWay
	var err error
	switch c.kind {
	case "joint":
		way, err = jointCommand{scale: scale}.way(given)
	case "span":
		scale.division, scale.samePlane = 1, true
		way, err = spanCommand{scale: scale}.way(given)
	default:
		scale.division, scale.samePlane = 1, true
		way, err = playCommand{scale: scale, together: paths[:1], apart: paths[1:]}.way(given)
	}
	if err != nil {
		return outcome{}, err
	}
	return way(t.Context(), paths[0])
}

// fare takes one photo of the cell and measures it.
func (c cell) fare(t *testing.T, folder string, seed int) (fared, error) {
	f := fared{Cell: c.name(), Seed: seed}
	want, paths, err := c.photograph(folder, seed)
	if err != nil {
		return f, err
	}
	defer func() {
		for _, path := range paths {
			os.Remove(path) //nolint:errcheck // goes with its folder
		}
	}()
	var got outcome
	err = guarded(func() (err error) {
		got, err = c.measured(t, paths)
		return err
	})
	refused := (*check.Refusal)(nil)
	switch {
	case errors.As(err, &refused):
		f.Code = refused.Code
		f.Checks, err = c.checksUpTo(t, got, refused, paths)
		return f, err
	case err != nil:
		return f, err
	}
	f.Off, f.Worst = want.off(got.record)
	f.Checks = got.record.Checks
	return f, nil
}

// ruleFault is the message of a rule that failed a check.
var ruleFault = regexp.MustCompile(`(rule [a-z/, ]+|[a-z/ ]+ marks[a-z/ ]*|like rows [a-z ]+): ([-+0-9.e]+) is (above|below) the limit of ([-+0-9.e]+)`)

// checksUpTo returns the checks made before a refusal and the one that failed,
// of both searches where they run side by side.
func (c cell) checksUpTo(t *testing.T, got outcome, refused *check.Refusal, paths []string) ([]check.Check, error) {
	checks := slices.Clone(got.record.Checks)
	light := got.photo.Light
	if light.W == 0 {
		return checks, nil // refused before it was seen
	}
	if m := ruleFault.FindStringSubmatch(refused.Message); m != nil {
		value, _ := strconv.ParseFloat(m[2], 64) //nolint:errcheck // the pattern wants a number
		limit, _ := strconv.ParseFloat(m[4], 64) //nolint:errcheck // the same
		checks = append(checks, check.Check{Name: m[1], Value: value, Limit: limit})
	}
	var more []check.Check
	switch c.kind {
	case "joint":
		_, more, _ = vision.FindJoint(light, got.photo.Curve) //nolint:errcheck // of interest are the checks
	case "span":
		_, more, _ = vision.FindHeads(light, got.photo.Curve) //nolint:errcheck // the same
	default:
		apart, err := vision.Open(t.Context(), paths[1], vision.Limits{})
		if err != nil {
			return checks, err
		}
		_, more, _ = vision.FindMotion(light, apart.Light, vision.MotionHint{}) //nolint:errcheck // the same
	}
	return append(checks, more...), nil
}

// off returns how far the worst of the figures lies from the truth.
func (w truth) off(got record.Record) (off float64, worst string) {
	hold := func(name string, halves float64) {
		if worst == "" || halves > off || math.IsNaN(halves) {
			off, worst = halves, name
		}
	}
	for _, name := range slices.Sorted(maps.Keys(w.lengths)) {
		q, ok := got.Results.Find(name)
		if !ok {
			return absent, name
		}
		hold(name, halves(q, w.lengths[name]))
	}
	if len(w.pitches) == 0 {
		return off, worst
	}
	// Fewer pitches than there are is what the record says; they are held
	// against the part of the chain that fits best.
	n := len(got.Pitches)
	best, which := math.Inf(1), "pitches"
	for from := 0; from+n <= len(w.pitches); from++ {
		if o, name := offPitches(got, w.pitches[from:from+n], w.links[from:from+n]); o < best {
			best, which = o, name
		}
	}
	hold(which, best)
	return off, worst
}

// absent is how far a figure is off that is not there or of another kind.
const absent = 99

// offPitches holds a span against the pitches it should have.
func offPitches(got record.Record, pitches []float64, links []geom.LinkKind) (off float64, worst string) {
	total := 0.0
	for i, p := range got.Pitches {
		total += pitches[i]
		if p.Link != geom.UnknownLink && p.Link != links[i] {
			return absent, "links"
		}
		if o := halves(p.Length, pitches[i]); o > off {
			off, worst = o, "pitch"
		}
	}
	q, ok := got.Results.Find("span")
	if !ok {
		return absent, "span"
	}
	if o := halves(q, total); o > off {
		off, worst = o, "span"
	}
	return off, worst
}

// TestHarshPhoto measures the one photo that -harshphoto names.
func TestHarshPhoto(t *testing.T) {
	if *harshPhoto == "" {
		t.Skip("no -harshphoto")
	}
	at := strings.LastIndexByte(*harshPhoto, ',')
	for _, c := range cells() {
		if at < 0 || c.name() != (*harshPhoto)[:at] {
			continue
		}
		seed, err := strconv.Atoi((*harshPhoto)[at+1:])
		if err != nil {
			t.Fatal(err)
		}
		want, paths, err := c.photograph(os.TempDir(), seed)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(paths)
		got, err := c.measured(t, paths)
		t.Log("refused: ", err)
		for _, q := range got.record.Results {
			line := fmt.Sprintf("%-16s %.6f (%.6f to %.6f) %s", q.Name, q.Value, q.Lower, q.Upper, q.Unit)
			if truth, ok := want.lengths[q.Name]; ok {
				line += fmt.Sprintf(", true %.6f, %.2f halves off", truth, halves(q.Quantity, truth))
			}
			t.Log(line)
		}
		for i, p := range got.record.Pitches {
			t.Logf("pitch %d %s %.5f (%.5f to %.5f)", i, p.Link, p.Length.Value, p.Length.Lower, p.Length.Upper)
		}
		if want.pitches != nil {
			t.Log("true pitches ", want.pitches, want.links)
		}
		for _, k := range got.record.Checks {
			t.Logf("%+v", k)
		}
		if err == nil {
			off, worst := want.off(got.record)
			t.Logf("%.2f halves off: %s", off, worst)
		}
		return
	}
	t.Fatalf("no cell %q", *harshPhoto)
}

// TestHarshPhotos measures photos that a hurried hand takes with a cheap
// camera, and holds how many are wrong and how many good ones are refused
// against the promise.
func TestHarshPhotos(t *testing.T) {
	all, trials := cells(), *harshTrials
	if trials == 0 {
		trials = 1
		all = everyNth(all, 5)
	}
	done := harshDone(t)
	var jobs []func() (fared, error)
	var results []fared
	folder := t.TempDir()
	for seed := range trials { // of every cell the first, then the second, that a run cut short says something of all
		for _, c := range all {
			if c.kind != "joint" && 2*seed >= trials+1 {
				continue // half as many: they take longer
			}
			if f, ok := done[fmt.Sprint(c.name(), seed)]; ok {
				results = append(results, f)
				continue
			}
			jobs = append(jobs, func() (fared, error) { return c.fare(t, folder, seed) })
		}
	}
	results = append(results, inParallel(t, jobs)...)
	byCell := map[string][]fared{}
	for _, f := range results {
		byCell[f.Cell] = append(byCell[f.Cell], f)
	}
	sum := map[string]*tally{}
	for _, c := range all {
		for _, kind := range []string{c.kind, "all"} {
			if sum[kind] == nil {
				sum[kind] = newTally()
			}
			for _, f := range byCell[c.name()] {
				sum[kind].add(f, c.good)
			}
		}
	}
	for _, kind := range []string{"joint", "span", "play", "all"} {
		s := sum[kind]
		t.Logf("%-5s %d photos, %d measured, of them %d right, %d within twice, %d wrong (%.2f %%); %d of %d good ones refused (%.2f %%)",
			kind, s.photos, s.photos-s.refused, s.right, s.doubled, s.wrong, s.wrongPercent(), s.goodRefused, s.good, s.goodPercent())
	}
	if s := sum["all"]; s.wrongPercent() >= mostWrong || s.goodPercent() >= mostRefused {
		t.Errorf("%.2f %% of the measured photos are wrong and %.2f %% of the good ones refused, want less than %g %% and %g %%",
			s.wrongPercent(), s.goodPercent(), mostWrong, mostRefused)
	}
	if *harshTrials > 0 {
		writeHarsh(t, all, byCell, sum)
		writeGates(t, all, byCell)
	}
}

func everyNth(all []cell, n int) (out []cell) {
	for i := 0; i < len(all); i += n {
		out = append(out, all[i])
	}
	return out
}

// harshDone reads what an earlier run has measured.
func harshDone(t *testing.T) map[string]fared {
	t.Helper()
	done := map[string]fared{}
	data, err := os.ReadFile(*harshLog)
	if err != nil {
		return done
	}
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var f fared
		if json.Unmarshal(lines.Bytes(), &f) == nil { // a line cut off is measured again
			done[fmt.Sprint(f.Cell, f.Seed)] = f
		}
	}
	return done
}

// inParallel does the jobs on all cores and returns what they found in their
// order.
func inParallel(t *testing.T, jobs []func() (fared, error)) []fared {
	t.Helper()
	var log *os.File
	if *harshLog != "" {
		var err error
		if log, err = os.OpenFile(*harshLog, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644); err != nil {
			t.Fatal(err)
		}
		defer log.Close() //nolint:errcheck // each line was written
	}
	results := make([]fared, len(jobs))
	next := make(chan int)
	var wait sync.WaitGroup
	var mu sync.Mutex
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				f, err := jobs[i]()
				if err != nil {
					t.Errorf("%s, seed %d: %v", f.Cell, f.Seed, err)
				}
				if f.Off > 2 {
					t.Logf("%s,%d: %s is %.1f half intervals off", f.Cell, f.Seed, f.Worst, f.Off)
				}
				results[i] = f
				if log == nil {
					continue
				}
				line, err := json.Marshal(f)
				if err != nil {
					t.Errorf("%s, seed %d: %v", f.Cell, f.Seed, err)
				}
				mu.Lock()
				if _, err := log.Write(append(line, '\n')); err != nil {
					t.Error(err)
				}
				mu.Unlock()
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	wait.Wait()
	return results
}
