package batch

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"

	"pinlash/cmd/pinlash/internal/record"
)

// Work is one task: what is measured, and all that its line depends on.
type Work struct {
	// Name is its first photo, as it is printed in its line. It is part of the
	// task, so it must not depend on where pinlash was started.
	Name string
	// Inputs are paths of the files on whose contents the line depends: photos,
	// clip, saved scale.
	Inputs []string
	// Settings is everything else that the line depends on, in a canonical
	// text: the flags, the levels, whether pictures are drawn, the version of
	// pinlash. No two works of one name have the same.
	Settings string
}

// distinct makes sure that every work is a task of its own.
func distinct(work []Work) error {
	type identity struct{ name, settings string }
	seen := map[identity]bool{}
	for _, w := range work {
		id := identity{w.Name, w.Settings}
		if seen[id] {
			return fmt.Errorf("%q is there twice with the same settings", w.Name)
		}
		seen[id] = true
	}
	return nil
}

// contents reads every file once, however many works depend on it.
type contents struct {
	mu     sync.Mutex
	hashes map[string]func() (string, error)
}

func (c *contents) hash(path string) (string, error) {
	c.mu.Lock()
	if c.hashes == nil {
		c.hashes = map[string]func() (string, error){}
	}
	hash, ok := c.hashes[path]
	if !ok {
		hash = sync.OnceValues(func() (string, error) { return record.HashFile(path) })
		c.hashes[path] = hash
	}
	c.mu.Unlock()
	return hash()
}

// task returns the work's key, and whether all its inputs could be read.
func (c *contents) task(w Work) (task string, readable bool) {
	h := sha256.New()
	fmt.Fprintf(h, "pinlash task 1\n%q\n%q\n", w.Name, w.Settings) // the quotes keep the parts apart
	readable = true
	for _, path := range w.Inputs {
		hash, err := c.hash(path)
		if err != nil {
			hash, readable = "unreadable", false
		}
		fmt.Fprintln(h, hash)
	}
	return hex.EncodeToString(h.Sum(nil)), readable
}
