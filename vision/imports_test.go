package vision

import (
	"os/exec"
	"strings"
	"testing"
)

const gocvPath = "gocv.io/x/gocv"

// Everything that needs no photo file must build and run without OpenCV.
func TestPureGo(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "pinlash/calib/...", "pinlash/measure/...",
		"pinlash/vision/raster/...", "pinlash/vision/subpixel/...", "pinlash/vision/synth/...").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	deps := strings.Fields(string(out))
	if len(deps) < 5 {
		t.Fatalf("go list names only %v", deps)
	}
	for _, dep := range deps {
		if strings.HasPrefix(dep, gocvPath) {
			t.Errorf("%s is linked", dep)
		}
	}
}

// Package vision alone knows OpenCV.
func TestOnlyImporterOfOpenCV(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}}:{{range .Imports}} {{.}}{{end}}", "pinlash/...").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	var importers []string
	for line := range strings.Lines(string(out)) {
		if path, imports, _ := strings.Cut(line, ":"); strings.Contains(imports, gocvPath) {
			importers = append(importers, path)
		}
	}
	if len(importers) != 1 || importers[0] != "pinlash/vision" {
		t.Errorf("importers of OpenCV: %v", importers)
	}
}
