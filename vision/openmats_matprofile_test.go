//go:build matprofile

package vision

import (
	"strings"

	"gocv.io/x/gocv"
)

// openMats returns where the matrices still open were made, "" if there are
// none.
func openMats() string {
	if gocv.MatProfile.Count() == 0 {
		return ""
	}
	var text strings.Builder
	gocv.MatProfile.WriteTo(&text, 1)
	return text.String()
}
