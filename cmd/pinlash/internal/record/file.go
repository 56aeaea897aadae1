package record

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"
)

// WriteFile puts data into a file that appears whole or not at all: it is
// written beside its place, synced and renamed. It refuses a place that is
// taken by a folder, a device or a pipe, which a rename would destroy.
func WriteFile(path string, data []byte) error {
	if at, err := os.Stat(path); err == nil && !at.Mode().IsRegular() {
		return &fs.PathError{Op: "write", Path: path, Err: errors.New("not a plain file")}
	}
	return renameio.WriteFile(path, data, 0o644, renameio.WithTempDir(filepath.Dir(path)))
}
