package calib

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

var _ pflag.Value = (*Length)(nil)

func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		in   string
		want Length
	}{
		{"0.5mm", 0.5},
		{"25.4", 25.4},
		{" 12 mm ", 12},
		{"10um", 0.01},
		{"10µm", 0.01}, // micro sign
		{"10μm", 0.01}, // Greek mu
		{"0.1 in", 2.54},
		{"1in", 25.4},
		{"1/64 in", 0.396875}, // 25.4/64
		{"-0.1mm", -0.1},
		{"+3", 3},
		{"1e-2mm", 0.01},
		{".5", 0.5},
		{"0", 0},
	} {
		got, err := ParseLength(c.in)
		if err != nil || math.Abs(float64(got-c.want)) > 1e-15*math.Abs(float64(c.want)) {
			t.Errorf("ParseLength(%q) = %v, %v; want %v", c.in, float64(got), err, float64(c.want))
		}
	}
}

func TestParseLengthRefuses(t *testing.T) {
	for _, in := range []string{
		"", " ", "mm", "nan", "NaN mm", "inf", "+Inf", "-inf mm", "1e400", "1e9", "1e-300mm", "1e-10",
		"0x10", "1_000", "1cm", "1 m", "1 furlong", "0,5mm", "1 2 mm", "1mm2", "1/0 in", "0/0", "1/2/3", "--1", "in 1", "5 MM",
	} {
		if got, err := ParseLength(in); err == nil {
			t.Errorf("ParseLength(%q) = %v, want an error", in, got)
		}
	}
}

func TestLengthAsFlag(t *testing.T) {
	var division Length
	flags := pflag.NewFlagSet("scale", pflag.ContinueOnError)
	flags.Var(&division, "division", "between neighbouring small marks")
	if err := flags.Parse([]string{"--division", "10um"}); err != nil || division != 0.01 {
		t.Errorf("division %v, error %v", division, err)
	}
	if err := flags.Parse([]string{"--division", "much"}); err == nil || division != 0.01 {
		t.Errorf("a bad length: division %v, error %v; want the old division and an error", division, err)
	}
	if !strings.Contains(flags.FlagUsages(), "--division length") {
		t.Errorf("usage does not name the type:\n%s", flags.FlagUsages())
	}
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"0.5mm", "25.4", "10um", "10µm", "1/64 in", "-1e-3 in", "inf", "", "1e400", "1/0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLength(s)
		if err != nil {
			return
		}
		if !(math.Abs(float64(l)) <= float64(longest)) {
			t.Fatalf("ParseLength(%q) = %g", s, float64(l))
		}
		again, err := ParseLength(l.String())
		if err != nil || again != l {
			t.Fatalf("%q read as %g, written as %q, read again as %g, %v", s, float64(l), l, float64(again), err)
		}
	})
}

func ExampleParseLength() {
	for _, s := range []string{"0.5mm", "10um", "1/64 in", "half an inch"} {
		fmt.Println(ParseLength(s))
	}
	// Output:
	// 0.5mm <nil>
	// 0.01mm <nil>
	// 0.396875mm <nil>
	// 0mm length "half an inch" has no number
}
