package uncert

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

func TestExactFigure(t *testing.T) {
	q := Combine(0.1, "mm", nil)
	if q.U != 0 || q.DF != 0 || q.Lower != 0.1 || q.Upper != 0.1 {
		t.Errorf("%+v", q)
	}
	if p := Product(q, Combine(3, "", nil), "mm"); p.U != 0 {
		t.Errorf("product of exact figures has u %v", p.U)
	}
}

// The caller's budget is his own.
func TestCombineCopiesTheBudget(t *testing.T) {
	b := Budget{{"edges", 0.3, 0}, {"scale", 0.4, 0}}
	q := Combine(1, "mm", b)
	_ = q.Scaled(10, "um")
	b[0].U = 99
	if q.Budget[0].U != 0.3 || q.U != 0.5 {
		t.Errorf("%+v", q)
	}
}

// A bound cut at a physical limit stays cut when the unit changes.
func TestScaledKeepsACutInterval(t *testing.T) {
	q := Combine(0.002, "mm", Budget{{"edges", 0.004, 0}})
	q.Lower = 0
	um := q.Scaled(1000, "um")
	if um.Lower != 0 || math.Abs(um.Upper-1000*q.Upper) > 1e-12 {
		t.Errorf("%+v", um)
	}
	back := um.Scaled(-0.001, "mm")
	if back.Upper != 0 || back.Lower != -q.Upper {
		t.Errorf("%+v", back)
	}
}

func TestImpossibleInputPanics(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	ok := Combine(1, "mm", Budget{{"edges", 0.1, 3}})
	for name, f := range map[string]func(){
		"value NaN":        func() { Combine(nan, "mm", nil) },
		"u NaN":            func() { Combine(1, "mm", Budget{{"x", nan, 0}}) },
		"u infinite":       func() { Combine(1, "mm", Budget{{"x", inf, 0}}) },
		"u negative":       func() { Combine(1, "mm", Budget{{"x", -1, 0}}) },
		"df negative":      func() { Combine(1, "mm", Budget{{"x", 1, -1}}) },
		"df NaN":           func() { Combine(1, "mm", Budget{{"x", 1, nan}}) },
		"factor NaN":       func() { ok.Scaled(nan, "mm") },
		"factor infinite":  func() { ok.Scaled(inf, "mm") },
		"product overflow": func() { Product(ok.Scaled(1e300, "mm"), ok.Scaled(1e300, "mm"), "mm") },
		"p 1":              func() { ok.Interval(1) },
		"p NaN":            func() { ok.Interval(nan) },
		"units":            func() { Sum(ok, ok.Scaled(1000, "um")) },
	} {
		func() {
			defer func() {
				if s, _ := recover().(string); !strings.HasPrefix(s, "uncert: ") {
					t.Errorf("%s: recovered %q", name, s)
				}
			}()
			f()
		}()
	}
}

func TestPrinted(t *testing.T) {
	tests := []struct {
		name         string
		value, u, df float64
		want         Printed
	}{
		{"pin", 3.30204, 0.00092, 0, Printed{"3.30204", "0.00092", "3.30024", "3.30384"}},
		{"the figure of GUM 7.2.6", 10.05762, 0.027, 0, Printed{"10.058", "0.027", "10.005", "10.111"}},
		{"u rounds up to the next power", 1, 0.0996, 0, Printed{"1.00", "0.10", "0.80", "1.20"}},
		{"u rounds up to one", 1, 0.999, 0, Printed{"1.0", "1.0", "-1.0", "3.0"}},
		{"u over one", 133.35, 12.34, 0, Printed{"133", "12", "109", "158"}},
		{"u over a hundred", 15321, 123.4, 0, Printed{"15320", "120", "15080", "15560"}},
		{"few readings", 2, 0.1, 1, Printed{"2.00", "0.10", "0.73", "3.27"}},
		{"no minus zero", -0.0001, 0.01, 0, Printed{"0.000", "0.010", "-0.020", "0.019"}},
		{"exact", 9.525, 0, 0, Printed{"9.525", "0.000", "9.525", "9.525"}},
		{"exact, whole", 49, 0, 0, Printed{"49", "0", "49", "49"}},
		{"exact, long", 1.0 / 3, 0, 0, Printed{"0.333333333", "0.000000000", "0.333333333", "0.333333333"}},
		{"exact zero", 0, 0, 0, Printed{"0", "0", "0", "0"}},
		{"u below the double's digits", 1, 1e-20, 0, Printed{"1.00000000000000", "0.00000000000000", "1.00000000000000", "1.00000000000000"}},
	}
	for _, test := range tests {
		q := Combine(test.value, "mm", Budget{{"x", test.u, test.df}})
		if got := q.Printed(); got != test.want {
			t.Errorf("%s: got %v, want %v", test.name, got, test.want)
		}
	}
}

