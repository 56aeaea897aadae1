package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestFront builds the program that looks at no photo, holds that it has no
// OpenCV in it, and that it hands over what needs photos, word for word.
func TestFront(t *testing.T) {
	deps, err := exec.Command("go", "list", "-deps", "-tags", "front", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for dep := range strings.Lines(string(deps)) {
		if strings.Contains(dep, "gocv") || strings.Contains(dep, "pinlash/vision") {
			t.Errorf("it is built with %s", strings.TrimSpace(dep))
		}
	}
	folder := t.TempDir()
	front := filepath.Join(folder, "pinlash")
	if out, err := exec.Command("go", "build", "-tags", "front", "-o", front, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	run := func(args ...string) (string, int) {
		cmd := exec.Command(front, args...)
		out, err := cmd.CombinedOutput()
		if err != nil && cmd.ProcessState == nil {
			t.Fatal(err)
		}
		return string(out), cmd.ProcessState.ExitCode()
	}
	if out, status := run("chains"); status != 0 || !strings.Contains(out, "06B") {
		t.Errorf("chains: status %d, %s", status, out)
	}
	if out, status := run("joint", "a.jpg"); status != 4 || !strings.Contains(out, "belongs beside this one") {
		t.Errorf("joint without the other program: status %d, %s", status, out)
	}
	other := "#!/bin/sh\nfor a in \"$@\"; do echo \"[$a]\"; done\nexit 3\n"
	if err := os.WriteFile(filepath.Join(folder, "pinlash-photo"), []byte(other), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ given, handed string }{
		{"joint a.jpg --division 0.1mm", "[joint] [a.jpg] [--division] [0.1mm]"},
		{"batch --new folder", "[batch] [--new] [folder]"},
		{"span --help", "[span] [--help]"},
		{"help play", "[play] [--help]"},
		{"man folder", "[man] [folder]"},
		{"__complete joint --chain 06", "[__complete] [joint] [--chain] [06]"},
	} {
		out, status := run(strings.Fields(c.given)...)
		if got := strings.Join(strings.Fields(out), " "); got != c.handed || status != 3 {
			t.Errorf("%s: status %d, handed over %s, want %s", c.given, status, got, c.handed)
		}
	}
}
