package record

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
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
		return &fs.PathError{Op: "write", Path: path, Err: errNotPlain}
	}
	return renameio.WriteFile(path, data, 0o644, renameio.WithTempDir(filepath.Dir(path)))
}

// HashFile returns the SHA-256 of a file's content in hexadecimal digits.
func HashFile(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() { // a pipe would keep us waiting for ever
		return "", &fs.PathError{Op: "read", Path: path, Err: errNotPlain}
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

var errNotPlain = errors.New("not a plain file")
