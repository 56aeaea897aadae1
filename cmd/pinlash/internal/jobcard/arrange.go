package jobcard

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"
)

// arranging is a study in the making.
type arranging struct {
	tree     tree
	problems []Problem
	faults   []error // cards that cannot be used

	files map[string]bool
	byDir map[string][]string
	cards map[string]*card // by their folder
	said  map[string]bool  // what was said of folders and cards already

	rules  map[string]statement // by folder, once they were asked for
	places map[string]place

	items     []*item // the entries of all cards
	tried     int     // names held against patterns
	taken     map[string]bool
	contested map[string]bool

	tasks []Task
}

func (a *arranging) problem(path, message string) {
	a.problems = append(a.problems, Problem{path, message})
}

// once says whether this was not said before.
func (a *arranging) once(what string) bool {
	was := a.said[what]
	a.said[what] = true
	return !was
}

// rule returns what the cards state of a folder.
func (a *arranging) rule(dir string) statement {
	if s, ok := a.rules[dir]; ok {
		return s
	}
	var s statement
	if c := a.cards[dir]; c != nil {
		s = c.statement
	}
	if dir != "." {
		s = s.over(a.rule(path.Dir(dir)))
	}
	a.rules[dir] = s
	return s
}

// levels returns the levels of photos in a folder of which s is stated. What
// is stated goes before the names of the folders.
func (a *arranging) levels(dir string, s statement) Levels {
	p := a.place(dir)
	l := Levels{
		Specimen: s.Specimen.or(p.specimen), Revision: s.Revision.or(p.revision), Chain: s.Chain.or(p.chain),
		Inspection: s.Inspection.or(p.inspection), By: s.By.is, Oil: s.Oil.is,
		DistanceKM: s.KM.value, Hours: s.Hours.value,
	}
	if !s.KM.given && !s.Hours.given {
		l.DistanceKM, l.Hours, _ = run(l.Inspection)
	}
	return l
}

// place returns what the names of a folder and those above say.
func (a *arranging) place(dir string) place {
	if p, ok := a.places[dir]; ok || dir == "." {
		return p
	}
	var top statement
	if c := a.cards["."]; c != nil {
		top = c.statement
	}
	p := placeOf(strings.Split(dir, "/"), top)
	a.places[dir] = p
	return p
}

// or returns the word, or another one if none was stated.
func (w word) or(other string) string {
	if w.given {
		return w.is
	}
	return other
}

// doubt says what the names of a photo's folders leave open.
func (a *arranging) doubt(dir string, s statement, l Levels) {
	all := s.Revision.given && s.Chain.given && s.Inspection.given
	if a.place(dir).deep && !all && a.once("deep "+dir) {
		a.problem(dir, "lies too deep to be read as revision, chain and inspection: say in a card what its photos are; they are measured without these levels")
	}
	if _, _, clear := run(l.Inspection); !clear && !s.KM.given && !s.Hours.given && a.once("run "+dir) {
		a.problem(dir, fmt.Sprintf("%q does not tell clearly how far or how long the chain had run: state km or hours in a card", l.Inspection))
	}
}

// add adds a task in a folder.
func (a *arranging) add(dir string, s statement, t Task, joint string) {
	t.Levels = a.levels(dir, s)
	t.Levels.Joint = joint
	a.doubt(dir, s, t.Levels)
	t.Settings = s.settings()
	if t.Kind == Scale {
		// It is held against no other scale, and nothing lies over it.
		t.Settings.ScaleFile, t.Settings.SamePlane = "", nil
		t.Settings.PlaneOffset, t.Settings.WorkingDistance = nil, 0
		if t.SaveScale == "" {
			t.Notes = append(t.Notes, "this scale was not used for any other photo: to use it, give this photo a [[scale_photo]] entry with save in the card, and name the file under [scale]")
		}
	}
	a.tasks = append(a.tasks, t)
}

// fromEntry makes the tasks of an entry.
func (a *arranging) fromEntry(it *item) {
	if it.kind == Play && len(it.files) == 0 {
		a.fromStates(it)
		return
	}
	files := a.uncontested(it.files)
	if it.save.given && len(files) > 1 {
		a.faults = append(a.faults, it.fault(fmt.Sprintf("save keeps the scale of one photo, and %d are like this", len(files))))
		return
	}
	if !it.joint.given {
		slices.SortStableFunc(files, func(x, y string) int {
			_, markX := it.jointOf(x)
			_, markY := it.jointOf(y)
			return cmp.Or(cmp.Compare(markX, markY), natural(x, y))
		})
	}
	for _, name := range files {
		t := Task{Kind: it.kind, Photos: []string{name}, SaveScale: it.save.is}
		if it.kind == Play {
			t.Photos, t.Clip = nil, name
		}
		a.addOf(it, t)
	}
}

// fromStates makes the one task of a play that names photos of both states.
func (a *arranging) fromStates(it *item) {
	t := Task{Kind: Play, Together: a.uncontested(it.together), Apart: a.uncontested(it.apart)}
	if len(t.Together) == 0 || len(t.Apart) == 0 {
		for _, name := range append(t.Together, t.Apart...) {
			a.problem(name, "was not taken: "+it.place()+" has no photo left of the other state")
		}
		return
	}
	a.addOf(it, t)
}

