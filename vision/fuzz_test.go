package vision

import "testing"

// FuzzDecode feeds damaged files. Those that get past the walk over the
// markers of a JPEG are decoded in a child process, where an abort in C code
// counts as a failure; all others are decoded here, and the scans are counted
// off here too, where the fuzzer sees how.
func FuzzDecode(f *testing.F) {
	for _, data := range whole(f) {
		f.Add(data)
	}
	child := startChild(f, "guarded")
	f.Cleanup(func() { child.stop() })
	f.Fuzz(func(t *testing.T, data []byte) {
		if kindOf(data) == kindJPEG {
			if stream, err := walkJPEG(data, fuzzLimits); err == nil {
				damaged := damagedScans(stream)
				answer, err := child.decode(data)
				if err != nil {
					child = startChild(t, "guarded")
					t.Fatal("the child process died:", err)
				}
				if answer == 2 || answer == 1 && damaged != nil {
					t.Fatalf("unsound answer %d, scans: %v", answer, damaged)
				}
				return
			}
		}
		if problem := unsound(Decode(data, "", fuzzLimits)); problem != "" {
			t.Fatal(problem)
		}
	})
}
