package compare

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/testdata"
)

// Mixed models against lme4 and nlme. lme4 finds the ratio of the standard
// deviations to about 1e-6 where the likelihood is flat, so variances are held
// to ten times that and the likelihood, flat at its top, to 1e-9. Ours must
// never be the worse one.
func TestMixedModelAgainstLme4(t *testing.T) {
	const source = "reml_lme4.csv"
	data := rows(t, "crosscheck", source)
	sets := map[string]*Study{}
	lme4 := map[string]map[string]float64{}
	for _, row := range data {
		set := row["set"]
		if sets[set] == nil {
			sets[set], lme4[set] = NewStudy("mm", "km"), map[string]float64{}
		}
		switch row["kind"] {
		case "point":
			if err := sets[set].Add(Joint{Revision: row["a"], Chain: row["b"], Value: testdata.Number(t, row["value"])}); err != nil {
				t.Fatal(err)
			}
		case "lme4":
			lme4[set][row["a"]] = testdata.Number(t, row["value"])
		}
	}
	if len(sets) != 7 {
		t.Fatalf("%d sets", len(sets))
	}
	for set, s := range sets {
		f, err := s.At("")
		if err != nil {
			t.Fatal(err)
		}
		m, ok := fitREML(samples(byRevision(f.Chains)))
		if !ok {
			t.Errorf("%s: no fit", set)
			continue
		}
		want := lme4[set]
		near(t, set+" variance between chains", m.chainVariance(), want["chain_variance"], 1e-5, source)
		near(t, set+" residual variance", m.residual, want["residual_variance"], 1e-5, source)
		if d := m.criterion - want["criterion"]; math.Abs(d) > 1e-8*math.Abs(want["criterion"]) || d > 1e-9*math.Abs(want["criterion"]) {
			t.Errorf("%s: criterion %.12g, lme4 has %.12g", set, m.criterion, want["criterion"])
		}
	}
	checked := 0
	for _, row := range data {
		if row["kind"] == "point" || row["kind"] == "lme4" {
			continue
		}
		f, _ := sets[row["set"]].At("")
		revisions := byRevision(f.Chains)
		m, _ := fitREML(samples(revisions))
		index := map[string]int{}
		for i, r := range revisions {
			index[r[0].Revision] = i
		}
		q := m.byModel(index[row["a"]], index[row["b"]], "mm")
		got := map[string]float64{
			"difference": q.Value, "error": q.U, "freedom": q.DF,
			"p": family(2).chance(q.Value/q.U, q.DF), // nlme corrects nothing
		}[row["kind"]]
		near(t, row["set"]+" "+row["a"]+"-"+row["b"]+" "+row["kind"], got, testdata.Number(t, row["value"]), 1e-5, source)
		checked++
	}
	if checked != 24 {
		t.Errorf("%d figures of differences", checked)
	}
}

// R's integrals are asked for eleven digits.
func TestStudentRangeAgainstR(t *testing.T) {
	const source = "studentrange_r.csv"
	for _, row := range rows(t, "crosscheck", source) {
		k, df, q, p := int(testdata.Number(t, row["k"])), testdata.Number(t, row["df"]), testdata.Number(t, row["q"]), testdata.Number(t, row["p"])
		if got := studentRange(q, k, df); math.Abs(got-p) > 1e-9 {
			t.Errorf("k %d, df %v, q %v: got %.12f, want %.12f (%s)", k, df, q, got, p, source)
		}
		if df == 7.5 && q == 3 {
			near(t, "quantile", studentRangeQuantile(p, k, df), q, 1e-7, source)
		}
	}
}

// Two means have Student's t.
func TestStudentRangeOfTwo(t *testing.T) {
	for _, df := range []float64{1, 1.3, 2, 5, 17.5, 200} {
		for _, x := range []float64{0.1, 1, 2.5, 6} {
			want := 1 - 2*distuv.StudentsT{Sigma: 1, Nu: df}.CDF(-x)
			if got := studentRange(x*math.Sqrt2, 2, df); math.Abs(got-want) > 1e-10 {
				t.Errorf("df %v, t %v: got %.13f, want %.13f", df, x, got, want)
			}
		}
	}
}

// Our noncentral t against gonum's, which follows algorithm AS 243 and is good
// to 1e-12.
func TestNoncentralT(t *testing.T) {
	for _, df := range []float64{1, 2, 3.7, 10, 38, 400} {
		for _, shift := range []float64{-2, 0, 0.5, 2.8, 6, 12} {
			for _, x := range []float64{-3, -0.5, 0.3, 2.1, 7, 15} {
				want := distuv.NoncentralT{Nu: df, Mu: shift}.CDF(x)
				if got := noncentralT(x, df, shift); math.Abs(got-want) > 1e-9 {
					t.Errorf("df %v, shift %v, t %v: got %.12f, gonum %.12f", df, shift, x, got, want)
				}
			}
		}
	}
}
