package jobcard

import (
	"fmt"
	"path"
	"slices"
	"strings"
)

// item is an entry of a card, of whatever kind, with the photos it names.
type item struct {
	statement
	card  *card
	kind  Kind
	line  int    // on which it begins; 0 if that is not known
	label string // for people

	joint word
	save  word

	// What it names, and what that was found to be. A clip is among the files.
	files, together, apart []named
}

// named is a list of patterns or, once they were matched, of paths.
type named struct {
	pattern pattern
	paths   []string
}

// settle finishes a card that was decoded: it gathers the entries, says where
// their scale files lie and refuses what cannot hold. Its errors are of type
// *FileError.
func (c *card) settle(name string) error {
	c.path = name
	if err := c.settleStatement(&c.statement, 0, ""); err != nil {
		return err
	}
	add := func(kind Kind, key string, i int, it item) {
		it.card, it.kind = c, kind
		it.label = fmt.Sprintf("[[%s]] number %d", key, i+1)
		if lines := c.lines[key]; i < len(lines) {
			it.line = lines[i]
		}
		c.items = append(c.items, it)
	}
	for i, e := range c.Joints {
		add(Joint, "joint", i, item{statement: e.statement, joint: e.Joint, files: unmatched(e.Files)})
	}
	for i, e := range c.Plays {
		e.moving, e.fixed = e.Moving, e.Fixed
		it := item{statement: e.statement, joint: e.Joint, together: unmatched(e.Together), apart: unmatched(e.Apart)}
		if e.Clip.is != "" {
			it.files = unmatched([]pattern{e.Clip})
		}
		add(Play, "play", i, it)
	}
	for i, e := range c.Spans {
		add(Span, "span", i, item{statement: e.statement, joint: e.Joint, files: unmatched(e.Files)})
	}
	for i, e := range c.Scales {
		add(Scale, "scale_photo", i, item{statement: e.statement, files: unmatched(e.Files), save: e.Save})
	}
	for i := range c.items {
		it := &c.items[i]
		if err := c.settleStatement(&it.statement, it.line, it.label+": "); err != nil {
			return err
		}
		if what := it.settle(); what != "" {
			return it.fault(what)
		}
	}
	return nil
}

func unmatched(patterns []pattern) []named {
	out := make([]named, len(patterns))
	for i, p := range patterns {
		out[i].pattern = p
	}
	return out
}

func (c *card) settleStatement(s *statement, line int, label string) error {
	if what := s.contradiction(); what != "" {
		return &FileError{Path: c.path, Line: line, Message: label + what}
	}
	if f := &s.Scale.File; f.given {
		file, ok := c.scaleFile(f.is)
		if !ok {
			return &FileError{Path: c.path, Line: line, Message: fmt.Sprintf("%sscale: file %q has to lie in the folder and to end in %s", label, f.is, scaleEnding)}
		}
		f.is = file
	}
	return nil
}

// settle says what is wrong with an entry; empty if nothing is.
func (it *item) settle() string {
	states := len(it.together) > 0 || len(it.apart) > 0
	switch {
	case it.kind == Play && states && len(it.files) > 0:
		return "clip stands instead of together and apart"
	case it.kind == Play && len(it.files) == 0 && (len(it.together) == 0 || len(it.apart) == 0):
		return "wants photos of both states, together and apart, or a clip"
	case it.kind != Play && len(it.files) == 0:
		return "names no files"
	case it.save.given:
		file, ok := it.card.scaleFile(it.save.is)
		if !ok {
			return fmt.Sprintf("save: %q has to lie in the folder and to end in %s", it.save.is, scaleEnding)
		}
		it.save.is = file
	}
	return ""
}

// scaleFile returns where a scale file lies that the card names.
func (c *card) scaleFile(name string) (string, bool) {
	if path.IsAbs(name) || path.Ext(name) != scaleEnding || path.Base(name) == scaleEnding {
		return "", false
	}
	name = path.Join(path.Dir(c.path), name)
	return name, !strings.HasPrefix(name, "../")
}

