package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/vision/synth"
)

// teardown writes photos of that many small joints into a folder, joint-1.jpg
// and so on.
func teardown(folder string, joints int) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	for i := range joints {
		s := synth.Ring(150, 11+float64(i%7), 1.5, 0)
		s.Seed = uint64(100 + i)
		if err := writePhoto(filepath.Join(folder, fmt.Sprintf("joint-%d.jpg", i+1)), s); err != nil {
			return err
		}
	}
	return nil
}

func writePhoto(path string, s synth.Scene) error {
	var b bytes.Buffer
	if err := s.WriteJPEG(&b); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// scaled are the flags that go with a teardown.
var scaled = []string{"--points", "0,0,300,0", "--distance", "5mm", "--chain", "06B"}

// drawTeardown is the script command "teardown FOLDER JOINTS".
func drawTeardown(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: teardown FOLDER JOINTS")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	ts.Check(teardown(ts.MkAbs(args[0]), n))
}

// sortedLines returns the lines of a file in the order of their bytes.
func sortedLines(t *testing.T, path string) []string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for line := range bytes.Lines(data) {
		lines = append(lines, string(line))
	}
	slices.Sort(lines)
	return lines
}

// TestKilledBatch kills a batch at twenty random moments, each time taking it
// up again, and holds the end against a run that was left in peace.
func TestKilledBatch(t *testing.T) {
	const joints, kills = 16, 20
	photos := filepath.Join(t.TempDir(), "photos")
	if err := teardown(photos, joints); err != nil {
		t.Fatal(err)
	}
	run := func(out string) *exec.Cmd {
		return exec.Command("pinlash", append([]string{"batch", photos, "--out", out}, scaled...)...)
	}
	inPeace, killed := t.TempDir(), t.TempDir()
	if out, err := run(inPeace).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	r := rand.New(rand.NewPCG(20, 26))
	died, longest := 0, 1500.0 // ms, from before it has begun to after it has ended
	for range kills {
		cmd := run(killed)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(r.Float64()*longest) * time.Millisecond)
		if err := cmd.Process.Kill(); err == nil {
			died++
		}
		cmd.Wait() //nolint:errcheck // it was killed
	}
	if out, err := run(killed).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Logf("killed %d times", died)
	for _, name := range []string{"results.jsonl", "results.csv"} {
		want, got := sortedLines(t, filepath.Join(inPeace, name)), sortedLines(t, filepath.Join(killed, name))
		if !slices.Equal(got, want) {
			t.Errorf("%s of a run that was killed differs from one left in peace: %d lines, want %d", name, len(got), len(want))
		}
	}
}

