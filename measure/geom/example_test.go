package geom_test

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// A rim of 200 points, every fourth pulled inward by glare.
func ExampleFitCircle() {
	truth := geom.Circle{Center: r2.Vec{X: 640, Y: 480}, R: 400}
	var rim []geom.EdgePoint
	for i := range 200 {
		a := 2 * math.Pi * float64(i) / 200
		p := geom.EdgePoint{At: truth.PointAt(a), U: 0.1}
		if i%4 == 0 {
			p.At = r2.Add(truth.Center, r2.Scale(0.98, r2.Sub(p.At, truth.Center)))
		}
		rim = append(rim, p)
	}
	c, err := geom.FitCircle(rim, geom.FitOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("radius %.3f px, u %.3f px, %d of %d points\n", c.R, math.Sqrt(c.Cov[2][2]), c.Inliers, len(rim))
	// Output: radius 400.000 px, u 0.008 px, 150 of 200 points
}

func ExampleFitCircle_straight() {
	var edge []geom.EdgePoint
	for i := range 20 {
		edge = append(edge, geom.EdgePoint{At: r2.Vec{X: float64(i), Y: 2}, U: 0.1})
	}
	_, err := geom.FitCircle(edge, geom.FitOptions{})
	fmt.Println(err)
	// Output: geom: points cannot be told from a straight line
}

func ExampleFitStraight() {
	line, err := geom.FitStraight([]float64{0, 1, 2, 3}, []float64{0.1, 0.9, 2.1, 2.9}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	y, u := line.At(4)
	fmt.Printf("%.2f, u %.2f\n", y, u)
	// Output: 3.90, u 0.15
}