func (it *item) fault(message string) *FileError {
	return &FileError{Path: it.card.path, Line: it.line, Message: it.label + ": " + message}
}

// expand matches the patterns of the card's entries against the files.
func (a *arranging) expand(c *card) {
	for i := range c.items {
		it := &c.items[i]
		want := photo
		if it.kind == Play && len(it.files) > 0 {
			want = clip
		}
		for _, list := range [][]named{it.files, it.together, it.apart} {
			for j := range list {
				list[j].paths = a.match(it, list[j].pattern, want)
			}
		}
		a.items = append(a.items, it)
	}
}

// mostTried bounds the time that patterns take, to some seconds.
const mostTried = 10_000_000

// match returns the files that a pattern names, in natural order.
func (a *arranging) match(it *item, p pattern, want fileSort) []string {
	dir := path.Dir(it.card.path)
	if name, ok := p.exact(); ok {
		name = path.Join(dir, name)
		switch {
		case !a.files[name]:
			a.problem(it.card.path, it.says(fmt.Sprintf("there is no photo %q", p.is)))
			return nil
		case sortOf(name) == want:
			return []string{name}
		}
		a.taken[name] = true
		a.problem(name, map[fileSort]string{photo: "is no photo", clip: "is no clip"}[want]+", as "+it.card.path+" has it")
		return nil
	}
	candidates := a.tree.files
	within, base := pattern{path.Dir(p.is)}, path.Base(p.is)
	if folder, ok := within.exact(); ok {
		dir = path.Join(dir, folder)
		candidates = a.byDir[dir]
	} else {
		base = p.is
	}
	if a.tried += len(candidates); a.tried > mostTried {
		if a.once("tried") {
			a.faults = append(a.faults, it.fault("there are too many patterns for so many files: name the files or their folders"))
		}
		return nil
	}
	var out []string
	for _, name := range candidates {
		rest, ok := below(dir, name)
		if !ok || sortOf(name) != want {
			continue
		}
		if ok, err := path.Match(base, rest); ok && err == nil {
			out = append(out, name)
		}
	}
	if len(out) == 0 {
		a.problem(it.card.path, it.says(fmt.Sprintf("no photo is like %q", p.is)))
	}
	return out
}

// says puts the place of the entry before a message.
func (it *item) says(message string) string {
	if it.line == 0 {
		return it.label + ": " + message
	}
	return fmt.Sprintf("line %d: %s: %s", it.line, it.label, message)
}

// below returns the rest of a path behind the folder.
func below(dir, name string) (string, bool) {
	if dir == "." {
		return name, true
	}
	return strings.CutPrefix(name, dir+"/")
}

// contest takes photos away that two entries claim, or both states of one
// play: which of them is right is not known.
func (a *arranging) contest() {
	type claim struct {
		it   *item
		list int
	}
	claims := map[string][]claim{}
	for _, it := range a.items {
		for l, list := range [][]named{it.files, it.together, it.apart} {
			for _, n := range list {
				for _, name := range n.paths {
					a.taken[name] = true
					if this := (claim{it, l}); !slices.Contains(claims[name], this) {
						claims[name] = append(claims[name], this)
					}
				}
			}
		}
	}
	a.contested = map[string]bool{}
	for _, name := range a.tree.files {
		by := claims[name]
		if len(by) < 2 {
			continue
		}
		a.contested[name] = true
		x, y := by[0].it, by[1].it
		if x == y {
			a.problem(name, "is named as both together and apart in "+x.place()+", and was not taken")
			continue
		}
		a.problem(name, "is claimed by two entries, "+x.place()+" and "+y.place()+", and was not taken")
	}
}

func (it *item) place() string {
	if it.line == 0 {
		return it.card.path + " " + it.label
	}
	return fmt.Sprintf("%s line %d", it.card.path, it.line)
}

// uncontested returns the paths of a list, each once.
func (a *arranging) uncontested(list []named) []string {
	var out []string
	seen := map[string]bool{}
	for _, n := range list {
		for _, name := range n.paths {
			if !seen[name] && !a.contested[name] {
				out = append(out, name)
			}
			seen[name] = true
		}
	}
	return out
}
