package batch

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

func TestProgressInAFile(t *testing.T) {
	var out bytes.Buffer
	p := NewProgress(&out)
	now := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	p.now = func() time.Time { return now }
	p.start(200)
	for i := range 200 {
		now = now.Add(time.Second)
		p.step(i%50 == 10)
		if i == 99 {
			fmt.Fprintln(p, "joint-100.jpg: overlay: no room")
		}
	}
	p.end()
	const want = `batch: 200 to do
batch: 30 of 200 done, 1 refused, about 2m50s left
batch: 60 of 200 done, 1 refused, about 2m20s left
batch: 90 of 200 done, 2 refused, about 1m50s left
joint-100.jpg: overlay: no room
batch: 120 of 200 done, 3 refused, about 1m20s left
batch: 150 of 200 done, 3 refused, about 50s left
batch: 180 of 200 done, 4 refused, about 20s left
batch: 200 of 200 done, 4 refused in 3m20s
`
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

func TestProgressOnATerminal(t *testing.T) {
	var out bytes.Buffer
	p := NewProgress(&out)
	p.isTerm = true
	p.start(3)
	p.step(false)
	time.Sleep(150 * time.Millisecond) // the bar is drawn ten times a second at most
	p.step(false)
	fmt.Fprintln(p, "joint-2.jpg: refused")
	p.step(true)
	p.end()
	text := out.String()
	for _, part := range []string{"2/3", "joint-2.jpg: refused\n", "batch: 3 of 3 done, 1 refused in "} {
		if !strings.Contains(text, part) {
			t.Errorf("no %q in %q", part, text)
		}
	}
	before, _, _ := strings.Cut(text, "joint-2.jpg")
	if !strings.HasSuffix(before, "\r") && !strings.HasSuffix(before, "\x1b[2K\r") {
		t.Errorf("the bar stands before the message: %q", before)
	}
}

func TestNoProgress(t *testing.T) {
	var p *Progress
	p.start(1)
	p.step(true)
	p.end()
	f, err := os.CreateTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if NewProgress(f).isTerm {
		t.Error("a file is taken for a terminal")
	}
	b := newBench(t, 2)
	b.mustRun(t, Options{Progress: NewProgress(f)})
	text, err := os.ReadFile(f.Name())
	if err != nil || !strings.HasPrefix(string(text), "batch: 2 to do\nbatch: 2 of 2 done in ") {
		t.Errorf("%q, %v", text, err)
	}
}
