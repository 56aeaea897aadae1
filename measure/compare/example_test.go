package compare_test

import (
	"fmt"

	"pinlash/measure/compare"
)

func ExampleCompare() {
	s := compare.NewStudy("mm", "km")
	for chain, growths := range map[string][]float64{
		"old 1": {0.021, 0.024, 0.019}, "old 2": {0.027, 0.026, 0.030}, "old 3": {0.023, 0.020, 0.022}, "old 4": {0.026, 0.022, 0.025},
		"new 1": {0.015, 0.012, 0.014}, "new 2": {0.017, 0.016, 0.013}, "new 3": {0.012, 0.011, 0.015}, "new 4": {0.016, 0.018, 0.014},
	} {
		for _, g := range growths {
			if err := s.Add(compare.Joint{Revision: chain[:3], Chain: chain, Value: g, U: 0.001, Distance: 40000}); err != nil {
				fmt.Println(err)
			}
		}
	}
	figures, err := s.At("")
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := compare.Compare(figures, 0.002)
	if err != nil {
		fmt.Println(err)
		return
	}
	d := c.Differences[0]
	fmt.Printf("%s less %s: %v\n", d.B, d.A, d.Value)
	fmt.Printf("p %.4f: %s\n", d.P, d.Verdict)
	for _, p := range c.Model.Parts {
		fmt.Printf("%-9s sd %.4f, %2.0f %%\n", p.Name, p.SD, 100*p.Share)
	}
	// Output:
	// old less new: 0.0093 mm (u 0.0017, 95 % from 0.0049 to 0.0137)
	// p 0.0034: the revisions differ
	// revision  sd 0.0065, 84 %
	// chain     sd 0.0020,  8 %
	// joint     sd 0.0017,  6 %
	// measuring sd 0.0010,  2 %
}

func ExamplePlan() {
	spread := compare.Spread{Chain: 0.0018, Joint: 0.0018, Measuring: 0.001}
	designs, err := compare.Plan(spread, 0.003, 0.8)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range designs {
		fmt.Printf("%d chains of each revision, %d joints of each: power %.2f\n", d.Chains, d.Joints, d.Power)
	}
	// Output:
	// 15 chains of each revision, 1 joints of each: power 0.82
	// 11 chains of each revision, 2 joints of each: power 0.82
	// 10 chains of each revision, 3 joints of each: power 0.83
	// 9 chains of each revision, 5 joints of each: power 0.84
	// 8 chains of each revision, 8 joints of each: power 0.81
}

func ExampleRepeatability() {
	var readings []compare.Reading
	for person, values := range map[string][][]float64{
		"Ada": {{0.102, 0.104}, {0.131, 0.129}, {0.085, 0.088}, {0.117, 0.114}},
		"Ben": {{0.106, 0.105}, {0.134, 0.133}, {0.090, 0.087}, {0.119, 0.121}},
	} {
		for joint, photos := range values {
			for _, v := range photos {
				readings = append(readings, compare.Reading{Joint: fmt.Sprint("joint ", joint+1), Person: person, Value: v})
			}
		}
	}
	r, err := compare.Repeatability(readings, "mm", 0.1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("one photo:", r.OnePhoto)
	for _, a := range r.Advice {
		fmt.Println(a)
	}
	// Output:
	// one photo: 0.00148 mm (u 0.00032, 95 % from 0.00105 to 0.00252)
	// measuring takes 13.7 % of the spread: usable, if little hangs on a single photo
	// measuring takes 15.7 % of the limit: usable, if little hangs on a single photo
}

func ExampleAgree() {
	a, err := compare.Agree([]compare.Pair{
		{A: 0.101, B: 0.11, UA: 0.001, UB: 0.01},
		{A: 0.132, B: 0.14, UA: 0.001, UB: 0.01},
		{A: 0.088, B: 0.08, UA: 0.001, UB: 0.01},
		{A: 0.117, B: 0.13, UA: 0.001, UB: 0.01},
		{A: 0.154, B: 0.15, UA: 0.001, UB: 0.01},
		{A: 0.095, B: 0.10, UA: 0.001, UB: 0.01},
	}, "mm", 0.03)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("caliper less microscope:", a.Bias)
	fmt.Printf("single differences from %s to %s mm: %s\n", a.Lower.Printed().Value, a.Upper.Printed().Value, a.Verdict)
	fmt.Println("slope:", a.Line.Slope)
	// Output:
	// caliper less microscope: 0.0038 mm (u 0.0033, 95 % from -0.0047 to 0.0124)
	// single differences from -0.0121 to 0.0198 mm: too few pairs to tell
	// slope: 1.00 (u 0.18, 95 % from 0.65 to 1.36)
}
