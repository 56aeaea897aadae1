package batch

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The tests run themselves as a child with this in its environment, to be
// killed or to run out of room.
const (
	childFolder = "PINLASH_TEST_CHILD_FOLDER"
	childPhotos = "PINLASH_TEST_CHILD_PHOTOS"
	childShard  = "PINLASH_TEST_CHILD_SHARD"
	childRoom   = "PINLASH_TEST_CHILD_ROOM" // bytes in a file
)

const (
	exitFile  = 4
	exitFault = 1
)

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		os.Exit(child(folder))
	}
	os.Exit(m.Run())
}

func child(folder string) int {
	b := &bench{folder: folder, log: filepath.Join(folder, "begun"), slow: 4 * time.Millisecond}
	n, _ := strconv.Atoi(os.Getenv(childPhotos))
	b.list(n)
	o := Options{Workers: 2}
	o.Shard, _ = ParseShard(os.Getenv(childShard))
	if room, err := strconv.ParseUint(os.Getenv(childRoom), 10, 63); err == nil {
		b.log, b.slow = "", 0
		signal.Ignore(syscall.SIGXFSZ) // so that writing fails, as on a full disk
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: room, Max: room}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return exitFault
		}
	}
	_, err := b.run(o)
	var at *fs.PathError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &at):
		fmt.Fprintln(os.Stderr, err)
		return exitFile
	}
	fmt.Fprintln(os.Stderr, err)
	return exitFault
}

func (b *bench) child(t *testing.T, env ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), childFolder+"="+b.folder, childPhotos+"="+strconv.Itoa(len(b.works)))
	cmd.Env = append(cmd.Env, env...)
	cmd.Stderr = os.Stderr
	return cmd
}

// Killed at any moment, a run loses no more than the two photos it was at, and
// ends with the results of a run in peace.
func TestKilled(t *testing.T) {
	const photos, kills = 400, 20
	for name, env := range map[string]string{"whole": "", "shard": childShard + "=1/1"} {
		b := newBench(t, photos)
		want := measuredFresh(t, b)
		rng := rand.New(rand.NewPCG(5, 1))
		killed := 0
		for range kills {
			cmd := b.child(t, env)
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Duration(rng.IntN(60)) * time.Millisecond)
			if err := cmd.Process.Signal(syscall.SIGKILL); err != nil && !errors.Is(err, os.ErrProcessDone) {
				t.Fatal(err)
			}
			if err := cmd.Wait(); err != nil {
				killed++
			}
		}
		cmd := b.child(t, env)
		if err := cmd.Run(); err != nil {
			t.Fatalf("%s: the last run: %v", name, err)
		}
		begun := len(b.read(t, "begun"))
		t.Logf("%s: %d of %d runs were killed; %d photos took %d measurings", name, killed, kills, photos, begun)
		if begun < photos || begun > photos+2*killed {
			t.Errorf("%s: %d measurings of %d photos in %d killed runs of two workers", name, begun, photos, killed)
		}
		if env != "" {
			if _, err := Join(t.Context(), b.folder, b.works, b.finish); err != nil {
				t.Fatal(err)
			}
		}
		sameResults(t, b, want)
		for _, e := range readDir(t, b.folder) {
			if strings.HasPrefix(e, ".") {
				t.Errorf("%s: %s was left behind", name, e)
			}
		}
	}
}

// Killed while it puts the lines in order, a run leaves the old files or the
// new ones.
func TestKilledAtTheEnd(t *testing.T) {
	const kills = 20
	b := newBench(t, 150)
	b.mustRun(t, Options{})
	results, table := b.read(t, Results), b.read(t, Table)
	lines := strings.SplitAfter(strings.TrimSuffix(results, "\n"), "\n")
	slices.Reverse(lines)
	reversed := strings.Join(append([]string{lines[0] + "\n"}, lines[1:]...), "")
	rng := rand.New(rand.NewPCG(5, 2))
	begun, ended := 0, 0
	for range kills {
		b.write(t, Results, reversed)
		b.write(t, Table, "old")
		cmd := b.child(t)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for until := time.Now().Add(10 * time.Second); !b.has("."+Table+".new") && b.read(t, Table) == "old" && time.Now().Before(until); {
			time.Sleep(50 * time.Microsecond)
		}
		time.Sleep(time.Duration(rng.IntN(8000)) * time.Microsecond)
		if err := cmd.Process.Signal(syscall.SIGKILL); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Fatal(err)
		}
		cmd.Wait() //nolint:errcheck // killed or not
		gotResults, gotTable := b.read(t, Results), b.read(t, Table)
		if gotResults != results && gotResults != reversed || gotTable != table && gotTable != "old" {
			t.Fatal("a file is neither the old one nor the new one")
		}
		if gotResults == results {
			ended++
		} else if gotTable == table || b.has("."+Table+".new") || b.has("."+Results+".new") {
			begun++
		}
		b.mustRun(t, Options{})
		if b.calls.Load() != 0 {
			t.Errorf("%d measured again", b.calls.Load())
		}
		for _, e := range readDir(t, b.folder) {
			if strings.HasPrefix(e, ".") {
				t.Errorf("%s was left behind", e)
			}
		}
	}
	if begun == 0 {
		t.Error("no kill came while the files were written")
	}
	t.Logf("of %d kills %d came while the files were written, %d after", kills, begun, ended)
}

