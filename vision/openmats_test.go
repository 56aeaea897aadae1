//go:build !matprofile

package vision

// openMats knows nothing without the tag matprofile.
func openMats() string { return "" }
