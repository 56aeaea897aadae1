package cli

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

// TestManPages wants for every command a page with its parts and all its flags,
// the same whenever it is written, and nothing left in it that troff or Markdown
// would have been misled by.
func TestManPages(t *testing.T) {
	folder, again := filepath.Join(t.TempDir(), "man"), t.TempDir()
	t.Setenv("SOURCE_DATE_EPOCH", "1")
	for _, to := range []string{folder, again} {
		if status, stdout, stderr := run(t, t.Context(), "man", to); status != statusOK || stdout != "" || stderr != "" {
			t.Fatalf("pinlash man: status %d, %s%s", status, stdout, stderr)
		}
	}
	root := newRoot(Streams{})
	pages := 0
	for _, cmd := range append(root.Commands(), root) {
		if !cmd.IsAvailableCommand() || cmd.Name() == "help" {
			continue
		}
		pages++
		name := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
		page, err := os.ReadFile(filepath.Join(folder, name+".1"))
		if err != nil {
			t.Error(err)
			continue
		}
		if other, err := os.ReadFile(filepath.Join(again, name+".1")); err != nil || !bytes.Equal(page, other) {
			t.Errorf("%s is not the same when written again: %v", name, err)
		}
		plain := asRead(string(page))
		want := []string{
			`.TH "` + strings.ToUpper(name) + `" "1" "Nov 2026" "pinlash ` + Version + `"`,
			".SH NAME\n" + name + " - " + cmd.Short, ".SH SYNOPSIS\n" + cmd.CommandPath(),
			".SH DESCRIPTION\n", ".SH OPTIONS\n", "--help", ".SH SEE ALSO\n",
		}
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			_, usage := pflag.UnquoteUsage(f)
			want = append(want, "--"+f.Name, usage)
		})
		for line := range strings.Lines(cmd.Long) {
			want = append(want, strings.TrimSpace(line))
		}
		for line := range strings.Lines(cmd.Example) {
			want = append(want, strings.TrimSpace(line))
		}
		for _, part := range want {
			if !strings.Contains(plain, part) {
				t.Errorf("%s lacks %q", name, part)
			}
		}
		if groff, err := exec.LookPath("groff"); err == nil {
			out, err := exec.CommandContext(t.Context(), groff, "-man", "-Tutf8", "-wall", "-z", filepath.Join(folder, name+".1")).CombinedOutput()
			if err != nil || len(out) > 0 {
				t.Errorf("groff on %s: %v\n%s", name, err, out)
			}
		}
	}
	files, err := os.ReadDir(folder)
	if err != nil || len(files) != pages {
		t.Errorf("%d files for %d commands: %v", len(files), pages, err)
	}
}

var (
	fontChange = regexp.MustCompile(`\\f[BIRP]`)
	paragraph  = regexp.MustCompile(`\n+`)
)

// asRead takes the troff out of a page, as far as it is in these.
func asRead(page string) string {
	page = fontChange.ReplaceAllString(page, "")
	page = strings.NewReplacer(`\-`, "-", `\&`, "", `\e`, `\`, `\(aq`, "'").Replace(page)
	return paragraph.ReplaceAllString(page, "\n")
}
