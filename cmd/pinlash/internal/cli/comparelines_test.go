package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

// resultLines are lines of results as a batch would leave them, of photos that
// were never taken.
type resultLines struct {
	text strings.Builder
	n    int
}

// add writes the line of one photo with its figures, results first and those
// of growth behind.
func (l *resultLines) add(kind record.Kind, levels record.Levels, results, growth record.Figures) {
	l.n++
	photo := fmt.Sprintf("%s-%d.jpg", kind, l.n)
	r := record.Record{
		Kind: kind, Photo: record.Photo{Path: photo, SHA256: fmt.Sprintf("%064x", l.n)}, Version: Version,
		Scale:   record.NewScale(calib.Scale{MMPerPx: mm(0.006, 1e-6), Source: "rule", DivisionMM: 0.1, Marks: 95}),
		Results: results, Growth: growth,
		Batch: &record.Batch{
			Task: fmt.Sprintf("%064x", l.n), Levels: levels, Settings: map[string]string{"division": "0.1mm"},
			Files:   []record.File{{Path: photo, SHA256: fmt.Sprintf("%064x", l.n)}},
			Budgets: record.NewBudgets(append(append(record.Figures{}, results...), growth...)),
		},
	}
	l.write(r)
}

// refuse writes the line of a photo that was refused.
func (l *resultLines) refuse(kind record.Kind, levels record.Levels) {
	l.n++
	l.write(record.Record{
		Kind: kind, Photo: record.Photo{Path: fmt.Sprintf("%s-%d.jpg", kind, l.n)}, Refused: check.Refuse(check.Blurred, "the picture is blurred"),
		Batch: &record.Batch{Task: fmt.Sprintf("%064x", l.n), Levels: levels, Settings: map[string]string{}, Files: []record.File{}},
	})
}

func (l *resultLines) write(r record.Record) {
	if err := record.WriteLine(&l.text, r); err != nil {
		panic(err)
	}
}

// joint writes an end-on photo of a joint with its play and growth.
func (l *resultLines) joint(levels record.Levels, growth float64) {
	l.add(record.Joint, levels,
		record.Figures{
			{Name: "pin_diameter", Quantity: mm(3.3, 0.001)},
			{Name: "bore_diameter", Quantity: mm(3.4, 0.001)},
			{Name: "clearance", Quantity: mm(0.1, 0.001)},
			{Name: "play", Quantity: mm(0.05+growth, 0.002)},
		},
		record.Figures{{Name: "joint_growth", Quantity: mm(growth, 0.002)}})
}

// play writes a play from motion.
func (l *resultLines) play(levels record.Levels, play float64) {
	l.add(record.Play, levels, record.Figures{
		{Name: "play", Quantity: mm(play, 0.001)},
		{Name: "pull_direction", Quantity: uncert.Combine(0, "deg", nil)},
	}, nil)
}

// span writes a span of a chain whose pitch is known.
func (l *resultLines) span(levels record.Levels, growth float64) {
	l.add(record.Span, levels,
		record.Figures{
			{Name: "span", Quantity: mm(95.25, 0.01)},
			{Name: "mean_pitch", Quantity: mm(9.525, 0.001)},
			{Name: "elongation", Quantity: uncert.Combine(100*growth/9.525, "%", nil)},
		},
		record.Figures{{Name: "joint_growth", Quantity: mm(growth, 0.001)}})
}

