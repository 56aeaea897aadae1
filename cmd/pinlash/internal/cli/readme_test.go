package cli

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	console = regexp.MustCompile("(?s)```console\n(.*?)```")
	numbers = regexp.MustCompile(`-?\d+(\.\d+)?`)
	spaces  = regexp.MustCompile(` +`)
)

// TestReadme runs the commands that the README shows, from the folder it
// stands in, and holds what they print against what it says they print. Only
// the digits may differ; other tests hold the figures.
func TestReadme(t *testing.T) {
	root, err := filepath.Abs("../../../..")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	seen := t.TempDir()
	t.Chdir(root)
	blocks := console.FindAllSubmatch(readme, -1)
	if len(blocks) == 0 {
		t.Fatal("the README shows no command")
	}
	for _, block := range blocks {
		line, want, _ := strings.Cut(string(block[1]), "\n")
		args, ok := strings.CutPrefix(line, "$ pinlash ")
		if !ok {
			t.Errorf("not a command of pinlash: %s", line)
			continue
		}
		args = strings.Replace(args, "--overlay seen", "--overlay "+seen, 1)
		status, stdout, stderr := run(t, t.Context(), strings.Fields(args)...)
		if status != statusOK || words(stdout) != words(want) {
			t.Errorf("%s: status %d %s, prints\n%s\nREADME has\n%s", line, status, stderr, stdout, want)
		}
	}
}

func words(s string) string { return spaces.ReplaceAllString(numbers.ReplaceAllString(s, "#"), " ") }

var files = regexp.MustCompile("(?s)```toml\n(.*?)```")

// TestReadmeFiles takes every file of readings that the README shows through
// the model.
func TestReadmeFiles(t *testing.T) {
	readme, err := os.ReadFile("../../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := files.FindAllSubmatch(readme, -1)
	if len(blocks) == 0 {
		t.Fatal("the README shows no file")
	}
	for _, block := range blocks {
		path := filepath.Join(t.TempDir(), "drive.toml")
		if err := os.WriteFile(path, block[1], 0o644); err != nil {
			t.Fatal(err)
		}
		status, stdout, stderr := run(t, t.Context(), "stretch", "--file", path)
		if status != statusOK || !strings.Contains(stdout, "lag crank") {
			t.Errorf("status %d, %s%s", status, stdout, stderr)
		}
	}
}
