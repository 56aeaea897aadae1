package vision_test

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// errorNames are what trial.err holds.
var errorNames = []string{"bore_radius", "pin_radius", "clearance", "offset"}

// summary is what the trials of one cell have in common; the first index of
// the arrays of four runs over errorNames.
type summary struct {
	trials, refused int
	codes           map[string]int
	bias, sd        [4]float64 // pixels
	bound, ratio    [4]float64 // root mean square Cramér-Rao bound; sd of error over bound
	claimed         [4]float64 // root mean square of the u from the light alone, over sd
	light           [4]int     // intervals from the light alone that hold the truth
	inside          [7]int     // intervals of the whole budget that do, by figures
	worst           float64    // largest error of the clearance, pixels
	worstSeed       uint64
}

func (s summary) measured() int { return s.trials - s.refused }

func summarise(trials []trial) summary {
	s := summary{trials: len(trials), codes: map[string]int{}}
	var ok []trial
	for _, t := range trials {
		if t.refused != "" {
			s.refused++
			s.codes[t.refused]++
			continue
		}
		ok = append(ok, t)
	}
	n := float64(len(ok))
	for _, t := range ok {
		if e := math.Abs(t.err[2]); e > s.worst {
			s.worst, s.worstSeed = e, t.seed
		}
		for k := range t.err {
			s.bias[k] += t.err[k] / n
			s.bound[k] += t.bound[k] * t.bound[k] / n
			s.claimed[k] += t.u[k] * t.u[k] / n
			if t.light[k] {
				s.light[k]++
			}
		}
		for k, in := range t.inside {
			if in {
				s.inside[k]++
			}
		}
	}
	if len(ok) < 2 {
		return s
	}
	for _, t := range ok {
		for k, e := range t.err {
			d := e - s.bias[k]
			s.sd[k] += d * d / (n - 1)
			if t.bound[k] > 0 {
				s.ratio[k] += d / t.bound[k] * d / t.bound[k] / (n - 1)
			}
		}
	}
	for k := range s.sd {
		s.sd[k], s.ratio[k], s.bound[k] = math.Sqrt(s.sd[k]), math.Sqrt(s.ratio[k]), math.Sqrt(s.bound[k])
		s.claimed[k] = math.Sqrt(s.claimed[k]) / s.sd[k]
	}
	return s
}

type row struct {
	cell    cell
	summary summary
}

// writeSweep writes one row for each cell to testdata/sweep/joint.csv.
func writeSweep(t *testing.T, rows []row) {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "# go test -run Sweep -timeout 60m ./vision -sweep %d\n", *sweepTrials)
	fmt.Fprintf(&b, "# %s. Errors in pixels. sd_over_bound: standard deviation of the error over the Cramér-Rao bound, empty\n", time.Now().UTC().Format(time.DateOnly))
	fmt.Fprintln(&b, "# where the bound does not know all that is in the scenes. light_%: share of the 95 % intervals from the light of the")
	fmt.Fprintln(&b, "# rims alone that hold the truth; covered_%: the same for the whole budget. u_over_sd: claimed from the light alone.")
	w := csv.NewWriter(&b)
	head := []string{"family", "value", "trials", "refused", "codes"}
	for _, n := range errorNames {
		head = append(head, n+"_bias", n+"_sd", n+"_bound", n+"_sd_over_bound", n+"_u_over_sd", n+"_light_%")
	}
	for _, n := range figures {
		head = append(head, n+"_covered_%")
	}
	lines := [][]string{append(head, "worst_clearance_error", "worst_seed")}
	for _, r := range rows {
		s := r.summary
		var codes []string
		for _, c := range slices.Sorted(maps.Keys(s.codes)) {
			codes = append(codes, fmt.Sprintf("%s %d", c, s.codes[c]))
		}
		line := []string{r.cell.family, r.cell.value, strconv.Itoa(s.trials), strconv.Itoa(s.refused), strings.Join(codes, "; ")}
		for k := range errorNames {
			bound, ratio := "", ""
			if r.cell.bounded {
				bound, ratio = fmt.Sprintf("%.5f", s.bound[k]), fmt.Sprintf("%.2f", s.ratio[k])
			}
			line = append(line, fmt.Sprintf("%.4f", s.bias[k]), fmt.Sprintf("%.4f", s.sd[k]), bound, ratio,
				fmt.Sprintf("%.2f", s.claimed[k]), percent(s.light[k], s.measured()))
		}
		for k := range figures {
			line = append(line, percent(s.inside[k], s.measured()))
		}
		lines = append(lines, append(line, fmt.Sprintf("%.3f", s.worst), strconv.FormatUint(s.worstSeed, 10)))
	}
	if err := w.WriteAll(lines); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join("..", "testdata", "sweep", "joint.csv"), []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

func percent(k, n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%.1f", 100*float64(k)/float64(n))
}