// save writes the lines to a file of results in a new folder and returns the
// file's name.
func (l *resultLines) save(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "results.jsonl")
	if err := os.WriteFile(path, []byte(l.text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// invented is a revision with known truth.
type invented struct {
	name          string
	chains        int
	joints        int // of each chain
	mean          float64
	chainSD, sd   float64 // between chains and between joints, exact in the sample
	km            float64
	specimen      string
	withoutPlaces bool
}

// study writes joints of revisions whose chain means, and whose joints about
// them, have exactly the means and standard deviations stated.
func (l *resultLines) study(seed uint64, revisions ...invented) {
	r := rand.New(rand.NewPCG(seed, 61))
	for _, of := range revisions {
		for i, c := range scattered(r, of.chains, of.mean, of.chainSD) {
			for j, v := range scattered(r, of.joints, c, of.sd) {
				levels := record.Levels{
					Specimen: of.specimen, Revision: of.name, Chain: fmt.Sprint("chain ", i+1), Joint: fmt.Sprint(j + 1), DistanceKM: of.km,
				}
				if of.withoutPlaces {
					levels.Revision, levels.Chain = "", ""
				}
				l.joint(levels, v)
			}
		}
	}
}

// scattered returns n numbers with that mean and standard deviation.
func scattered(r *rand.Rand, n int, mean, sd float64) []float64 {
	v := make([]float64, n)
	sum, squares := 0.0, 0.0
	for i := range v {
		v[i] = r.NormFloat64()
		sum += v[i]
	}
	for i := range v {
		v[i] -= sum / float64(n)
		squares += v[i] * v[i]
	}
	for i := range v {
		if n > 1 {
			v[i] *= sd / math.Sqrt(squares/float64(n-1))
		}
		v[i] += mean
	}
	return v
}

// compared runs pinlash compare with --json and reads its line.
func compared(t testing.TB, into any, args ...string) {
	t.Helper()
	status, stdout, stderr := run(t.(*testing.T), t.Context(), append([]string{"compare", "--json"}, args...)...)
	if status != statusOK || stderr != "" {
		t.Fatalf("pinlash compare %q: status %d, %s", args, status, stderr)
	}
	if err := validLine(schema(t), strings.TrimSpace(stdout)); err != nil {
		t.Errorf("%v\n%s", err, stdout)
	}
	if err := json.Unmarshal([]byte(stdout), into); err != nil {
		t.Fatal(err)
	}
}

// writeStudy is "study FOLDER NAME" in scripts: results of a study of that
// name.
func writeStudy(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: study FOLDER NAME")
	}
	var l resultLines
	switch args[1] {
	case "two": // two revisions 0.010 mm apart, four chains each
		l.study(1, invented{name: "A", chains: 4, joints: 6, mean: 0.030, chainSD: 0.003, sd: 0.004, km: 20000},
			invented{name: "B", chains: 4, joints: 6, mean: 0.040, chainSD: 0.003, sd: 0.004, km: 20000})
	case "one-chain":
		l.study(2, invented{name: "A", chains: 1, joints: 30, mean: 0.030, sd: 0.004}, invented{name: "B", chains: 1, joints: 30, mean: 0.040, sd: 0.004})
	case "nowhere":
		l.study(3, invented{chains: 2, joints: 4, mean: 0.030, chainSD: 0.003, sd: 0.004, withoutPlaces: true})
	case "hostile":
		l.study(4, invented{name: "=1+1\x1b[2J", chains: 2, joints: 4, mean: 0.030, chainSD: 0.003, sd: 0.004, specimen: "a\nb"},
			invented{name: "<script>", chains: 2, joints: 4, mean: 0.040, chainSD: 0.003, sd: 0.004, specimen: "@sum"})
	case "refused":
		l.study(5, invented{name: "A", chains: 3, joints: 4, mean: 0.030, chainSD: 0.003, sd: 0.004})
		l.refuse(record.Joint, record.Levels{Revision: "A", Chain: "chain 1", Joint: "9"})
		l.study(6, invented{chains: 1, joints: 2, mean: 0.030, sd: 0.004, withoutPlaces: true})
	case "outlier":
		r := rand.New(rand.NewPCG(10, 61))
		for chain := range 12 {
			for joint := range 10 {
				growth := 0.03 + 0.002*r.NormFloat64()
				if chain == 1 && joint == 2 {
					growth = 0.13
				}
				l.joint(record.Levels{Revision: "A", Chain: fmt.Sprint("chain ", chain+1), Joint: fmt.Sprint(joint + 1)}, growth)
			}
		}
	case "repeats":
		r := rand.New(rand.NewPCG(7, 61))
		for joint := range 8 {
			for by := range 2 {
				for repeat := range 3 {
					l.joint(record.Levels{
						Revision: "A", Chain: "left", Joint: fmt.Sprint(joint), By: fmt.Sprint("person ", by), Repeat: repeat + 1,
					}, 0.02+0.01*float64(joint)+0.002*r.NormFloat64()+0.001*float64(by))
				}
			}
		}
	case "both-ways":
		r := rand.New(rand.NewPCG(8, 61))
		for joint := range 12 {
			levels := record.Levels{Revision: "A", Chain: fmt.Sprint("chain ", joint%4), Joint: fmt.Sprint(joint)}
			growth := 0.02 + 0.005*float64(joint)
			l.joint(levels, growth+0.001*r.NormFloat64())
			l.play(levels, 0.05+growth+0.001*r.NormFloat64())
			levels.Joint = ""
			l.span(levels, growth)
		}
	default:
		ts.Fatalf("no study %q", args[1])
	}
	folder := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(folder, 0o755))
	ts.Check(os.WriteFile(filepath.Join(folder, "results.jsonl"), []byte(l.text.String()), 0o644))
}
