package cli

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/cmd/pinlash/internal/record"

	"pinlash/testdata"
)

// comparison is what the tests read of a line of that kind.
type comparison struct {
	Figure        string
	From          []string
	Used, Refused int
	LeftOut       int `json:"left_out"`
	Unit          string
	Revisions     []struct {
		Revision       string
		Chains, Joints int
		Mean           float64
		Interval       *quantity
		NextChain      *quantity `json:"next_chain"`
	}
	Chains []struct {
		Specimen, Revision, Chain, Inspection string
		Joints, Photos                        int
		Mean                                  float64
	}
	Differences []struct {
		A, B         string
		Difference   quantity
		P            float64
		Effect       quantity
		Verdict      string
		NoLargerThan float64 `json:"no_larger_than"`
		Equivalence  *struct {
			P     float64
			Holds bool
		}
		ByModel *struct{ P float64 } `json:"by_model"`
	}
	Model *struct {
		Parts []struct {
			Name      string
			SD, Share float64
		}
	}
	Outliers []struct{ What, Chain, Joint string }
	Notes    []string
}

type quantity struct {
	Value, U, Lower, Upper float64
	Unit                   string
}

// TestCompareKnownTruth holds a study whose chain means have exactly known
// means and standard deviations against Welch's figures worked out by hand.
func TestCompareKnownTruth(t *testing.T) {
	var l resultLines
	l.study(11, invented{name: "A", chains: 4, joints: 5, mean: 0.030, chainSD: 0.003, sd: 0.004, km: 20000},
		invented{name: "B", chains: 6, joints: 5, mean: 0.040, chainSD: 0.002, sd: 0.004, km: 20000})
	var c comparison
	compared(t, &c, l.save(t), "--margin", "20um")
	if c.Figure != growthFigure || c.Unit != "mm" || c.Used != 50 || c.LeftOut != 0 || len(c.Chains) != 10 || len(c.Differences) != 1 {
		t.Fatalf("%+v", c)
	}
	// Welch 1947, Biometrika 34:28.
	va, vb := 0.003*0.003/4, 0.002*0.002/6
	u := math.Sqrt(va + vb)
	df := (va + vb) * (va + vb) / (va*va/3 + vb*vb/5)
	student := distuv.StudentsT{Sigma: 1, Nu: df}
	half := student.Quantile(0.975) * u
	d := c.Differences[0]
	near(t, "difference", d.Difference.Value, 0.010, 1e-9)
	near(t, "its uncertainty", d.Difference.U, u, 1e-9)
	near(t, "lower end", d.Difference.Lower, 0.010-half, 1e-8)
	near(t, "upper end", d.Difference.Upper, 0.010+half, 1e-8)
	near(t, "p", d.P, 2*student.CDF(-0.010/u), 1e-8)
	near(t, "largest", d.NoLargerThan, 0.010+student.Quantile(0.95)*u, 1e-8)
	near(t, "p of equivalence", d.Equivalence.P, student.CDF(-(0.020-0.010)/u), 1e-8)
	if d.Verdict != "the revisions differ, but by less than matters" || !d.Equivalence.Holds || d.ByModel == nil || c.Model == nil {
		t.Errorf("%+v", d)
	}
	for i, r := range c.Revisions {
		sd := []float64{0.003, 0.002}[i]
		n := float64(r.Chains)
		half := distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975) * sd
		near(t, "upper end of revision "+r.Revision, r.Interval.Upper, r.Mean+half/math.Sqrt(n), 1e-8)
		near(t, "next chain of revision "+r.Revision, r.NextChain.Upper, r.Mean+half*math.Sqrt(1+1/n), 1e-8)
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

// TestCompareDoesNotPoolJoints: of 2 x 4 chains whose means scatter, 40 joints
// each, a test that takes the joints as independent finds a difference beyond
// doubt. By the chains nothing is shown.
func TestCompareDoesNotPoolJoints(t *testing.T) {
	var l resultLines
	l.study(12, invented{name: "A", chains: 4, joints: 40, mean: 0.030, chainSD: 0.006, sd: 0.004},
		invented{name: "B", chains: 4, joints: 40, mean: 0.034, chainSD: 0.006, sd: 0.004})
	var c comparison
	compared(t, &c, l.save(t))
	pooled := pooledP(t, l.text.String())
	d := c.Differences[0]
	if pooled > 1e-6 || d.P < 0.3 || !strings.HasPrefix(d.Verdict, "undecided") {
		t.Errorf("pooled joints: p %g; chains: p %g, %s", pooled, d.P, d.Verdict)
	}
	// A chain is one sample however often it is photographed: the joints of
	// both revisions only make its mean better known.
	if got := c.Revisions[0]; got.Joints != 160 || math.Abs(got.Interval.U-0.006/2) > 1e-9 {
		t.Errorf("%+v", got)
	}
}

// pooledP is the mistake: the p of a t test that takes all joints of two
// revisions as independent.
func pooledP(t *testing.T, lines string) float64 {
	t.Helper()
	values := map[string][]float64{}
	err := record.ReadMeasured(strings.NewReader(lines), func(m *record.Measured) error {
		q, _, err := m.Figure(growthFigure)
		values[m.Levels.Revision] = append(values[m.Levels.Revision], q.Value)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	mean, variance := map[string]float64{}, 0.0
	for name, v := range values {
		sum, squares := 0.0, 0.0
		for _, x := range v {
			sum += x
		}
		for _, x := range v {
			squares += (x - sum/float64(len(v))) * (x - sum/float64(len(v)))
		}
		mean[name] = sum / float64(len(v))
		variance += squares / float64(len(v)-1) / float64(len(v))
	}
	n := float64(len(values["A"]) + len(values["B"]))
	return 2 * distuv.StudentsT{Sigma: 1, Nu: n - 2}.CDF(-math.Abs(mean["A"]-mean["B"])/math.Sqrt(variance))
}

// TestCompareOneChainSaysNothing of the revision, however many joints.
func TestCompareOneChainSaysNothing(t *testing.T) {
	var l resultLines
	l.study(13, invented{name: "A", chains: 1, joints: 200, mean: 0.030, sd: 0.004}, invented{name: "B", chains: 1, joints: 200, mean: 0.060, sd: 0.004})
	var c comparison
	compared(t, &c, l.save(t))
	if len(c.Differences) != 0 || c.Revisions[0].Interval != nil || !slices.ContainsFunc(c.Notes, func(n string) bool {
		return strings.Contains(n, "one chain of revision A: no statement about the revision is possible")
	}) {
		t.Errorf("%+v", c)
	}
}

// TestCompareTellsChainsOfMachinesApart: "left" of two machines are two
// chains.
func TestCompareTellsChainsOfMachinesApart(t *testing.T) {
	var l resultLines
	for _, revision := range []string{"A", "B"} {
		for _, specimen := range []string{"engine 1", "engine 2", "engine 3"} {
			for joint := range 3 {
				l.joint(record.Levels{Specimen: specimen, Revision: revision, Chain: "left", Joint: fmt.Sprint(joint)}, 0.03+0.001*float64(joint*len(specimen+revision)%5))
			}
		}
	}
	var c comparison
	compared(t, &c, l.save(t))
	if len(c.Chains) != 6 || c.Chains[1].Specimen != "engine 2" || c.Chains[1].Chain != "left" {
		t.Errorf("%+v", c.Chains)
	}
}

// TestCompareChoosesTheFigure: growth where all joints have it, else play; end-on
// photos and plays from motion are not mixed.
func TestCompareChoosesTheFigure(t *testing.T) {
	var l resultLines
	l.study(14, invented{name: "A", chains: 2, joints: 3, mean: 0.03, chainSD: 0.001, sd: 0.002})
	var c comparison
	compared(t, &c, l.save(t))
	if c.Figure != "joint_growth" {
		t.Errorf("figure %s", c.Figure)
	}
	for chain := range 2 {
		l.play(record.Levels{Revision: "A", Chain: fmt.Sprint("chain ", chain+1), Joint: "1"}, 0.09)
	}
	path := l.save(t)
	c = comparison{}
	compared(t, &c, path)
	if c.Figure != "play" || !slices.Equal(c.From, []string{"joint"}) || c.Used != 6 || c.LeftOut != 2 || !strings.Contains(strings.Join(c.Notes, "\n"), "--from play") {
		t.Errorf("%+v", c)
	}
	c = comparison{}
	compared(t, &c, path, "--from", "play")
	if !slices.Equal(c.From, []string{"play"}) || c.Used != 2 {
		t.Errorf("%+v", c)
	}
}

// TestCompareInspections takes the last, the one that is named, or the slope
// of all.
func TestCompareInspections(t *testing.T) {
	var l resultLines
	for _, revision := range []struct {
		name string
		rate float64
	}{{"A", 0.001}, {"B", 0.002}} {
		for chain := range 3 {
			for _, km := range []float64{10000, 20000} {
				for joint := range 2 {
					levels := record.Levels{Revision: revision.name, Chain: fmt.Sprint(chain), Inspection: fmt.Sprintf("%g km", km), Joint: fmt.Sprint(joint), DistanceKM: km}
					l.joint(levels, 0.005+(revision.rate+0.0001*float64(chain))*km/1000+0.0002*float64(joint))
				}
			}
		}
	}
	path := l.save(t)
	for _, c := range []struct {
		args string
		want float64
		unit string
		used int
	}{{"", 0.020, "mm", 12}, {"--inspection|10000 km", 0.010, "mm", 12}, {"--rate|km", 0.001, "mm/1000 km", 24}} {
		var got comparison
		compared(t, &got, append([]string{path}, slices.DeleteFunc(strings.Split(c.args, "|"), func(s string) bool { return s == "" })...)...)
		near(t, c.args+": difference", got.Differences[0].Difference.Value, c.want, 1e-9)
		if got.Unit != c.unit || got.Used != c.used {
			t.Errorf("%s: unit %s, used %d", c.args, got.Unit, got.Used)
		}
	}
}

// TestCompareNewChain: results do not tell zero hours from none, the name of
// the inspection does.
func TestCompareNewChain(t *testing.T) {
	var l resultLines
	for _, at := range []struct {
		name  string
		hours float64
	}{{"0h", 0}, {"400h", 400}, {"1200h", 1200}} {
		for _, revision := range []string{"A", "B"} {
			for chain := range 2 {
				hours := at.hours
				if revision == "B" {
					hours *= 1.5
				}
				l.joint(record.Levels{Revision: revision, Chain: fmt.Sprint(chain), Inspection: at.name, Hours: hours}, (0.0001+0.00001*float64(chain))*hours+0.001*float64(chain))
			}
		}
	}
	path := l.save(t)
	var c comparison
	compared(t, &c, path)
	if c.Chains[0].Inspection != "1200h" || !strings.Contains(strings.Join(c.Notes, "\n"), "1200 to 1800 h on average: compare rates") {
		t.Errorf("%+v", c)
	}
	c = comparison{}
	compared(t, &c, path, "--rate", "hours")
	if c.Unit != "mm/1000 h" || c.Used != 8 {
		t.Errorf("%+v", c)
	}
	near(t, "difference of rates", c.Differences[0].Difference.Value, 0, 1e-9)
	c = comparison{}
	compared(t, &c, path, "--inspection", "0h")
	near(t, "difference when new", c.Differences[0].Difference.Value, 0, 1e-9)
}

// TestCompareRepeatabilityPublished takes the worked example of AIAG's manual
// through lines of results and the command.
func TestCompareRepeatabilityPublished(t *testing.T) {
	var l resultLines
	want := map[string]float64{}
	times := map[string]int{}
	for _, row := range testdata.Table(t, "published/aiag_gauge.csv")[1:] {
		if row[0] != "reading" {
			want[row[0]+" "+row[1]] = testdata.Number(t, row[3])
			continue
		}
		times[row[1]+row[2]]++
		l.play(record.Levels{Revision: "part", Chain: "all", Joint: row[2], By: row[1], Repeat: times[row[1]+row[2]]}, testdata.Number(t, row[3]))
	}
	var r struct {
		People, Joints, Times int
		Used                  int
		ByAnova               record.Gauge `json:"by_anova"`
		ByRange               record.Gauge `json:"by_range"`
	}
	compared(t, &r, l.save(t), "--repeat")
	if r.People != 3 || r.Joints != 10 || r.Times != 3 || r.Used != 90 {
		t.Errorf("%+v", r)
	}
	for method, g := range map[string]record.Gauge{"anova": r.ByAnova, "range": r.ByRange} {
		for name, got := range map[string]float64{
			"repeatability": float64(g.Repeatability), "reproducibility": float64(g.Reproducibility), "measuring": float64(g.Measuring),
			"parts": float64(g.Joints), "total": float64(g.Total),
		} {
			published := want[method+" "+name]
			tolerance := 1e-6
			if method == "range" {
				// The manual's factors are rounded to four places, one part
				// in 6000 at most; ours are not.
				tolerance = published / 6000
			}
			near(t, method+" "+name, got, published, tolerance)
		}
		near(t, method+" percent", float64(g.OfTotal), want[method+" of_total_percent"], 0.005)
		near(t, method+" levels", float64(g.Levels), want[method+" levels"], 0)
	}
}

// TestCompareAgreementPublished takes Bland and Altman's peak flows through
// lines of results and the command, as if they were millimetres.
func TestCompareAgreementPublished(t *testing.T) {
	var l resultLines
	want := map[string][2]float64{}
	n := 0
	for _, row := range testdata.Table(t, "published/bland_altman1986.csv")[1:] {
		if row[0] == "pair" {
			n++
			levels := record.Levels{Revision: "A", Chain: "left", Joint: fmt.Sprint(n)}
			l.add(record.Joint, levels, record.Figures{{Name: "play", Quantity: mm(testdata.Number(t, row[3]), 1)}}, nil)
			l.play(levels, testdata.Number(t, row[2]))
			continue
		}
		v := [2]float64{testdata.Number(t, row[2])}
		if row[3] != "" {
			v[1] = testdata.Number(t, row[3])
		}
		want[row[1]] = v
	}
	var a struct {
		Pairs      int
		Bias       quantity
		LowerLimit quantity `json:"lower_limit"`
		UpperLimit quantity `json:"upper_limit"`
		Verdict    string
	}
	compared(t, &a, l.save(t), "--agree", "joint,play", "--margin", "60mm")
	mean, sd := want["mean"][0], want["sd"][0]
	near(t, "bias", a.Bias.Value, mean, 0.0005)
	near(t, "its error", a.Bias.U, want["mean_error"][0], 0.0005)
	near(t, "its lower end", a.Bias.Lower, want["mean_interval"][0], 0.01)
	near(t, "its upper end", a.Bias.Upper, want["mean_interval"][1], 0.01)
	near(t, "lower limit", a.LowerLimit.Value, mean-1.959964*sd, 0.002)
	near(t, "upper limit", a.UpperLimit.Value, mean+1.959964*sd, 0.002)
	if a.Pairs != 17 || a.Verdict != "too few pairs to tell" {
		t.Errorf("%+v", a)
	}
}

// TestCompareAgreeOnChains holds means of joints against means of spans.
func TestCompareAgreeOnChains(t *testing.T) {
	var l resultLines
	for chain := range 5 {
		for place := range 3 {
			levels := record.Levels{Revision: "A", Chain: fmt.Sprint(chain), Joint: fmt.Sprint(place)}
			l.joint(levels, 0.01*float64(chain)+0.001*float64(place))
			l.span(levels, 0.01*float64(chain)+0.001*float64(place)+0.0005)
		}
	}
	var a struct {
		Of    string
		Pairs int
		Used  int
		Bias  quantity
		Slope quantity
	}
	compared(t, &a, l.save(t), "--agree", "joint,span")
	near(t, "bias", a.Bias.Value, 0.0005, 1e-9)
	near(t, "slope", a.Slope.Value, 1, 1e-6)
	if a.Of != "chain" || a.Pairs != 5 || a.Used != 30 {
		t.Errorf("%+v", a)
	}
}

// TestComparePlan: the plan is kept by generated studies as large as it says.
func TestComparePlan(t *testing.T) {
	var l resultLines
	l.study(15, invented{name: "A", chains: 5, joints: 8, mean: 0.03, chainSD: 0.003, sd: 0.005}, invented{name: "B", chains: 5, joints: 8, mean: 0.03, chainSD: 0.003, sd: 0.005})
	var p struct {
		Spread  struct{ Chain, Joint, Measuring float64 }
		Designs []struct {
			Chains, Joints int
			Power          float64
		}
		Present struct {
			Chains, Joints int
			Smallest       float64 `json:"smallest_difference"`
		}
	}
	path := l.save(t)
	compared(t, &p, path, "--plan", "0.008mm", "--power", "0.8")
	if p.Present.Chains != 5 || p.Present.Joints != 8 || p.Present.Smallest <= 0 {
		t.Errorf("%+v", p)
	}
	d := p.Designs[0]
	r := rand.New(rand.NewPCG(16, 61))
	const studies = 2000
	found := 0
	for range studies {
		var means [2][]float64
		for i := range means {
			for range d.Chains {
				sd := math.Hypot(p.Spread.Chain, math.Hypot(p.Spread.Joint, p.Spread.Measuring)/math.Sqrt(float64(d.Joints)))
				means[i] = append(means[i], 0.008*float64(i)+sd*r.NormFloat64())
			}
		}
		if welchP(means[0], means[1]) < 0.05 {
			found++
		}
	}
	// Four standard deviations of the count.
	near(t, "power", float64(found)/studies, d.Power, 4*math.Sqrt(0.25/studies))
	if d.Power < 0.8 {
		t.Errorf("%+v", d)
	}
	compared(t, &p, path, "--plan", "8um")
}

func welchP(a, b []float64) float64 {
	var mean, variance [2]float64
	for i, v := range [][]float64{a, b} {
		for _, x := range v {
			mean[i] += x / float64(len(v))
		}
		for _, x := range v {
			variance[i] += (x - mean[i]) * (x - mean[i]) / float64(len(v)-1) / float64(len(v))
		}
	}
	sum := variance[0] + variance[1]
	df := sum * sum / (variance[0]*variance[0]/float64(len(a)-1) + variance[1]*variance[1]/float64(len(b)-1))
	return 2 * distuv.StudentsT{Sigma: 1, Nu: df}.CDF(-math.Abs(mean[0]-mean[1])/math.Sqrt(sum))
}

// TestCompareData: what is written out is what was compared, the same in both
// formats, described by its dictionary, and no cell is a formula.
func TestCompareData(t *testing.T) {
	var l resultLines
	for chain := range 3 {
		for joint := range 2 {
			for _, km := range []float64{1000, 2000} {
				l.joint(record.Levels{Specimen: "@sum", Revision: "=1+1", Chain: fmt.Sprint("=", chain), Inspection: fmt.Sprint(km), Joint: fmt.Sprint(joint), DistanceKM: km}, 0.01*float64(chain+joint))
			}
		}
	}
	l.joint(record.Levels{Revision: "B"}, 0.5)
	l.refuse(record.Joint, record.Levels{Revision: "=1+1", Chain: "=0"})
	path, dir := l.save(t), t.TempDir()
	asCSV, asParquet := filepath.Join(dir, "play.csv"), filepath.Join(dir, "growth.parquet")
	var c comparison
	compared(t, &c, path, "--out", asCSV)
	compared(t, &c, path, "--out", asParquet)
	if c.Used != 6 || c.Refused != 1 || c.LeftOut != 7 {
		t.Errorf("%+v", c)
	}
	text, err := os.ReadFile(asCSV)
	if err != nil || !strings.HasPrefix(string(text), "\ufeff") {
		t.Fatal("no mark of UTF-8", err)
	}
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff"))).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, file := range []string{asCSV, asParquet} {
		dictionary, err := os.ReadFile(record.DictionaryOf(file))
		if err != nil {
			t.Fatal(err)
		}
		described, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(dictionary), "\ufeff"))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range rows[0] {
			if described[i+1][0] != name || described[i+1][3] == "" {
				t.Errorf("column %s: the dictionary has %q", name, described[i+1])
			}
		}
	}
	type row struct {
		Specimen   string  `parquet:"specimen,optional"`
		Revision   string  `parquet:"revision,optional"`
		Chain      string  `parquet:"chain,optional"`
		DistanceKM float64 `parquet:"distance_km,optional"`
		Joint      string  `parquet:"joint,optional"`
		Value      float64 `parquet:"value"`
		U          float64 `parquet:"u"`
		Unit       string  `parquet:"unit"`
	}
	same, err := parquet.ReadFile[row](asParquet)
	if err != nil || len(same) != 6 {
		t.Fatalf("%d rows, %v", len(same), err)
	}
	column := func(row []string, name string) string { return row[slices.Index(rows[0], name)] }
	for i, p := range same {
		cells := rows[i+1]
		if p.DistanceKM != 2000 || column(cells, "distance_km") != "2000" || column(cells, "revision") != "'"+p.Revision || column(cells, "chain") != "'"+p.Chain ||
			column(cells, "specimen") != "'"+p.Specimen || p.Specimen != "@sum" || testdata.Number(t, column(cells, "value")) != p.Value || testdata.Number(t, column(cells, "u")) != p.U || p.Unit != "mm" {
			t.Errorf("%q and %+v", cells, p)
		}
		for _, cell := range cells {
			if cell != "" && strings.ContainsRune("=+@", rune(cell[0])) {
				t.Errorf("a formula: %q", cell)
			}
		}
	}
	f, err := os.Open(asParquet)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, _ := f.Stat()
	whole, err := parquet.OpenFile(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"pinlash.dictionary", "pinlash.results"} {
		if v, ok := whole.Lookup(key); !ok || v == "" {
			t.Errorf("no %s in the file", key)
		}
	}
	left, _ := os.ReadDir(dir)
	if len(left) != 4 {
		t.Errorf("%d files", len(left))
	}
}

