package synth

import "gonum.org/v1/gonum/spatial/r2"

// Gauge is a round gauge seen end-on, or its silhouette.
type Gauge struct {
	Center r2.Vec
	R      float64 // 0 leaves the gauge out
	// Chamfer lies inside the rim.
	Chamfer Chamfer
	Face    Face
}

func (p *painter) gauge(gauge Gauge, step float64) {
	if gauge.Chamfer.Width <= 0 {
		p.over(gauge.Face, disc(gauge.Center, gauge.R, step))
		return
	}
	edge := Face{Level: gauge.Chamfer.Level}
	p.over(edge, disc(gauge.Center, gauge.R, step))
	p.inside(edge, gauge.Face, disc(gauge.Center, gauge.R-gauge.Chamfer.Width, step))
}
