package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pinlash/cmd/pinlash/internal/jobcard"
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
// the model, and reads every job card.
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
		if bytes.Contains(block[1], []byte("[new_chain]")) {
			readCard(t, block[1])
			continue
		}
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

// readCard wants a job card to be one, though its photos are missing.
func readCard(t *testing.T, card []byte) {
	t.Helper()
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, jobcard.CardName), card, 0o644); err != nil {
		t.Fatal(err)
	}
	study, err := jobcard.Read(folder)
	if err != nil || len(study.Cards) != 1 {
		t.Errorf("the job card of the README: %v, %d cards read", err, len(study.Cards))
	}
}

var (
	goTest   = regexp.MustCompile("`go test ([^`]*)`")
	selector = regexp.MustCompile(`-(run|bench) (?:'([^']*)'|(\S+))`)
	function = regexp.MustCompile(`(?m)^func ((?:Test|Fuzz|Benchmark|Example)\w*)\(`)
)

// TestDevelopersCommands wants every test command of DEVELOPERS.md to name
// folders that are there, and each of its alternatives a test in them.
func TestDevelopersCommands(t *testing.T) {
	root, err := filepath.Abs("../../../..")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	commands := goTest.FindAllSubmatch(text, -1)
	if len(commands) == 0 {
		t.Fatal("DEVELOPERS.md shows no test command")
	}
	for _, c := range commands {
		command := string(c[1])
		var names []string
		for _, word := range strings.Fields(command) {
			if folder, ok := strings.CutPrefix(word, "./"); ok {
				names = append(names, testsIn(t, filepath.Join(root, folder))...)
			}
		}
		if len(names) == 0 {
			t.Errorf("go test %s: no tests in its folders", command)
		}
		for _, s := range selector.FindAllStringSubmatch(command, -1) {
			pattern := s[2] + s[3]
			if pattern == "^$" { // none, on purpose
				continue
			}
			for one := range strings.SplitSeq(pattern, "|") {
				one, _, _ = strings.Cut(one, "/") // the rest names a subtest
				found := slices.ContainsFunc(names, regexp.MustCompile(one).MatchString)
				if !found {
					t.Errorf("go test %s: no test matches %q", command, one)
				}
			}
		}
	}
}

// testsIn returns the names of the tests in a folder, or with "..." also in
// those below.
func testsIn(t *testing.T, folder string) []string {
	t.Helper()
	folder, below := strings.CutSuffix(folder, "...")
	folder = filepath.Clean(folder)
	var names []string
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != folder && !below:
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, "_test.go"):
			return nil
		}
		source, err := os.ReadFile(path)
		for _, f := range function.FindAllSubmatch(source, -1) {
			names = append(names, string(f[1]))
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	return names
}