// Whatever the file in which the room runs out, every file is whole and no
// line is lost.
func TestNoRoom(t *testing.T) {
	b := newBench(t, 30)
	b.list(10)
	b.mustRun(t, Options{})
	oldResults, oldTable := b.read(t, Results), b.read(t, Table)
	b.list(30)
	want := measuredFresh(t, b)
	failed := 0
	size := len(want.read(t, Results))
	for room := len(oldResults) - 100; room < size+2000; room += size / 12 {
		b.write(t, Results, oldResults)
		b.write(t, Table, oldTable)
		if err := os.RemoveAll(filepath.Join(b.folder, "overlays")); err != nil {
			t.Fatal(err)
		}
		for i := range 10 {
			b.line(b.works[i], "") // draws its picture
		}
		cmd := b.child(t, childRoom+"="+strconv.Itoa(room))
		cmd.Stderr = nil
		out, err := cmd.Output()
		var exit *exec.ExitError
		switch {
		case err == nil:
			sameResults(t, b, want)
			continue
		case !errors.As(err, &exit) || exit.ExitCode() != exitFile:
			t.Fatalf("room for %d bytes: %v\n%s", room, err, out)
		}
		failed++
		if !strings.Contains(string(exit.Stderr), "file too large") {
			t.Errorf("room for %d bytes: %s", room, exit.Stderr)
		}
		if got := b.read(t, Table); got != oldTable && got != want.read(t, Table) {
			t.Errorf("room for %d bytes: the table is neither the old one nor the new one", room)
		}
		got := b.read(t, Results)
		if !strings.HasPrefix(got, oldResults) && got != want.read(t, Results) || !strings.HasSuffix(got, "\n") {
			t.Errorf("room for %d bytes: the ledger became\n%s", room, got)
		}
		for _, e := range readDir(t, b.folder) {
			if strings.HasPrefix(e, ".") {
				t.Errorf("room for %d bytes: %s was left behind", room, e)
			}
		}
		s := b.mustRun(t, Options{}) // there is room again
		if lines := strings.Count(got, "\n") - 1; s.Kept < lines {
			t.Errorf("room for %d bytes: %d kept of %d", room, s.Kept, lines)
		}
		sameResults(t, b, want)
	}
	if failed < 8 {
		t.Errorf("only %d runs had no room", failed)
	}
}

// With all photos measured, the room runs out for one of the files at the end.
func TestNoRoomAtTheEnd(t *testing.T) {
	b := newBench(t, 20)
	want := measuredFresh(t, b)
	if _, err := Run(t.Context(), b.folder, b.works, Options{}, b.measure, nil); err != nil {
		t.Fatal(err)
	}
	results := b.read(t, Results) // without the line of the chain
	for name, c := range map[string]struct {
		room int
		file string
	}{
		"the table":   {len(want.read(t, Table)) - 5, Table},
		"the results": {len(want.read(t, Results)) - 5, Results},
	} {
		b.write(t, Results, results)
		b.write(t, Table, "old")
		cmd := b.child(t, childRoom+"="+strconv.Itoa(c.room))
		cmd.Stderr = nil
		_, err := cmd.Output()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != exitFile || !strings.Contains(string(exit.Stderr), c.file) {
			t.Errorf("no room for %s: %v", name, err)
		}
		if b.read(t, Results) != results {
			t.Errorf("no room for %s: the ledger is another", name)
		}
		if got := b.read(t, Table); got != "old" && (c.file == Table || got != want.read(t, Table)) {
			t.Errorf("no room for %s: the table is\n%s", name, got)
		}
		b.mustRun(t, Options{})
		if b.calls.Load() != 0 {
			t.Errorf("no room for %s: %d measured again", name, b.calls.Load())
		}
		sameResults(t, b, want)
	}
}
