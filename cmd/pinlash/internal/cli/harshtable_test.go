package cli

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// tally counts how photos fared.
type tally struct {
	photos, refused, right, doubled, wrong int
	good, goodRefused                      int
	codes                                  map[check.Code]int
	worst                                  fared
}

func newTally() *tally { return &tally{codes: map[check.Code]int{}} }

func (s *tally) add(f fared, good bool) {
	s.photos++
	if good {
		s.good++
	}
	if f.Code != "" {
		s.refused++
		s.codes[f.Code]++
		if good {
			s.goodRefused++
		}
		return
	}
	if s.worst.Worst == "" || f.Off > s.worst.Off {
		s.worst = f
	}
	switch {
	case f.Off <= 1:
		s.right++
	case f.Off <= 2:
		s.doubled++
	default:
		s.wrong++
	}
}

func (s *tally) wrongPercent() float64 {
	return 100 * float64(s.wrong) / max(1, float64(s.photos-s.refused))
}

func (s *tally) goodPercent() float64 { return 100 * float64(s.goodRefused) / max(1, float64(s.good)) }

// harshCommand is the head of a table: what made it.
func harshCommand() string {
	return fmt.Sprintf("# go test -count 1 -timeout 60m -run HarshPhotos -v ./cmd/pinlash/internal/cli -harsh %d\n# %s. ",
		*harshTrials, time.Now().Format("2006-01-02"))
}

func writeHarsh(t *testing.T, all []cell, byCell map[string][]fared, sum map[string]*tally) {
	t.Helper()
	var b bytes.Buffer
	b.WriteString(harshCommand())
	b.WriteString("Generated photos with one thing wrong, measured by the commands themselves with the rule in the photo.\n" +
		"# joint: both diameters, clearance, play, offset, both wear depths and roundnesses; span: its length, each pitch, kinds of links; play: the play.\n" +
		"# right: all have their truth within their 95 % intervals; within_2: within intervals twice as wide; wrong: any outside those.\n" +
		"# worst_off: of the worst figure, in half intervals; 99 is one missing or of another link.\n")
	for _, kind := range []string{"joint", "span", "play", "all"} {
		s := sum[kind]
		fmt.Fprintf(&b, "# %s: %d photos, %d refused, %d right, %d within_2, %d wrong, which is %.2f %% of the measured; of %d good ones %d refused, %.2f %%\n",
			kind, s.photos, s.refused, s.right, s.doubled, s.wrong, s.wrongPercent(), s.good, s.goodRefused, s.goodPercent())
	}
	w := csv.NewWriter(&b)
	w.Write([]string{"command", "effect", "level", "photo", "photos", "refused", "right", "within_2", "wrong", "codes", "worst_figure", "worst_off", "worst_seed"}) //nolint:errcheck // a buffer
	for _, c := range all {
		s := newTally()
		for _, f := range byCell[c.name()] {
			s.add(f, c.good)
		}
		var codes []string
		for _, code := range slices.Sorted(maps.Keys(s.codes)) {
			codes = append(codes, fmt.Sprintf("%s %d", code, s.codes[code]))
		}
		row := []string{c.kind, c.effect.name, c.effect.level(c.level), map[bool]string{true: "good", false: "harsh"}[c.good]}
		for _, n := range []int{s.photos, s.refused, s.right, s.doubled, s.wrong} {
			row = append(row, strconv.Itoa(n))
		}
		row = append(row, strings.Join(codes, ", "))
		if s.worst.Worst != "" {
			row = append(row, s.worst.Worst, strconv.FormatFloat(s.worst.Off, 'f', 2, 64), strconv.Itoa(s.worst.Seed))
		} else {
			row = append(row, "", "", "")
		}
		w.Write(row) //nolint:errcheck // a buffer
	}
	w.Flush()
	if err := record.WriteFile("../../../../testdata/sweep/harsh.csv", b.Bytes()); err != nil {
		t.Fatal(err)
	}
}
