package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// gathered is what reading the results has come to, besides the figures.
type gathered struct {
	figure  string
	sources []record.File
	results int // of photos that were measured
	refused int // photos
	// with and without say how many results of each kind have the figure.
	with, without map[record.Kind]int
	units         map[record.Kind]string
	others        map[string]bool // figures of results without this one
}

// taker takes in the figure of one photo.
type taker func(m *record.Measured, q uncert.Quantity) error

// errNoGrowth ends a reading that looked for growth where some photos have
// none.
var errNoGrowth = errors.New("a joint without growth")

const (
	growthFigure = "joint_growth"
	playFigure   = "play"
)

// gather reads the results and hands the figure of every photo that has it to
// what begin returns. Without a figure stated it is the growth; as soon as a
// joint turns up that has none the reading begins anew with its play.
func (o *compareCommand) gather(begin func() taker) (*gathered, error) {
	if o.figure != "" {
		return o.gatherFigure(o.figure, begin())
	}
	g, err := o.gatherFigure(growthFigure, begin())
	if errors.Is(err, errNoGrowth) {
		return o.gatherFigure(playFigure, begin())
	}
	return g, err
}

func (o *compareCommand) gatherFigure(figure string, take taker) (*gathered, error) {
	g := &gathered{
		figure: figure, with: map[record.Kind]int{}, without: map[record.Kind]int{},
		units: map[record.Kind]string{}, others: map[string]bool{},
	}
	var err error
	g.sources, err = readMeasured(o.results, func(m *record.Measured) error {
		switch {
		case !o.wanted(m.Kind):
			return nil
		case m.Refused:
			g.refused++
			return nil
		}
		g.results++
		q, ok, err := m.Figure(figure)
		if err != nil {
			return err
		}
		if !ok {
			if o.figure == "" && figure == growthFigure && m.Kind != record.Span {
				return errNoGrowth
			}
			g.without[m.Kind]++
			return m.Names(func(name []byte) {
				if !g.others[string(name)] {
					g.others[string(name)] = true
				}
			})
		}
		if g.with[m.Kind] == 0 {
			g.units[m.Kind] = q.Unit
		} else if g.units[m.Kind] != q.Unit {
			return usageErrorf("%s is in %s in one result and in %s in another", record.SafeName(figure), g.units[m.Kind], record.SafeName(q.Unit))
		}
		g.with[m.Kind]++
		return take(m, q)
	})
	if err != nil {
		return nil, err
	}
	return g, g.usable()
}

// wanted says whether results of a kind have to do with the question.
func (o *compareCommand) wanted(kind record.Kind) bool {
	switch {
	case o.agree.given():
		return slices.Contains(o.agree[:], kind)
	case o.from.is != "":
		return string(kind) == o.from.is
	}
	return slices.Contains(ways, string(kind))
}

// usable refuses results of which none has the figure.
func (g *gathered) usable() error {
	if len(g.with) > 0 {
		return nil
	}
	switch {
	case g.results+g.refused == 0:
		return usageErrorf("the results hold no joints, plays or spans to compare")
	case g.results == 0:
		return usageErrorf("all %d photos were refused; nothing is left to compare", g.refused)
	}
	return usageErrorf("no result has a figure %s; there are %s", record.SafeName(g.figure), record.SafeName(strings.Join(slices.Sorted(maps.Keys(g.others)), ", ")))
}

// way chooses the kind of results that has the figure most often, spans only
// where nothing else has it, and notes what is left out by that.
func (g *gathered) way() (record.Kind, []string) {
	chosen := record.Kind(ways[0])
	for _, w := range ways {
		kind := record.Kind(w)
		if g.with[kind] > g.with[chosen] && (kind != record.Span || g.with[chosen] == 0) {
			chosen = kind
		}
	}
	var notes []string
	for _, w := range ways {
		if kind := record.Kind(w); kind != chosen && g.with[kind] > 0 {
			notes = append(notes, fmt.Sprintf("%s is taken from %s photos; %s photos have it too and are not mixed in: --from %s", record.Words(g.figure), chosen, w, w))
		}
	}
	return chosen, notes
}

// basis says what a comparison of so many results is made of.
func (g *gathered) basis(used int, from ...record.Kind) record.Basis {
	return record.Basis{
		Version: Version, Sources: g.sources, Figure: g.figure, From: from,
		Used: used, Refused: g.refused, LeftOut: g.results - used,
	}
}

// notes says what is missing whatever the question.
func (g *gathered) notes(from ...record.Kind) []string {
	var notes []string
	without := 0
	for _, kind := range from {
		without += g.without[kind]
	}
	if without > 0 {
		notes = append(notes, fmt.Sprintf("%s without %s, left out", results(without), record.Words(g.figure)))
	}
	if g.refused > 0 {
		notes = append(notes, fmt.Sprintf("%s not in this: look at why, for photos are seldom refused by chance", refusedPhotos(g.refused)))
	}
	return notes
}

func results(n int) string {
	if n == 1 {
		return "1 result is"
	}
	return fmt.Sprintf("%d results are", n)
}

func refusedPhotos(n int) string {
	if n == 1 {
		return "1 refused photo is"
	}
	return fmt.Sprintf("%d refused photos are", n)
}

// readMeasured reads files of results, or the folders they are in, one line at
// a time, and returns the files with their hashes. Errors are those of each, or
// file errors.
func readMeasured(paths []string, each func(m *record.Measured) error) ([]record.File, error) {
	var sources []record.File
	var known []os.FileInfo
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			return nil, err
		}
		if info.IsDir() {
			path = filepath.Join(path, batch.Results)
			if info, err = os.Stat(path); err != nil {
				return nil, err
			}
		}
		for i, other := range known {
			if os.SameFile(other, info) {
				return nil, usageErrorf("%s is %s once more; its joints would count twice", record.SafeName(path), record.SafeName(sources[i].Path))
			}
		}
		hash, err := readMeasuredFile(path, each)
		if err != nil {
			return nil, err
		}
		known = append(known, info)
		sources = append(sources, record.File{Path: path, SHA256: hash})
	}
	return sources, nil
}

func readMeasuredFile(path string, each func(m *record.Measured) error) (hash string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	sum := sha256.New()
	err = record.ReadMeasured(io.TeeReader(f, sum), each)
	if broken := (*record.LineError)(nil); errors.As(err, &broken) {
		return "", &fs.PathError{Op: "read", Path: path, Err: broken}
	}
	if err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// shownName is a name as it may stand in text for people, another for every
// name.
func shownName(name string) string {
	if strings.HasPrefix(name, `"`) {
		return strconv.Quote(name)
	}
	return record.SafeName(name)
}
