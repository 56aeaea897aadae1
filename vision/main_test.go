package vision

import (
	"fmt"
	"os"
	"testing"
)

// TestMain runs the tests, or serves as the child process of one; see
// decodeChild. Built with -tags matprofile it fails if a test leaves an OpenCV
// matrix open.
func TestMain(m *testing.M) {
	if mode := os.Getenv(childMode); mode != "" {
		serveDecode(mode, os.Stdin, os.Stdout)
		return
	}
	code := m.Run()
	if open := openMats(); open != "" {
		fmt.Fprintln(os.Stderr, "matrices left open:", open)
		code = 1
	}
	os.Exit(code)
}
