package cli

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestNoEscapes runs every command into a pipe, where there must be no escape
// sequence, NO_COLOR or not. The demo takes longer; its script looks for them.
func TestNoEscapes(t *testing.T) {
	photo, err := os.ReadFile(sample)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "joint-1.jpg"), photo, 0o644); err != nil {
		t.Fatal(err)
	}
	lines := map[string]string{
		"joint":      "joint " + sample + " --division 0.1mm --chain 06B --explain",
		"play":       "play " + pairA + " " + pairB + " --division 0.5mm --same-plane",
		"span":       "span " + filepath.Join(spanFolder, "worn.jpg") + " --division 1mm --chain 05B",
		"scale":      "scale " + sample + " --division 0.1mm",
		"stretch":    "stretch --chain 06B --pins 15 --over pins --outside 136.9 --new-outside 136.63",
		"batch":      "batch " + folder + " --division 0.1mm --chain 06B",
		"report":     "report " + folder,
		"compare":    "compare " + filepath.Join("testdata", "compare"),
		"chains":     "chains",
		"demo":       "demo --help",
		"completion": "completion bash",
		"man":        "man " + t.TempDir(),
		"help":       "help joint",
	}
	commands := append(newRoot(Streams{}).Commands(), nil)
	for _, cmd := range commands {
		line := "nonsense"
		if cmd != nil {
			line = lines[cmd.Name()]
		}
		if line == "" {
			t.Errorf("no line to try pinlash %s with", cmd.Name())
			continue
		}
		output := piped(t, strings.Fields(line)...)
		if strings.ContainsRune(output, '\x1b') {
			t.Errorf("pinlash %s writes an escape sequence: %q", line, output)
		}
		if output == "" && line != lines["man"] {
			t.Errorf("pinlash %s says nothing", line)
		}
	}
}

// piped runs the tool with a pipe for its output and messages.
func piped(t *testing.T, args ...string) string {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	text := make(chan string)
	go func() {
		all, _ := io.ReadAll(r)
		text <- string(all)
	}()
	Main(t.Context(), args, Streams{Out: w, Err: w})
	w.Close()
	return <-text
}

// TestFrameCount: frames are counted where a line can be cleared again, and
// nowhere else.
func TestFrameCount(t *testing.T) {
	terminal, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skip("no terminal to be had: ", err)
	}
	defer terminal.Close()
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	for _, c := range []struct {
		name  string
		to    io.Writer
		term  string
		quiet bool
		want  bool
	}{
		{"a terminal", terminal, "xterm", false, true},
		{"a dumb terminal", terminal, "dumb", false, false},
		{"a terminal with --quiet", terminal, "xterm", true, false},
		{"the null device", null, "xterm", false, false},
		{"no file", io.Discard, "xterm", false, false},
	} {
		t.Setenv("TERM", c.term)
		if progress, _ := frameCount(c.to, c.quiet); (progress != nil) != c.want {
			t.Errorf("%s: counted is %v, want %v", c.name, progress != nil, c.want)
		}
	}
}
