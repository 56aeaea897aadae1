package uncert_test

import (
	"encoding/json"
	"fmt"

	"pinlash/measure/uncert"
)

// The diameter of a pin: 550.2 px at 0.006 mm/px.
func ExampleProduct() {
	pixels := uncert.Combine(550.2, "px", uncert.Budget{
		{Name: "edges", U: 0.02, DF: 9},
		{Name: "focus", U: 0.05},
	})
	scale := uncert.Combine(0.006, "mm/px", uncert.Budget{
		{Name: "scale marks", U: 1e-6, DF: 95},
		{Name: "division", U: 2e-6},
	})
	diameter := uncert.Product(pixels, scale, "mm")
	fmt.Println(diameter)
	for _, part := range diameter.Budget.Largest() {
		fmt.Printf("%-12s %.5f mm\n", part.Name, part.U)
	}
	// Output:
	// 3.3012 mm (u 0.0013, 95 % from 3.2987 to 3.3037)
	// division     0.00110 mm
	// scale marks  0.00055 mm
	// focus        0.00030 mm
	// edges        0.00012 mm
}

func ExampleCombine() {
	q := uncert.Combine(0.0612, "mm", uncert.Budget{
		{Name: "repeat photos", U: 0.003, DF: 2},
		{Name: "scale", U: 0.0004},
	})
	fmt.Printf("u %.4f mm with %.2f degrees of freedom\n", q.U, q.DF)
	line, err := json.Marshal(q)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(string(line))
	// Output:
	// u 0.0030 mm with 2.07 degrees of freedom
	// {"value":0.0612,"unit":"mm","u":0.00302654919,"lower":0.0486005479,"upper":0.0737994521}
}

func ExampleQuantity_Printed() {
	q := uncert.Combine(133.3712, "mm", uncert.Budget{{Name: "edges", U: 0.0123}})
	p := q.Printed()
	fmt.Println(p.Value, p.Lower, p.Upper)
	// Output: 133.371 133.347 133.395
}
