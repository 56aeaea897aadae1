package jobcard

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// mostNamed is how many photos that were not taken a suggested card lists.
const mostNamed = 20

// Suggest returns the text of a first job card for a folder that has none, to
// be put right by a person. It says what Read takes from the names, so that
// nothing changes by writing it; it gives no scale and no chain, which no name
// tells. A folder with a card, or with one in a folder below, is an error.
func Suggest(folder string) ([]byte, error) {
	t, cards, err := open(folder)
	if err != nil {
		return nil, err
	}
	if len(cards) > 0 {
		return nil, fmt.Errorf("there is a job card already: %q", cards[0].path)
	}
	return suggest(t)
}

const suggestedHead = `# Job card of this folder, suggested by the names of its files.
# Read it through, put right what is wrong, and take the # off what you know.

# specimen = "packing line 3, infeed"
# by = "A. Fitter"        # who took the photos
# oil = "5W-30"

# [scale]                 # how the scale of the photos is known
# division = "0.1mm"      # between neighbouring small marks of the rule

# [new_chain]             # the chain when it was new
# type = "06B"            # in the table of pinlash chains; or pitch = "9.525mm"
# pitches = 114
# play = "0.05mm"         # of a new joint of the same make

# [limit]
# percent = 1.0           # the maker's
`

func suggest(t tree) ([]byte, error) {
	study, err := arrange(t, nil)
	if err != nil {
		return nil, err
	}
	s := suggesting{tree: t}
	s.WriteString(suggestedHead)
	for i, p := range study.Problems {
		if i == mostNamed {
			fmt.Fprintf(&s, "\n# and %d more that were not taken", len(study.Problems)-i)
			break
		}
		if i == 0 {
			s.WriteString("\n# Not taken:")
		}
		fmt.Fprintf(&s, "\n# %s: %s", strconv.QuoteToASCII(p.Path), strconv.QuoteToASCII(p.Message))
	}
	if len(study.Problems) > 0 {
		s.WriteString("\n")
	}
	var dirs []string
	byDir := map[string][]Task{}
	for _, task := range study.Tasks {
		dir := path.Dir(task.first())
		if byDir[dir] == nil {
			dirs = append(dirs, dir)
		}
		byDir[dir] = append(byDir[dir], task)
	}
	for _, dir := range dirs {
		s.folder(byDir[dir])
	}
	return []byte(s.String()), nil
}

type suggesting struct {
	strings.Builder
	tree tree
}

// folder writes the entries of one folder: one for all joints, spans and
// scales each, whose joints stand in their names, and one for each play.
func (s *suggesting) folder(tasks []Task) {
	for _, kind := range []struct {
		kind Kind
		key  string
	}{{Joint, "joint"}, {Span, "span"}, {Scale, "scale_photo"}} {
		var photos []string
		var levels Levels
		for _, t := range tasks {
			if t.Kind == kind.kind {
				photos, levels = append(photos, t.Photos...), t.Levels
			}
		}
		if patterns := s.patterns(photos); len(patterns) > 0 {
			fmt.Fprintf(s, "\n[[%s]]\n", kind.key)
			s.list("files", patterns)
			s.levels(levels)
		}
	}
	slices.SortStableFunc(tasks, func(a, b Task) int { return cmp.Compare(a.Levels.Repeat, b.Levels.Repeat) })
	for _, t := range tasks {
		if t.Kind == Play {
			s.play(t)
		}
	}
}

func (s *suggesting) play(t Task) {
	if t.Clip != "" {
		clip := s.patterns([]string{t.Clip})
		if len(clip) == 0 {
			return
		}
		fmt.Fprintf(s, "\n[[play]]\nclip = %s\n", quoted(clip[0]))
	} else {
		together, apart := s.patterns(t.Together), s.patterns(t.Apart)
		if len(together) == 0 || len(apart) == 0 {
			return
		}
		s.WriteString("\n[[play]]\n")
		s.list("together", together)
		s.list("apart", apart)
	}
	s.word("joint", t.Levels.Joint)
	s.levels(t.Levels)
}

func (s *suggesting) list(key string, patterns []string) {
	if len(patterns) == 1 {
		fmt.Fprintf(s, "%s = [%s]\n", key, quoted(patterns[0]))
		return
	}
	fmt.Fprintf(s, "%s = [\n", key)
	for _, p := range patterns {
		fmt.Fprintf(s, "  %s,\n", quoted(p))
	}
	s.WriteString("]\n")
}

func (s *suggesting) levels(l Levels) {
	s.word("specimen", l.Specimen)
	s.word("revision", l.Revision)
	s.word("chain", l.Chain)
	s.word("inspection", l.Inspection)
	s.number("km", l.DistanceKM)
	s.number("hours", l.Hours)
}

// word writes a name, unless it is none or TOML cannot hold it; then the
// folder's name goes on saying it.
func (s *suggesting) word(key, word string) {
	if word != "" && utf8.ValidString(word) {
		fmt.Fprintf(s, "%s = %s\n", key, quoted(word))
	}
}

func (s *suggesting) number(key string, v float64) {
	if v != 0 {
		fmt.Fprintf(s, "%s = %s\n", key, strconv.FormatFloat(v, 'f', -1, 64))
	}
}

// patterns returns what names each of the paths and nothing else. For bytes
// that are no letters in any alphabet it takes a question mark; where that
// names another file too, a remark stands for the path.
func (s *suggesting) patterns(paths []string) []string {
	var out []string
	for _, name := range paths {
		p := escaped(name)
		if !utf8.ValidString(name) && s.count(p) > 1 {
			fmt.Fprintf(s, "\n# %s cannot be named here: give it a name of plain letters\n", strconv.QuoteToASCII(name))
			continue
		}
		out = append(out, p)
	}
	return out
}

// count returns how many files a pattern names.
func (s *suggesting) count(pattern string) int {
	n := 0
	for _, name := range s.tree.files {
		if ok, err := path.Match(pattern, name); ok && err == nil {
			n++
		}
	}
	return n
}

// escaped returns the pattern for one path.
func escaped(name string) string {
	var b strings.Builder
	for i := 0; i < len(name); {
		r, n := utf8.DecodeRuneInString(name[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			b.WriteByte('?')
		case strings.ContainsRune(`\*?[`, r):
			b.WriteByte('\\')
			fallthrough
		default:
			b.WriteString(name[i : i+n])
		}
		i += n
	}
	return b.String()
}

// quoted returns a string of TOML: a literal one, which needs no escapes, if
// it can be.
func quoted(s string) string {
	if strings.ContainsAny(s, `"\`) && !strings.ContainsFunc(s, func(r rune) bool { return r == '\'' || r < ' ' && r != '\t' || r == 0x7f }) {
		return "'" + s + "'"
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
