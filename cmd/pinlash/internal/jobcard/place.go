package jobcard

import (
	"regexp"
	"strconv"
	"strings"
)

// place is what the folders above a photo say of it.
type place struct {
	specimen, revision, chain, inspection string

	deep bool // there are more folders than levels
}

// placeOf reads the folders from the topmost down to the photo's own. One
// folder is a chain, two are revision and chain, three revision, chain and
// inspection. A name with a distance, hours or a date is an inspection
// whatever its depth, if it is the lowest. Folders above those name the
// specimen. What the top card states of all photos, and what lies above that,
// needs no folder.
func placeOf(folders []string, top statement) place {
	var p place
	last := len(folders) - 1
	inspection := last >= 0 && isInspection(folders[last])
	if inspection {
		p.inspection, folders = folders[last], folders[:last]
	}
	var free []*string // the outermost level first
	if !top.Revision.given && !top.Chain.given {
		free = append(free, &p.revision)
	}
	if !top.Chain.given {
		free = append(free, &p.chain)
	}
	if !top.Inspection.given && !inspection {
		free = append(free, &p.inspection)
	}
	if more := len(folders) - len(free); more > 0 {
		if top.Specimen.given {
			p.deep = true
			return p
		}
		p.specimen, folders = strings.Join(folders[:more], "/"), folders[more:]
	}
	first := free[:len(folders)]
	if len(folders) == 1 && len(free) > 1 && free[0] == &p.revision {
		first = free[1:2]
	}
	for i, name := range folders {
		*first[i] = name
	}
	return p
}

var (
	dated = regexp.MustCompile(`^\d{4}-\d{2}(-\d{2})?([^\d]|$)`)
	ran   = regexp.MustCompile(`(?is)(^|.*?[^0-9.,_'])([0-9][0-9.,_']*)[-_ ]?(km|h|hrs?|hours?)([^a-z0-9].*)?$`)

	thousands = regexp.MustCompile(`^[1-9]\d{0,2}([,_']\d{3})+$`)
	plain     = regexp.MustCompile(`^(0|[1-9]\d*)(\.\d+)?$`)
	dotted    = regexp.MustCompile(`^[1-9]\d{0,2}(\.\d{3})+$`)
	// parted is a number before a space that may belong to the one behind.
	parted = regexp.MustCompile(`(^|[^\d.,-])\d{1,3} $`)
)

func isInspection(name string) bool {
	return dated.MatchString(name) || ran.MatchString(name)
}

// run returns the distance or time that the name of an inspection tells, and
// whether it is clear: of "12.000km" nobody knows whether it is twelve.
func run(name string) (km, hours float64, clear bool) {
	m := ran.FindStringSubmatch(name)
	if m == nil {
		return 0, 0, true
	}
	n := m[2]
	switch {
	case thousands.MatchString(n):
		n = strings.NewReplacer(",", "", "_", "", "'", "").Replace(n)
	case dotted.MatchString(n), !plain.MatchString(n), len(n) == 3 && parted.MatchString(m[1]):
		return 0, 0, false
	}
	v, err := strconv.ParseFloat(n, 64)
	if err != nil || v > mostTyped {
		return 0, 0, false
	}
	if strings.EqualFold(m[3], "km") {
		return v, 0, true
	}
	return 0, v, true
}