func TestJSONFields(t *testing.T) {
	q := Combine(0.1+0.2, "mm", Budget{{"edges", 0.01, 4}})
	data, err := json.Marshal(q)
	if err != nil {
		t.Fatal(err)
	}
	// t95 for 4 degrees of freedom is 2.776445105.
	const want = `{"value":0.3,"unit":"mm","u":0.01,"lower":0.272235549,"upper":0.327764451}`
	if string(data) != want {
		t.Errorf("got  %s\nwant %s", data, want)
	}
}

// A position in a large photo, known far better than nine digits say.
func TestJSONKeepsWhatUNeeds(t *testing.T) {
	q := Combine(123456.123456789, "px", Budget{{"edges", 1e-5, 0}})
	data, err := json.Marshal(q)
	if err != nil {
		t.Fatal(err)
	}
	var back Quantity
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(back.Value - q.Value); d > 1e-8 {
		t.Errorf("value moved by %g, a thousandth of u is 1e-8: %s", d, data)
	}
}

func TestJSONRoundTrip(t *testing.T) {
	for _, df := range []float64{0, 1, 2.5, 16.75, 300} {
		q := Combine(3.302, "mm", Budget{{"edges", 0.0009, df}})
		data, err := json.Marshal(q)
		if err != nil {
			t.Fatal(err)
		}
		var back Quantity
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil || string(again) != string(data) {
			t.Errorf("df %v: %s became %s, %v", df, data, again, err)
		}
		// Nine digits of bounds 3.3 tell the factor to about 1e-8/0.0009;
		// that gives the degrees of freedom to a few tenths of a percent.
		if math.Abs(back.DF-df) > 0.005*df {
			t.Errorf("df %v came back as %v", df, back.DF)
		}
		// A figure read back still carries its uncertainty on.
		if p := Product(back, Combine(2, "", nil), "mm"); math.Abs(p.U-0.0018) > 1e-12 || math.Abs(p.DF-back.DF) > 1e-9*back.DF {
			t.Errorf("df %v: product %+v", df, p)
		}
	}
}

func TestJSONRefuses(t *testing.T) {
	if data, err := json.Marshal(Quantity{Value: math.NaN()}); err == nil {
		t.Errorf("NaN written as %s", data)
	}
	if data, err := json.Marshal(Quantity{Upper: math.Inf(1)}); err == nil {
		t.Errorf("infinity written as %s", data)
	}
	for _, in := range []string{
		`{"value":1,"unit":"mm","u":0.1,"lower":0.8}`,
		`{"value":1,"unit":"mm","lower":0.8,"upper":1.2}`,
		`{"value":1,"unit":"mm","u":-0.1,"lower":0.8,"upper":1.2}`,
		`{"value":1,"unit":"mm","u":0.1,"lower":1.2,"upper":0.8}`,
		`{"value":"1","unit":"mm","u":0.1,"lower":0.8,"upper":1.2}`,
		`[]`,
	} {
		var q Quantity
		if err := json.Unmarshal([]byte(in), &q); err == nil {
			t.Errorf("%s read as %+v", in, q)
		}
	}
}

func FuzzQuantityJSON(f *testing.F) {
	f.Add([]byte(`{"value":3.302,"unit":"mm","u":0.0009,"lower":3.3,"upper":3.304}`))
	f.Add([]byte(`{"value":0,"unit":"","u":0,"lower":0,"upper":0}`))
	f.Add([]byte(`{"value":1e300,"unit":"mm","u":1e-300,"lower":-1e300,"upper":1e300}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var q Quantity
		if json.Unmarshal(data, &q) != nil {
			return
		}
		q.Printed()
		out, err := json.Marshal(q)
		if err != nil {
			t.Fatalf("read %q but cannot write it: %v", data, err)
		}
		var back Quantity
		if err := json.Unmarshal(out, &back); err != nil {
			t.Fatalf("wrote %q but cannot read it: %v", out, err)
		}
	})
}

// Figures side by side have the decimals of the one that is known the least.
func TestPrintedTogether(t *testing.T) {
	figure := func(value, u float64) Quantity { return Combine(value, "mm", Budget{{Name: "any", U: u}}) }
	got := PrintedTogether(figure(0.1689, 0.0031), figure(0.209853, 0.00042))
	if want := []string{"0.1689", "0.2099"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got := PrintedTogether(figure(12.3, 0.5)); got[0] != figure(12.3, 0.5).Printed().Value {
		t.Errorf("%q alone", got)
	}
}
