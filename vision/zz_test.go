package vision
import ("testing";"gonum.org/v1/gonum/spatial/r2";"pinlash/vision/synth";"pinlash/vision/raster";"pinlash/vision/subpixel";"pinlash/measure/geom")
func TestZZ(t *testing.T){
	for _, r := range []float64{150, 300} {
	for _, w := range []float64{1,2,3,4,5,6,8,10,12,15} {
		for _, l := range []float64{0.03,0.05,0.1,0.2,0.35,.7} {
			s := gaugeScene(1000,800,r2.Vec{X:500,Y:400},r,false)
			s.Seed=3
			s.Gauge.Chamfer = synth.Chamfer{Width:w, Level:l}
			g,_ := s.Photo()
			f, _ := subpixel.FitRound(g, geom.Circle{Center: s.Gauge.Center, R: r}, 1.3)
			c, _, err := FindGauge(g, raster.SRGB)
			if err==nil {t.Logf("R %.0f width %.0f level %.2f TAKEN off %.3f misfit %.3f blur %.2f rms %.3f", r,w,l,c.R-r, f.Misfit, f.Blur, f.Circle.RMS)}
		}
	}
	}
}
