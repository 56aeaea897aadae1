package compare

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The long sweep generates so many studies of every kind and writes what it
// finds to testdata/sweep/compare.csv:
//
//	go test -run Sweep -timeout 30m ./measure/compare -sweep 4000
//
// The short test does the same with studies of all sizes mixed.
var sweepStudies = flag.Int("sweep", 0, "studies of each kind in the long sweep, 0 for none")

// kind is one kind of study: revisions with the chains given, joints from
// least to most in each chain, the share of the variance that lies between
// chains, and how many times the last revision scatters as much as the others.
type kind struct {
	chains      []int // of each revision; 0 draws 3 to 10
	least, most int
	chainShare  float64
	ratio       float64
}

// draw generates a study of like revisions, every joint's standard deviation
// being 1 but in the last. The second revision has the shift added.
func (k kind) draw(r *rand.Rand, shift float64) (chains [][]sample, pooled []sample) {
	chains, pooled = make([][]sample, len(k.chains)), make([]sample, len(k.chains))
	for i, n := range k.chains {
		if n == 0 {
			n = 3 + r.IntN(8)
		}
		scatter := 1.0
		if i == len(k.chains)-1 {
			scatter = k.ratio
		}
		for range n {
			of := scatter * math.Sqrt(k.chainShare) * r.NormFloat64()
			if i == 1 {
				of += shift
			}
			var c sample
			for range k.least + r.IntN(k.most-k.least+1) {
				v := of + scatter*math.Sqrt(1-k.chainShare)*r.NormFloat64()
				c.add(v)
				pooled[i].add(v)
			}
			chains[i] = append(chains[i], c)
		}
	}
	return chains, pooled
}

// tally counts what went wrong in studies of a kind, by each way of testing.
type tally struct {
	studies                            int
	missed, alarms                     int // Welch on chain means
	modelled, modelMissed, modelAlarms int // mixed model
	pooledAlarms                       int // joints as if they were chains: the mistake
}

func (k kind) try(r *rand.Rand, studies int) tally {
	t := tally{studies: studies}
	of := family(len(k.chains))
	wrong := func(shift float64) (welched, modelled, byModel, pooled bool) {
		chains, joints := k.draw(r, shift)
		model, ok := fitREML(chains)
		means := make([]sample, len(chains))
		for i, g := range chains {
			for _, c := range g {
				means[i].add(c.mean)
			}
		}
		for b := range chains {
			for a := range b {
				truth := 0.0
				if a == 1 {
					truth = -shift
				} else if b == 1 {
					truth = shift
				}
				// What one pair alone would not call is not worth the integral.
				off := func(q, u, df float64) bool {
					return family(2).chance((q-truth)/u, df) < 0.05 && of.chance((q-truth)/u, df) < 0.05
				}
				q := welch(means[a], means[b], "")
				welched = welched || off(q.Value, q.U, q.DF)
				q = welch(joints[a], joints[b], "")
				pooled = pooled || off(q.Value, q.U, q.DF)
				if ok {
					q = model.byModel(a, b, "")
					byModel = byModel || off(q.Value, q.U, q.DF)
				}
			}
		}
		return welched, ok, byModel, pooled
	}
	count := func(n *int, is bool) {
		if is {
			*n++
		}
	}
	for range studies {
		welched, modelled, byModel, _ := wrong(0.7)
		count(&t.missed, welched)
		count(&t.modelled, modelled)
		count(&t.modelMissed, byModel)
		welched, _, byModel, pooled := wrong(0)
		count(&t.alarms, welched)
		count(&t.modelAlarms, byModel)
		count(&t.pooledAlarms, pooled)
	}
	return t
}

