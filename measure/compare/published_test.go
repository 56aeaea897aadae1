package compare

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"pinlash/testdata"
)

// One-way analysis of variance to NIST's digits: the instruments stand for
// chains of one revision.
func TestAnovaCertified(t *testing.T) {
	for _, tt := range []struct {
		file string
		// SiRstv leads by three constant digits, AtmWtAg by six: of a double's
		// sixteen the data themselves hold the rest.
		relative float64
	}{
		{"nist_strd_sirstv.csv", 1e-12},
		{"nist_strd_atmwtag.csv", 1e-9},
	} {
		s := NewStudy("", "")
		certified := map[string]float64{}
		for _, row := range rows(t, "published", tt.file) {
			v := testdata.Number(t, row["value"])
			if row["kind"] == "certified" {
				certified[row["name"]] = v
			} else if err := s.Add(Joint{Revision: "one", Chain: row["name"], Value: v}); err != nil {
				t.Fatal(err)
			}
		}
		a := compared(t, s, 0).ChainsApart
		if a == nil {
			t.Fatalf("%s: no analysis", tt.file)
		}
		total := a.Between + a.Within
		for name, got := range map[string]float64{
			"between_ss": a.Between, "between_df": a.BetweenFreedom,
			"within_ss": a.Within, "within_df": a.WithinFreedom,
			"f": a.F, "r_squared": a.Between / total, "residual_sd": math.Sqrt(a.Within / a.WithinFreedom),
		} {
			near(t, tt.file+" "+name, got, certified[name], tt.relative, "NIST StRD, certified")
		}
	}
	// p of SiRstv, M+R in the list of check values.
	digits(t, "SiRstv p", fBeyond(1.18046237440255, 4, 20), "0.349447", "check values 5.2")
}

// Every point is a chain of one joint. The study takes revision B less A, the
// sources a less b.
func TestWelchPublished(t *testing.T) {
	studies := map[string]*Study{}
	want := map[string]map[string]string{}
	for _, row := range rows(t, "published", "welch.csv") {
		set := row["set"]
		if studies[set] == nil {
			studies[set], want[set] = NewStudy("", ""), map[string]string{}
		}
		if row["kind"] == "result" {
			want[set][row["name"]] = row["value"]
			continue
		}
		revision := map[string]string{"a": "2", "b": "1"}[row["name"]]
		s := studies[set]
		if err := s.Add(Joint{Revision: revision, Chain: strconv.Itoa(len(s.index)), Value: testdata.Number(t, row["value"])}); err != nil {
			t.Fatal(err)
		}
	}
	if len(want) != 2 {
		t.Fatalf("%d sets", len(want))
	}
	for set, figures := range want {
		d := compared(t, studies[set], 0).Differences[0]
		for name, got := range map[string]float64{
			"t": d.Value.Value / d.Value.U, "nu": d.Value.DF, "p": d.P,
			"difference": d.Value.Value, "lower": d.Value.Lower, "upper": d.Value.Upper,
		} {
			if printed, given := figures[name]; given {
				digits(t, set+" "+name, got, printed, "welch.csv")
			}
		}
	}
}

