package vision

import "testing"

// BenchmarkHeads looks for the heads along a chain in photos of 1.4 and 5
// million pixels.
func BenchmarkHeads(b *testing.B) {
	for name, k := range map[string]float64{"1.4MP": 1, "5MP": 1.87} {
		p, err := Decode(spanFile(b, k), "", Limits{})
		if err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, _, err := FindHeads(p.Light, p.Curve); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