// Studies of 3 to 10 chains a revision and 5 to 40 joints a chain, mixed: the
// 95 % interval of the difference holds the truth in 93 to 97 % of them, and
// 4 to 6 % of studies of like revisions raise an alarm. Joints pooled as if
// they were independent raise it several times as often.
func TestCoverage(t *testing.T) {
	t.Parallel()
	for _, share := range []float64{0.1, 0.3, 0.7} {
		k := kind{chains: []int{0, 0}, least: 5, most: 40, chainShare: share, ratio: 1}
		got := k.try(rand.New(rand.NewPCG(6, uint64(100*share))), 4000)
		percent := func(n int) float64 { return 100 * float64(n) / float64(got.studies) }
		t.Logf("chain share %v: Welch covers %.1f %%, false alarms %.1f %%; model covers %.1f %%, false alarms %.1f %%; joints pooled, false alarms %.1f %%",
			share, 100-percent(got.missed), percent(got.alarms), 100-percent(got.modelMissed), percent(got.modelAlarms), percent(got.pooledAlarms))
		for name, missed := range map[string]float64{"Welch": percent(got.missed), "model": percent(got.modelMissed)} {
			if missed < 3 || missed > 7 {
				t.Errorf("chain share %v, %s: covers %.2f %%", share, name, 100-missed)
			}
		}
		for name, alarms := range map[string]float64{"Welch": percent(got.alarms), "model": percent(got.modelAlarms)} {
			if alarms < 4 || alarms > 6 {
				t.Errorf("chain share %v, %s: %.2f %% false alarms", share, name, alarms)
			}
		}
		if percent(got.pooledAlarms) < 15 {
			t.Errorf("chain share %v: joints pooled raise %.1f %% false alarms; is the study nested?", share, percent(got.pooledAlarms))
		}
		if got.modelled != got.studies {
			t.Errorf("chain share %v: model in %d of %d", share, got.modelled, got.studies)
		}
	}
}

func TestSweep(t *testing.T) {
	if *sweepStudies == 0 {
		t.Skip("give -sweep for the long one")
	}
	var kinds []kind
	for _, chains := range [][]int{{3, 3}, {4, 4}, {5, 5}, {10, 10}, {3, 10}, {0, 0}, {3, 3, 3}, {5, 5, 5}, {0, 0, 0}, {0, 0, 0, 0}, {2, 10}} {
		for _, joints := range [][2]int{{5, 5}, {40, 40}, {5, 40}} {
			for _, share := range []float64{0, 0.1, 0.3, 0.7} {
				kinds = append(kinds, kind{chains, joints[0], joints[1], share, 1})
			}
		}
		kinds = append(kinds, kind{chains, 5, 40, 0.3, 2})
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# go test -run Sweep -timeout 30m ./measure/compare -sweep %d\n", *sweepStudies)
	fmt.Fprintln(&b, "# Studies generated with known truth. chains: of each revision, \"3-10\" drawn anew; chain_share: share of the variance")
	fmt.Fprintln(&b, "# between chains; scatter_ratio: of the last revision to the others. covered_%: all 95 % intervals of a study hold the")
	fmt.Fprintln(&b, "# truth; false_alarm_%: any difference found where there is none. welch: on chain means, several revisions by Games and")
	fmt.Fprintln(&b, "# Howell; model: mixed model, several by Tukey and Kramer; pooled: joints as if independent, the mistake avoided.")
	fmt.Fprintln(&b, "chains,joints,chain_share,scatter_ratio,studies,welch_covered_%,welch_false_alarm_%,model_covered_%,model_false_alarm_%,pooled_false_alarm_%")
	for i, k := range kinds {
		got := k.try(rand.New(rand.NewPCG(7, uint64(i))), *sweepStudies)
		percent := func(n int) float64 { return 100 * float64(n) / float64(got.studies) }
		var names []string
		for _, n := range k.chains {
			name := "3-10"
			if n > 0 {
				name = strconv.Itoa(n)
			}
			names = append(names, name)
		}
		fmt.Fprintf(&b, "%s,%d-%d,%g,%g,%d,%.1f,%.1f,%.1f,%.1f,%.1f\n", strings.Join(names, "/"), k.least, k.most, k.chainShare, k.ratio, got.studies,
			100-percent(got.missed), percent(got.alarms), 100-percent(got.modelMissed), percent(got.modelAlarms), percent(got.pooledAlarms))
	}
	if err := os.WriteFile(filepath.Join("..", "..", "testdata", "sweep", "compare.csv"), []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
