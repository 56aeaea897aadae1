package jobcard

import (
	"errors"
	"os"
	"path"
	"slices"
)

// Read reads the folder and the folders below it: their job cards, and the
// names of what no card speaks of. An error is a folder that cannot be read at
// all or cards that cannot be used, joined, each of type *FileError; nothing
// should be measured by half of the cards. Whatever else cannot be taken is
// among the problems.
func Read(folder string) (Study, error) {
	t, cards, err := open(folder)
	if err != nil {
		return Study{}, err
	}
	return arrange(t, cards)
}

// open lists the folder and reads its cards.
func open(folder string) (tree, []card, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return tree{}, nil, err
	}
	defer root.Close()
	t, err := walk(root)
	if err != nil {
		return tree{}, nil, err
	}
	var cards []card
	faults := t.faults
	for _, name := range t.cards {
		c, err := readCard(root, name)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		cards = append(cards, c)
	}
	return t, cards, errors.Join(faults...)
}

// arrange turns names and cards into tasks. The cards are settled, those of
// outer folders first.
func arrange(t tree, cards []card) (Study, error) {
	a := arranging{
		tree:  t,
		files: map[string]bool{},
		byDir: map[string][]string{},
		cards: map[string]*card{},
		said:  map[string]bool{},
		taken: map[string]bool{},

		rules:  map[string]statement{},
		places: map[string]place{},
	}
	a.problems = slices.Clone(t.problems)
	for i := range cards {
		a.cards[path.Dir(cards[i].path)] = &cards[i]
	}
	for _, f := range t.files {
		a.files[f] = true
		a.byDir[path.Dir(f)] = append(a.byDir[path.Dir(f)], f)
	}
	for i := range cards {
		a.expand(&cards[i])
	}
	a.contest()
	for _, it := range a.items {
		a.fromEntry(it)
	}
	a.fromNames()
	numberRepeats(a.tasks)
	a.keptScales()
	if len(a.faults) > 0 {
		return Study{}, errors.Join(a.faults...)
	}
	study := Study{Tasks: a.tasks, Problems: a.problems}
	for i := range cards {
		dir := path.Dir(cards[i].path)
		s := a.rule(dir)
		study.Cards = append(study.Cards, Card{
			Path: cards[i].path, Levels: a.levels(dir, s), Settings: s.settings(), Drive: cards[i].stated,
		})
	}
	slices.SortStableFunc(study.Tasks, byOrder)
	slices.SortStableFunc(study.Problems, func(a, b Problem) int { return natural(a.Path, b.Path) })
	return study, nil
}

// byOrder is the order of Study.Tasks.
func byOrder(a, b Task) int {
	switch {
	case a.SaveScale != "" && b.SaveScale == "":
		return -1
	case a.SaveScale == "" && b.SaveScale != "":
		return 1
	}
	return natural(a.first(), b.first())
}

// first is the path by which a task is sorted.
func (t Task) first() string {
	switch {
	case len(t.Photos) > 0:
		return t.Photos[0]
	case len(t.Together) > 0:
		return t.Together[0]
	}
	return t.Clip
}

// numberRepeats numbers the photos of one joint in the order of the tasks. A
// scale has no repeats.
func numberRepeats(tasks []Task) {
	type joint struct {
		kind   Kind
		levels Levels
	}
	count := map[joint]int{}
	for _, t := range tasks {
		count[joint{t.Kind, t.Levels}]++
	}
	next := map[joint]int{}
	for i := range tasks {
		t := &tasks[i]
		this := joint{t.Kind, t.Levels}
		if t.Kind != Scale && count[this] > 1 {
			next[this]++
			t.Levels.Repeat = next[this]
		}
	}
}
