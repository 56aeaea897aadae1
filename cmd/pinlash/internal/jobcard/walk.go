package jobcard

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
)

// Bounds of a folder, beyond that of any study and of what a wrong path, like
// that of a whole disk, should cost.
const (
	mostDepth = 8
	mostFiles = 1_000_000
)

// tree is what lies in a folder. All paths are relative to it, with slashes.
type tree struct {
	files    []string        // photos, clips and others that are no side files, in natural order
	cards    []string        // the topmost first, in natural order
	scales   map[string]bool // kept scales
	problems []Problem
	faults   []error // cards that cannot be used, of type *FileError
}

// walk lists the folder and those below. Hidden files and folders, side files
// and what pinlash wrote are left out. No link is followed out of the folder.
func walk(root *os.Root) (tree, error) {
	w := walker{root: root, tree: tree{scales: map[string]bool{}}, seen: map[string]bool{}}
	if err := w.folder(".", 0); err != nil {
		return tree{}, err
	}
	w.follow()
	slices.SortFunc(w.files, natural)
	slices.SortFunc(w.cards, func(a, b string) int { return natural(path.Dir(a), path.Dir(b)) })
	return w.tree, nil
}

type walker struct {
	root *os.Root
	tree
	seen  map[string]bool // folders and files that were listed, whether taken or not
	links []string
	count int
}

// folder lists one folder. An error ends the walk.
func (w *walker) folder(dir string, depth int) error {
	entries, err := w.list(dir)
	if err != nil {
		if dir == "." {
			return err
		}
		w.problem(dir, "cannot be read: "+reason(err))
		return nil
	}
	w.seen[dir] = true
	if w.count += len(entries); w.count > mostFiles {
		return fmt.Errorf("more than %d files: name the folder of the photos alone", mostFiles)
	}
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.Type()&fs.ModeSymlink != 0:
			w.links = append(w.links, name)
		case e.IsDir() && e.Name() == overlayFolder:
		case e.IsDir() && depth == mostDepth:
			w.problem(name, fmt.Sprintf("lies more than %d folders deep and was not read", mostDepth))
		case e.IsDir():
			if err := w.folder(name, depth+1); err != nil {
				return err
			}
		case !e.Type().IsRegular():
			w.lost(name, "is no file")
		default:
			w.seen[name] = true
			w.take(name)
		}
	}
	return nil
}

func (w *walker) list(dir string) ([]fs.DirEntry, error) {
	f, err := w.root.Open(filepath.FromSlash(dir))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return f.ReadDir(-1)
}

// take sorts a file in.
func (w *walker) take(name string) {
	base := path.Base(name)
	switch sort := sortOf(base); {
	case base == CardName:
		w.cards = append(w.cards, name)
	case strings.EqualFold(base, CardName):
		w.problem(name, "is no job card by that name: write it "+CardName)
	case sort == photo, sort == clip, sort == strange:
		w.files = append(w.files, name)
	case strings.EqualFold(path.Ext(base), scaleEnding):
		w.scales[name] = true
	}
}

// follow takes the files to which links lead, unless they were listed anyway.
func (w *walker) follow() {
	top, err := filepath.EvalSymlinks(w.root.Name())
	if err != nil {
		top = w.root.Name()
	}
	for _, name := range w.links {
		target, err := filepath.EvalSymlinks(filepath.Join(top, filepath.FromSlash(name)))
		if err != nil {
			w.lost(name, "is a link that leads nowhere")
			continue
		}
		inside, err := filepath.Rel(top, target)
		if err != nil || !filepath.IsLocal(inside) {
			w.lost(name, "is a link that leads out of the folder, and is not followed")
			continue
		}
		if w.seen[filepath.ToSlash(inside)] && path.Base(name) != CardName {
			continue
		}
		info, err := w.root.Stat(filepath.FromSlash(name))
		switch {
		case err != nil:
			w.lost(name, "is a link that cannot be followed: "+reason(err))
		case info.IsDir():
			w.lost(name, "is a link to a folder that was not read, and is not followed")
		case !info.Mode().IsRegular():
			w.lost(name, "is no file")
		default:
			w.take(name)
		}
	}
}

// lost says why something was not taken. Without a job card nothing around it
// would be measured as was meant.
func (w *walker) lost(name, message string) {
	if path.Base(name) == CardName {
		w.faults = append(w.faults, &FileError{Path: name, Message: message})
		return
	}
	w.problem(name, message)
}

func (w *walker) problem(path, message string) {
	w.problems = append(w.problems, Problem{path, message})
}

// reason returns an error of the file system without its path.
func reason(err error) string {
	var fault *fs.PathError
	if errors.As(err, &fault) {
		err = fault.Err
	}
	var number syscall.Errno
	if errors.As(err, &number) {
		return number.Error()
	}
	return err.Error()
}

// readCard reads and decodes one card. Its error is a *FileError.
func readCard(root *os.Root, name string) (card, error) {
	text, err := readCapped(root, name)
	var c card
	if err == nil {
		c, err = decode(text)
	}
	var fault *FileError
	switch {
	case errors.As(err, &fault):
		fault.Path = name
		return card{}, fault
	case err != nil:
		return card{}, &FileError{Path: name, Message: "cannot be read: " + reason(err)}
	}
	return c, c.settle(name)
}

func readCapped(root *os.Root, name string) ([]byte, error) {
	f, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, mostCardBytes+1))
}