// The gauge study of the manual by both methods.
func TestGaugePublished(t *testing.T) {
	var readings []Reading
	want := map[string]string{}
	for _, row := range rows(t, "published", "aiag_gauge.csv") {
		if row["kind"] == "reading" {
			readings = append(readings, Reading{Person: row["a"], Joint: row["b"], Value: testdata.Number(t, row["value"])})
		} else {
			want[row["kind"]+" "+row["a"]] = row["value"]
		}
	}
	r, err := Repeatability(readings, "", 0)
	if err != nil {
		t.Fatal(err)
	}
	if r.People != 3 || r.Joints != 10 || r.Times != 3 {
		t.Fatalf("%d people, %d joints, %d times", r.People, r.Joints, r.Times)
	}
	c, _, _ := cross(readings)
	s := c.anova()
	f, _ := s.interactionF()
	for name, got := range map[string]float64{
		"ss_people": s.people, "ss_parts": s.joints, "ss_interaction": s.interaction, "ss_repeat": s.repeat, "f_interaction": f,
	} {
		digits(t, "anova "+name, got, want["anova "+name], "AIAG")
	}
	for method, g := range map[string]Gauge{"anova": r.ByAnova, "range": r.ByRange} {
		for name, got := range map[string]float64{
			"repeatability": g.Repeatability, "reproducibility": g.Reproducibility, "measuring": g.Measuring,
			"parts": g.Joints, "total": g.Total, "of_total_percent": g.OfTotal, "levels": float64(g.Levels),
		} {
			printed, given := want[method+" "+name]
			if !given {
				t.Fatalf("no %s %s", method, name)
			}
			if method == "range" && name != "levels" {
				// The manual's factors are rounded to four places, one part
				// in 6000 at most; ours are not.
				near(t, method+" "+name, got, testdata.Number(t, printed), 1.0/6000, "AIAG")
				continue
			}
			digits(t, method+" "+name, got, printed, "AIAG")
		}
	}
}

// The factors of the range method are 1/d2 of many groups for repeats and
// 1/d2* of one group for people and parts.
func TestRangeFactorsPublished(t *testing.T) {
	count := 0
	for _, row := range rows(t, "published", "aiag_gauge.csv") {
		var k int
		if row["kind"] != "factor" {
			continue
		}
		if _, err := fmt.Sscanf(row["a"], "repeat_%d", &k); err == nil {
			d2, _ := rangeMoments(k)
			digits(t, row["a"], 1/d2, row["value"], "AIAG")
		} else if _, err := fmt.Sscanf(row["a"], "group_%d", &k); err == nil {
			_, d2star := rangeMoments(k)
			digits(t, row["a"], 1/d2star, row["value"], "AIAG")
		}
		count++
	}
	if count != 11 {
		t.Errorf("%d factors", count)
	}
}

func TestGrubbsPublished(t *testing.T) {
	var s sample
	want := map[string]string{}
	most := 0.0
	for _, row := range rows(t, "published", "grubbs.csv") {
		switch row["kind"] {
		case "point":
			s.add(testdata.Number(t, row["value"]))
			most = max(most, testdata.Number(t, row["value"]))
		case "example":
			want[row["name"]] = row["value"]
		case "critical":
			n := testdata.Number(t, row["name"])
			for alpha, printed := range map[float64]string{0.01: row["value"], 0.05: row["second"]} {
				_, critical, ok := grubbs(sample{n: n, ss: 1}, 0, alpha)
				if !ok {
					t.Fatalf("n %v: no value", n)
				}
				digits(t, fmt.Sprintf("n %v at %v", n, alpha), critical, printed, "ISO 5725-2 table 5")
			}
		}
	}
	distance, critical, _ := grubbs(s, most, 0.10) // one-sided at 5 % is two-sided at 10 %
	digits(t, "mean", s.mean, want["mean"], "NIST 1.3.5.17")
	digits(t, "sd", s.sd(), want["sd"], "NIST 1.3.5.17")
	digits(t, "distance", distance, want["distance"], "NIST 1.3.5.17")
	digits(t, "critical", critical, want["critical_one_sided"], "NIST 1.3.5.17")
}

func TestToleranceFactors(t *testing.T) {
	for _, row := range rows(t, "published", "tolerance_factors.csv") {
		got := toleranceFactor(testdata.Number(t, row["n"]), testdata.Number(t, row["share"]), testdata.Number(t, row["confidence"]))
		digits(t, "n "+row["n"], got, row["k"], "tolerance_factors.csv, "+row["kind"])
	}
	// The handbook's own figure is Howe's approximation, which is known to be
	// good to a few parts in a thousand.
	near(t, "NIST 7.2.6.3", toleranceFactor(43, 0.90, 0.99), 2.2173159, 0.003, "NIST 7.2.6.3, Howe")
}

