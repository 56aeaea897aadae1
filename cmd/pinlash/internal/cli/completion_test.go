package cli

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"pinlash/measure/wear"
)

func TestCompletionScripts(t *testing.T) {
	for shell, mark := range map[string]string{
		"bash": "complete -o default -F __start_pinlash pinlash", "zsh": "#compdef pinlash",
		"fish": "complete -c pinlash", "powershell": "Register-ArgumentCompleter -CommandName 'pinlash'",
	} {
		status, stdout, stderr := run(t, t.Context(), "completion", shell)
		if status != statusOK || stderr != "" || !strings.Contains(stdout, mark) {
			t.Errorf("completion %s: status %d, message %q, without %q", shell, status, stderr, mark)
		}
		if bash, err := exec.LookPath("bash"); shell == "bash" && err == nil {
			read := exec.CommandContext(t.Context(), bash, "-n")
			read.Stdin = strings.NewReader(stdout)
			if out, err := read.CombinedOutput(); err != nil {
				t.Errorf("bash does not take its script: %v, %s", err, out)
			}
		}
	}
}

// TestCompletions asks as the shells do: what goes with a value that begins
// with nothing, and in the last line, behind a colon, the sum of what the shell
// is to do with it (1 an error, 4 no files, 8 these are endings of files, 16
// folders).
func TestCompletions(t *testing.T) {
	var chains []string
	for _, c := range wear.Chains() {
		chains = append(chains, c.Designation)
	}
	chains = slices.Compact(chains)
	photos := strings.Fields("jpg JPG jpeg JPEG png PNG tif TIF tiff TIFF")
	for _, c := range []struct {
		args string
		want []string
		then string
	}{
		{"joint --chain", chains, ":4"},
		{"play --chain", chains, ":4"},
		{"span --chain", chains, ":4"},
		{"stretch --chain", chains, ":4"},
		{"batch --chain", chains, ":4"},
		{"joint", photos, ":8"},
		{"joint a.jpg", photos, ":8"},
		{"play", photos, ":8"},
		{"play --together", photos, ":8"},
		{"play --clip", strings.Fields("avi AVI mp4 MP4 mov MOV"), ":8"},
		{"span", photos, ":8"},
		{"scale", photos, ":8"},
		{"scale --save", nil, ":0"},
		{"joint --scale-file", nil, ":0"},
		{"joint --division", nil, ":4"},
		{"joint --overlay", nil, ":16"},
		{"batch", nil, ":16"},
		{"batch --out", nil, ":16"},
		{"report", []string{"jsonl", "JSONL"}, ":8"},
		{"report --out", []string{"html", "HTML"}, ":8"},
		{"stretch", nil, ":4"},
		{"stretch --over", []string{"pins", "rollers"}, ":4"},
		{"stretch --file", []string{"toml", "TOML"}, ":8"},
		{"completion", []string{"bash", "zsh", "fish", "powershell"}, ":4"},
		{"demo", nil, ":16"},
		{"chains", nil, ":4"},
	} {
		args := append([]string{"__completeNoDesc"}, append(strings.Fields(c.args), "")...)
		status, stdout, _ := run(t, t.Context(), args...)
		lines := strings.Split(strings.TrimSpace(stdout), "\n")
		got, then := lines[:len(lines)-1], lines[len(lines)-1]
		if status != statusOK || !slices.Equal(got, c.want) || then != c.then {
			t.Errorf("after pinlash %s: status %d, %q %s; want %q %s", c.args, status, got, then, c.want, c.then)
		}
	}
	_, stdout, _ := run(t, t.Context(), "__complete", "help", "")
	if !strings.Contains(stdout, "joint\tmeasure a pin") || strings.Contains(stdout, "man\t") {
		t.Errorf("after pinlash help: %s", stdout)
	}
}