// addOf adds a task of an entry, if what is stated of it can be used.
func (a *arranging) addOf(it *item, t Task) {
	dir := path.Dir(t.first())
	s := it.statement.over(a.rule(dir))
	if what := s.missing(); what != "" {
		if a.once(fmt.Sprintf("missing %p", it)) {
			a.faults = append(a.faults, it.fault(what))
		}
		return
	}
	joint, _ := it.jointOf(t.first())
	a.add(dir, s, t, joint)
}

// jointOf returns the joint of a photo or clip of the entry, and its mark
// among the repeats: what is stated or, without that, what the name says.
func (it *item) jointOf(name string) (string, int) {
	if it.kind == Scale {
		return "", 0
	}
	r := readName(path.Base(name))
	if r.kind == Scale {
		r.joint = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	return it.joint.or(r.joint), r.mark
}

// fromNames makes the tasks of what no entry names.
func (a *arranging) fromNames() {
	var dirs []string
	for _, name := range a.tree.files {
		if dir := path.Dir(name); a.once("dir " + dir) {
			dirs = append(dirs, dir)
		}
	}
	for _, dir := range dirs {
		var left []string
		c := a.cards[dir]
		for _, name := range a.byDir[dir] {
			switch {
			case a.taken[name]:
			case sortOf(name) == strange:
				a.problem(name, "is no kind of file that is measured: photos are JPEG, PNG or TIFF, clips AVI or MP4")
			case c != nil && len(c.items) > 0:
				a.problem(name, "is in no entry of "+c.path)
			default:
				left = append(left, name)
			}
		}
		a.fromFolder(dir, left)
	}
}

// draft is a task with what orders it among those of its folder.
type draft struct {
	Task
	joint string
	mark  int
}

// fromFolder makes the tasks that the names in one folder suggest.
func (a *arranging) fromFolder(dir string, names []string) {
	drafts := a.drafts(names)
	if len(drafts) == 0 {
		return
	}
	s := a.rule(dir)
	if what := s.missing(); what != "" {
		c := a.nearest(dir)
		if a.once("missing " + c.path) {
			a.faults = append(a.faults, &FileError{Path: c.path, Message: what})
		}
		return
	}
	for _, d := range drafts {
		a.add(dir, s, d.Task, d.joint)
	}
}

// nearest returns the card of the folder or of the next one above that has
// one.
func (a *arranging) nearest(dir string) *card {
	for a.cards[dir] == nil && dir != "." {
		dir = path.Dir(dir)
	}
	return a.cards[dir]
}

// drafts returns the tasks that the names in a folder suggest, the repeats of
// each joint in their order.
func (a *arranging) drafts(names []string) []draft {
	var out []draft
	type pair struct {
		joint string
		mark  int
	}
	type half struct {
		name string
		mark int
	}
	states := map[pair]*[2][]half{}
	var pairs []pair
	for _, name := range names {
		r := readName(path.Base(name))
		switch {
		case r.kind == "":
			a.problem(name, "what this photo shows is not known: name it in the card")
		case r.state != anyState && sortOf(name) == photo:
			this := pair{r.joint, r.mark}
			if states[this] == nil {
				states[this] = new([2][]half)
				pairs = append(pairs, this)
			}
			which := &states[this][r.state-together]
			*which = append(*which, half{name, r.stateMark})
		case sortOf(name) == clip:
			out = append(out, draft{Task{Kind: Play, Clip: name}, r.joint, r.mark})
		case r.kind == Play:
			a.problem(name, "whether the links are together or apart in this photo is not known: name it in the card")
		default:
			out = append(out, draft{Task{Kind: r.kind, Photos: []string{name}}, r.joint, r.mark})
		}
	}
	for _, this := range pairs {
		var paths [2][]string
		for i, halves := range states[this] {
			slices.SortStableFunc(halves, func(x, y half) int { return cmp.Compare(x.mark, y.mark) })
			for _, h := range halves {
				paths[i] = append(paths[i], h.name)
			}
		}
		if len(paths[0]) == 0 || len(paths[1]) == 0 {
			other := [2]string{"together", "apart"}
			for i := range paths {
				for _, name := range paths[i] {
					a.problem(name, "there is no photo of the same joint with the links "+other[1-i])
				}
			}
			continue
		}
		out = append(out, draft{Task{Kind: Play, Together: paths[0], Apart: paths[1]}, this.joint, this.mark})
	}
	slices.SortStableFunc(out, func(x, y draft) int {
		return cmp.Or(cmp.Compare(x.mark, y.mark), natural(x.first(), y.first()))
	})
	return out
}

// keptScales holds the scale files that tasks name against those that there
// are and will be.
func (a *arranging) keptScales() {
	by := map[string]string{}
	for _, t := range a.tasks {
		if t.SaveScale == "" {
			continue
		}
		if other, twice := by[t.SaveScale]; twice {
			c := a.nearest(path.Dir(t.SaveScale))
			if c == nil {
				c = a.items[0].card
			}
			a.faults = append(a.faults, &FileError{Path: c.path, Message: fmt.Sprintf("the scales of both %q and %q are to be kept in %q", other, t.first(), t.SaveScale)})
		}
		by[t.SaveScale] = t.first()
	}
	for _, t := range a.tasks {
		file := t.Settings.ScaleFile
		if file == "" || a.tree.scales[file] || by[file] != "" {
			continue
		}
		if a.once("scale " + file) {
			a.problem(file, "is named in a card as a scale file, but neither lies there nor is it kept by a [[scale_photo]] entry")
		}
	}
}