func TestLimitsOfAgreementPublished(t *testing.T) {
	var pairs []Pair
	want := map[string][2]string{}
	for _, row := range rows(t, "published", "bland_altman1986.csv") {
		if row["kind"] == "pair" {
			// The paper takes a less b, Agree B less A.
			pairs = append(pairs, Pair{A: testdata.Number(t, row["b"]), B: testdata.Number(t, row["a"])})
		} else {
			want[row["name"]] = [2]string{row["a"], row["b"]}
		}
	}
	a, err := Agree(pairs, "l/min", 0)
	if err != nil {
		t.Fatal(err)
	}
	const source = "Bland and Altman 1986"
	n := float64(len(pairs))
	sd := a.Bias.U * math.Sqrt(n)
	digits(t, "mean", a.Bias.Value, want["mean"][0], source)
	digits(t, "sd", sd, want["sd"][0], source)
	digits(t, "error of the mean", a.Bias.U, want["mean_error"][0], source)
	digits(t, "mean from", a.Bias.Lower, want["mean_interval"][0], source)
	digits(t, "mean to", a.Bias.Upper, want["mean_interval"][1], source)
	// The paper's limits are two standard deviations off, ours 1.96.
	z := distuv.UnitNormal.Quantile(0.975)
	digits(t, "lower limit", a.Bias.Value+(a.Lower.Value-a.Bias.Value)*2/z, want["two_sd_limits"][0], source)
	digits(t, "upper limit", a.Bias.Value+(a.Upper.Value-a.Bias.Value)*2/z, want["two_sd_limits"][1], source)
	// Its standard error of a limit has 3 where the exact one has
	// 1 + 1.96² n/(2(n-1)).
	digits(t, "error of a limit", a.Lower.U*math.Sqrt(3/(1+z*z*n/(2*(n-1)))), want["limit_error_rounded_form"][0], source)
}

func TestLineThroughPearsonsPoints(t *testing.T) {
	var pairs []Pair
	want := map[string]string{}
	for _, row := range rows(t, "published", "pearson_york.csv") {
		if row["kind"] == "point" {
			pairs = append(pairs, Pair{
				A: testdata.Number(t, row["a"]), B: testdata.Number(t, row["b"]),
				UA: 1 / math.Sqrt(testdata.Number(t, row["c"])), UB: 1 / math.Sqrt(testdata.Number(t, row["d"])),
			})
		} else {
			want[row["name"]] = row["a"]
		}
	}
	l, _, err := fitLine(pairs, "")
	if err != nil {
		t.Fatal(err)
	}
	const source = "York and others 2004"
	digits(t, "slope", l.Slope.Value, want["slope"], source)
	digits(t, "slope's error", l.Slope.U, want["slope_error"], source)
	digits(t, "intercept", l.Intercept.Value, want["intercept"], source)
	digits(t, "intercept's error", l.Intercept.U, want["intercept_error"], source)
	digits(t, "misfit", l.Scatter*l.Scatter, want["misfit_over_freedom"], source)
}

// With exact A's the line is ordinary least squares, certified for Norris.
func TestLineThroughNorris(t *testing.T) {
	var pairs []Pair
	want := map[string]float64{}
	for _, row := range rows(t, "published", "nist_strd_norris.csv") {
		switch row["kind"] {
		case "point":
			pairs = append(pairs, Pair{A: testdata.Number(t, row["a"]), B: testdata.Number(t, row["b"]), UB: 1e-3})
		case "certified":
			want[row["name"]] = testdata.Number(t, row["a"])
		}
	}
	// Stated uncertainties so small that the misfit widens the intervals to
	// what the scatter about the line says.
	l, notes, err := fitLine(pairs, "")
	if err != nil || len(notes) != 1 {
		t.Fatal(err, notes)
	}
	for name, got := range map[string]float64{
		"slope": l.Slope.Value, "slope_sd": l.Slope.U, "intercept": l.Intercept.Value, "intercept_sd": l.Intercept.U,
		"residual_sd": l.Scatter * 1e-3,
	} {
		certified, given := want[name]
		if !given {
			t.Fatalf("no %s among %v", name, want)
		}
		near(t, name, got, certified, 1e-10, "NIST StRD Norris, certified")
	}
	if l.Slope.DF != 34 {
		t.Errorf("%v degrees of freedom", l.Slope.DF)
	}
}