// TestCompareReadsAsDecodeDoes holds the reading by brackets against that of
// whole records, on the lines of the invented studies.
func TestCompareReadsAsDecodeDoes(t *testing.T) {
	var l resultLines
	l.study(17, invented{name: "a\"\\\u00e9\n\u2028", chains: 2, joints: 3, mean: 0.03, chainSD: 0.001, sd: 0.002, km: 12.5, specimen: "<\x1b>"})
	l.span(record.Levels{Chain: "x", Hours: 350, By: "A. Fitter", Repeat: 3, Oil: "5W-30", Inspection: "2026-05"}, 0.04)
	l.play(record.Levels{}, 0.01)
	l.refuse(record.Play, record.Levels{Revision: "r"})
	var whole []record.Line
	err := record.Read(strings.NewReader(l.text.String()), func(line record.Line, _ []byte) error {
		whole = append(whole, line)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	err = record.ReadMeasured(strings.NewReader(l.text.String()), func(m *record.Measured) error {
		r := whole[i].Record
		i++
		if m.Kind != r.Kind || m.Photo() != r.Photo.Path || m.SHA256() != r.Photo.SHA256 || m.Levels != r.Batch.Levels || m.Refused != (r.Refused != nil) {
			t.Errorf("%+v\n%+v", m, r)
		}
		names := 0
		err := m.Names(func([]byte) { names++ })
		if err != nil || names != len(r.Figures()) {
			t.Errorf("%d figures, want %d, %v", names, len(r.Figures()), err)
		}
		for _, f := range r.Figures() {
			q, ok, err := m.Figure(f.Name)
			f.Quantity.DF, f.Quantity.Budget = 0, nil
			if err != nil || !ok || fmt.Sprint(q) != fmt.Sprint(f.Quantity) {
				t.Errorf("%s: %+v, want %+v, %v", f.Name, q, f.Quantity, err)
			}
		}
		return nil
	})
	if err != nil || i != len(whole) {
		t.Errorf("%d of %d lines, %v", i, len(whole), err)
	}
}

var updateStudy = flag.Bool("update", false, "rewrite the study that the README compares")

// TestCompareSampleStudy holds the study that the README compares against what
// it is made by: three revisions of which the second wears like the first, and
// the third less.
func TestCompareSampleStudy(t *testing.T) {
	var l resultLines
	l.study(20, invented{name: "A", chains: 4, joints: 5, mean: 0.046, chainSD: 0.004, sd: 0.005, km: 20000},
		invented{name: "B", chains: 4, joints: 5, mean: 0.043, chainSD: 0.004, sd: 0.005, km: 20000},
		invented{name: "C", chains: 4, joints: 5, mean: 0.030, chainSD: 0.003, sd: 0.005, km: 20000})
	path := filepath.Join("testdata", "compare", "results.jsonl")
	if *updateStudy {
		if err := os.WriteFile(path, []byte(l.text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(path)
	if err != nil || string(kept) != l.text.String() {
		t.Errorf("%s is not what the study makes: %v; -update writes it anew", path, err)
	}
}

// TestReadmeSweep: the README's figures on the mistake avoided are those of
// the last sweep.
func TestReadmeSweep(t *testing.T) {
	readme, err := os.ReadFile("../../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := testdata.Table(t, "sweep/compare.csv")
	column := func(row []string, name string) string { return row[slices.Index(rows[0], name)] }
	const head = "| chains of each | joints of each | between chains | joints pooled | by chains | mixed model |\n| --- | --- | --- | --- | --- | --- |\n"
	_, table, ok := strings.Cut(string(readme), head)
	if !ok {
		t.Fatal("the README has no such table")
	}
	n := 0
	for line := range strings.Lines(table) {
		if line == "\n" {
			break
		}
		n++
		if !slices.ContainsFunc(rows[1:], func(row []string) bool {
			k, _, _ := strings.Cut(column(row, "chains"), "/")
			joints, _, _ := strings.Cut(column(row, "joints"), "-")
			if column(row, "chains") != k+"/"+k || column(row, "joints") != joints+"-"+joints || column(row, "scatter_ratio") != "1" {
				return false
			}
			return line == fmt.Sprintf("| %s | %s | %.0f %% | %s %% | %s %% | %s %% |\n", k, joints, 100*testdata.Number(t, column(row, "chain_share")),
				column(row, "pooled_false_alarm_%"), column(row, "welch_false_alarm_%"), column(row, "model_false_alarm_%"))
		}) {
			t.Errorf("not in the sweep: %s", line)
		}
	}
	if n < 3 {
		t.Errorf("%d rows", n)
	}
}