// TestBatchIsTheCommandItself holds the figures of a batch against those of
// pinlash joint with the flags that the line itself states.
func TestBatchIsTheCommandItself(t *testing.T) {
	folder := t.TempDir()
	if err := teardown(folder, 2); err != nil {
		t.Fatal(err)
	}
	if status, _, messages := run(t, t.Context(), append([]string{"batch", folder}, scaled...)...); status != statusOK {
		t.Fatalf("status %d\n%s", status, messages)
	}
	f, err := os.Open(filepath.Join(folder, "results.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // read only
	seen := 0
	err = record.Read(f, func(l record.Line, _ []byte) error {
		if l.Record == nil {
			return nil
		}
		seen++
		args := []string{"joint", filepath.Join(folder, l.Record.Photo.Path), "--json"}
		for name, value := range l.Batch().Settings {
			args = append(args, "--"+name+"="+value)
		}
		status, out, messages := run(t, t.Context(), args...)
		if status != statusOK {
			return fmt.Errorf("status %d: %s", status, messages)
		}
		alone, err := record.Decode([]byte(out))
		if err != nil {
			return err
		}
		for _, want := range alone.Record.Figures() {
			got, ok := l.Record.Figures().Find(want.Name)
			if !ok || got.Value != want.Value || got.U != want.U || got.Lower != want.Lower {
				return fmt.Errorf("%s of %s is %+v, alone %+v", want.Name, l.Record.Photo.Path, got, want.Quantity)
			}
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if seen != 2 {
		t.Errorf("%d photos in the results, want 2", seen)
	}
}

// TestScaleFileMovesWithFolder: neither a scale file in the folder nor one that
// was typed as lying in it brings the folder's own place into the results.
func TestScaleFileMovesWithFolder(t *testing.T) {
	reading, err := calib.FromPoints(r2.Vec{}, r2.Vec{X: 300}, 5, 0.1, calib.Options{W: 390, H: 390})
	if err != nil {
		t.Fatal(err)
	}
	var scale bytes.Buffer
	if err := calib.Encode(&scale, reading.Scale); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		card  string
		flags func(folder string) []string
	}{
		"card":  {"[scale]\nfile = \"x.scale\"\n", func(string) []string { return nil }},
		"typed": {"", func(folder string) []string { return []string{"--scale-file", filepath.Join(folder, "x.scale")} }},
	} {
		t.Run(name, func(t *testing.T) {
			var results []string
			for range 2 {
				folder := t.TempDir()
				if err := teardown(folder, 1); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(folder, "x.scale"), scale.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
				if c.card != "" {
					if err := os.WriteFile(filepath.Join(folder, "jobcard.toml"), []byte(c.card), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				if status, _, messages := run(t, t.Context(), append([]string{"batch", folder, "--chain", "06B"}, c.flags(folder)...)...); status != statusOK {
					t.Fatalf("status %d\n%s", status, messages)
				}
				text, err := os.ReadFile(filepath.Join(folder, "results.jsonl"))
				if err != nil {
					t.Fatal(err)
				}
				results = append(results, string(text))
			}
			if results[0] != results[1] || !strings.Contains(results[0], `"scale-file":"x.scale"`) {
				t.Errorf("in one folder\n%s\nin another\n%s", results[0], results[1])
			}
		})
	}
}

// TestCardOfOddName: what a folder is called does nothing to the terminal.
func TestCardOfOddName(t *testing.T) {
	folder := t.TempDir()
	odd := filepath.Join(folder, "a\x1b[31mb")
	if err := os.Mkdir(odd, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(odd, "jobcard.toml"), []byte("colour = 3\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	status, stdout, messages := run(t, t.Context(), "batch", folder)
	if status != statusFile || strings.Contains(stdout+messages, "\x1b") || !strings.Contains(messages, "line 1, column 1: unknown key") {
		t.Errorf("status %d, %q", status, messages)
	}
}

// TestBadHalfOfPair: it is said which photo of a play is the bad one.
func TestBadHalfOfPair(t *testing.T) {
	folder := t.TempDir()
	if err := teardown(folder, 1); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(folder, "joint-1.jpg"), filepath.Join(folder, "play-1-together.jpg")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "play-1-apart.jpg"), []byte("no photo"), 0o644); err != nil {
		t.Fatal(err)
	}
	status, _, messages := run(t, t.Context(), append([]string{"batch", folder}, scaled...)...)
	if status != statusRefused || !strings.Contains(messages, "refused (not_an_image): play-1-apart.jpg: ") {
		t.Errorf("status %d, %q", status, messages)
	}
}

// TestEarlierFirst has the inspections of one chain apart in the list, as in a
// folder of inspections with chains in each.
func TestEarlierFirst(t *testing.T) {
	of := func(chain, inspection string) inspected { return inspected{chain: chain, inspection: inspection} }
	order := []inspected{of("a", "late"), of("b", "late"), of("a", "early"), of("b", "early"), of("a", "new")}
	at := map[string]float64{"early": 400, "late": 800}
	earlierFirst(order, func(i inspected) float64 { return at[i.inspection] })
	want := []inspected{of("a", "new"), of("a", "early"), of("a", "late"), of("b", "early"), of("b", "late")}
	if !slices.Equal(order, want) {
		t.Errorf("%v, want %v", order, want)
	}
}

// BenchmarkBatchWorkers measures a folder with one core and with two, and
// once more with nothing new. "two/one" is how much faster two are, "again %"
// what the second run costs of the first.
func BenchmarkBatchWorkers(b *testing.B) {
	const joints = 24
	photos := b.TempDir()
	if err := teardown(photos, joints); err != nil {
		b.Fatal(err)
	}
	timed := func(out string, workers int) time.Duration {
		args := append([]string{"batch", photos, "--quiet", "--out", out, "--workers", strconv.Itoa(workers)}, scaled...)
		began := time.Now()
		if status := Main(context.Background(), args, Streams{Out: io.Discard, Err: io.Discard}); status != statusOK {
			b.Fatal(errors.New("status " + strconv.Itoa(status)))
		}
		return time.Since(began)
	}
	for b.Loop() {
		out := b.TempDir()
		one := timed(b.TempDir(), 1)
		two := timed(out, 2)
		again := timed(out, 2)
		b.ReportMetric(one.Seconds()/two.Seconds(), "two/one")
		b.ReportMetric(100*again.Seconds()/two.Seconds(), "again%")
	}
}

// BenchmarkBatchAgain measures copies of one photo of 1600 x 1200 pixels,
// first few and then ten times as many, each run a process of its own. "again%"
// is what a second run with nothing new costs of the first, most of it the
// start of the program, so less the more photos there are; "memory10/1" is the
// largest memory of the many over that of the few.
func BenchmarkBatchAgain(b *testing.B) {
	const few = 20
	photo, err := os.ReadFile("../../../../samples/filler-drive-1.jpg")
	if err != nil {
		b.Fatal(err)
	}
	copies := func(n int) string {
		folder := b.TempDir()
		for i := range n {
			// What follows the photo's end makes another content of it.
			if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("joint-%d.jpg", i+1)), fmt.Append(photo, i), 0o644); err != nil {
				b.Fatal(err)
			}
		}
		return folder
	}
	run := func(folder string) (time.Duration, *syscall.Rusage) {
		cmd := exec.Command("pinlash", "batch", folder, "--division", "0.1mm", "--chain", "06B", "--quiet")
		began := time.Now()
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		return time.Since(began), cmd.ProcessState.SysUsage().(*syscall.Rusage)
	}
	for b.Loop() {
		many := copies(10 * few)
		_, ofFew := run(copies(few))
		first, ofMany := run(many)
		again, _ := run(many)
		b.ReportMetric(100*again.Seconds()/first.Seconds(), "again%")
		b.ReportMetric(float64(ofMany.Maxrss)/float64(ofFew.Maxrss), "memory10/1")
	}
}
