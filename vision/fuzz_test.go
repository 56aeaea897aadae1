package vision

import "testing"

// FuzzDecode feeds damaged files. Those that get past the walk over the
// markers of a JPEG are decoded in a child process, where an abort in C code
// counts as a failure; all others are decoded here.
func FuzzDecode(f *testing.F) {
	for _, data := range whole(f) {
		f.Add(data)
	}
	child := startChild(f, "guarded")
	f.Cleanup(func() { child.stop() })
	f.Fuzz(func(t *testing.T, data []byte) {
		if kindOf(data) == kindJPEG {
			if _, err := walkJPEG(data, fuzzLimits); err == nil {
				answer, err := child.decode(data)
				if err != nil {
					child = startChild(t, "guarded")
					t.Fatal("the child process died:", err)
				}
				if answer == 2 {
					t.Fatal("unsound answer")
				}
				return
			}
		}
		if problem := unsound(Decode(data, "", fuzzLimits)); problem != "" {
			t.Fatal(problem)
		}
	})
}
