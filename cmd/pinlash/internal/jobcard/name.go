package jobcard

import (
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// fileSort is what a file is by the ending of its name.
type fileSort int

const (
	strange  fileSort = iota // nothing that belongs in a folder of photos
	photo                    // may be measured
	clip                     // may be measured as play
	sideFile                 // lies beside photos, and what pinlash has written
)

var (
	photoEndings = []string{".jpg", ".jpeg", ".png", ".tif", ".tiff"}
	clipEndings  = []string{".avi", ".mp4", ".mov"}
	sideEndings  = []string{".txt", ".md", ".pdf", ".toml", ".csv", ".json", ".html", ".xmp", ".db", ".ini", scaleEnding}
	resultFile   = regexp.MustCompile(`(?s)^results(-.*)?\.jsonl$`)
)

// scaleEnding is that of a kept scale, which pinlash writes.
const scaleEnding = ".scale"

// overlayFolder is where pinlash puts its drawings.
const overlayFolder = "overlays"

func sortOf(name string) fileSort {
	ending := strings.ToLower(path.Ext(name))
	switch {
	case slices.Contains(photoEndings, ending):
		return photo
	case slices.Contains(clipEndings, ending):
		return clip
	case slices.Contains(sideEndings, ending) || resultFile.MatchString(name):
		return sideFile
	}
	return strange
}

// reading is what the name of a photo says.
type reading struct {
	kind  Kind   // empty if it does not say
	joint string // empty if it does not say
	mark  int    // orders the repeats of a joint: a is 1, -2 is 2; 0 is none
	state state
	// stateMark orders several photos of one state.
	stateMark int
}

// state is how the links lie in a photo of a play.
type state int

const (
	anyState state = iota
	together
	apart
)

var (
	// kindWord is the word with which a name begins.
	kindWord = regexp.MustCompile(`(?is)^(?:stage[-_ ]*)?([a-z]+)[-_ #]*(.*)$`)
	// stateEnding is the word with which a name ends, and the number of the
	// photo of that state.
	stateEnding = regexp.MustCompile(`(?is)^(|.*?[^a-z])(?:(?:push|pull)(?:ed|ing)?[-_ ]*)?(together|apart|push(?:ed|ing)?|pull(?:ed|ing)?)(?:[-_ ]*\(?(\d{1,2})\)?|[-_ ]*([a-z]))?$`)
	// repeatEndings are those behind the joint, whose number comes as digits
	// or as a letter or, for the bare word, not at all.
	repeatEndings = []*regexp.Regexp{
		regexp.MustCompile(`(?is)^(.+?)[-_ ]*\((\d{1,2})\)$`),
		regexp.MustCompile(`(?is)^(.+?)[-_ ]*rep(?:eat)?[-_ ]*(\d{1,2}|)$`),
		regexp.MustCompile(`(?is)^(.*\d)[-_](\d{1,2})$`),
		regexp.MustCompile(`(?is)^(.*\d)[-_ ]?([a-z])$`),
	}
	number0 = regexp.MustCompile(`^0+(\d)`)
	// onlyJoint is a name without a kind that is a joint all the same.
	onlyJoint = regexp.MustCompile(`(?is)^\d+(?:[-_ ]?[a-z]|[-_]\d{1,2}|[-_ ]*\(\d{1,2}\)|[-_ ]*rep(?:eat)?[-_ ]*(?:\d{1,2})?)?$`)
)

var kindWords = map[string]Kind{
	"joint": Joint, "joints": Joint, "pin": Joint, "pins": Joint, "bore": Joint, "bores": Joint,
	"bush": Joint, "bushes": Joint, "bushing": Joint, "bushings": Joint,
	"play": Play, "pair": Play, "rock": Play, "rocked": Play, "rocking": Play,
	"span": Span, "spans": Span, "chain": Span, "strand": Span,
	"scale": Scale, "rule": Scale, "ruler": Scale, "micrometer": Scale, "micrometre": Scale,
}

// readName reads the name of a photo or clip, with its ending.
func readName(name string) reading {
	base := strings.TrimSuffix(name, path.Ext(name))
	var r reading
	rest := base
	if m := stateEnding.FindStringSubmatch(base); m != nil {
		r.state = together
		if word := strings.ToLower(m[2]); word == "apart" || strings.HasPrefix(word, "pull") {
			r.state = apart
		}
		r.stateMark = markOf(m[3] + m[4])
		rest = strings.TrimRight(m[1], "-_ (.")
	}
	kind, behind := splitKind(rest)
	switch {
	case r.state != anyState && (kind == Span || kind == Scale):
		kind, behind = splitKind(base) // "span-pulled": no play
		r.state, r.stateMark = anyState, 0
	case r.state != anyState || sortOf(name) == clip:
		r.kind = Play
	}
	if r.kind == "" {
		r.kind = kind
	}
	switch {
	case r.kind == Scale:
	case kind == "" && !onlyJoint.MatchString(rest):
		r.joint = rest // of a camera, or of its own
	default:
		r.joint, r.mark = splitRepeat(behind)
	}
	return r
}

// splitKind returns the kind by the first word, and what follows. Without one
// everything follows.
func splitKind(s string) (Kind, string) {
	m := kindWord.FindStringSubmatch(s)
	if m == nil {
		return "", s
	}
	kind, ok := kindWords[strings.ToLower(m[1])]
	if !ok {
		return "", s
	}
	return kind, m[2]
}

// splitRepeat returns the joint and which photo of it this is.
func splitRepeat(s string) (joint string, mark int) {
	s = strings.Trim(s, "-_ .")
	for _, ending := range repeatEndings {
		if m := ending.FindStringSubmatch(s); m != nil {
			s, mark = m[1], markOf(m[2])
			if m[2] == "" {
				mark = 2 // the repeat of one that has no mark
			}
			break
		}
	}
	return number0.ReplaceAllString(strings.Trim(s, "-_ ."), "$1"), mark
}

// markOf returns the number that digits or a letter stand for.
func markOf(s string) int {
	if n, err := strconv.Atoi(s); err == nil {
		return n
	}
	if len(s) == 1 {
		return int(strings.ToLower(s)[0]-'a') + 1
	}
	return 0
}
