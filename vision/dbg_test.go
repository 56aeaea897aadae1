package vision
import ("testing";"fmt";"math/rand/v2";"math";"slices";"context";"path/filepath";"pinlash/vision/synth";"pinlash/measure/geom";"pinlash/vision/raster";"pinlash/vision/subpixel")
func pct(g raster.Gray, c geom.Circle) (p [3]float64) {
	var v []float64
	reach := 0.75*c.R
	for y := int(c.Center.Y - reach); y <= int(c.Center.Y+reach); y++ {
		for x := int(c.Center.X - reach); x <= int(c.Center.X+reach); x++ {
			if math.Hypot(float64(x)-c.Center.X, float64(y)-c.Center.Y) > reach { continue }
			v = append(v, float64(g.At(x, y)))
		}
	}
	slices.Sort(v)
	return [3]float64{v[len(v)/10],v[len(v)/2],v[len(v)*9/10]}
}
func stat(name string, g raster.Gray){
	seed, ok := searchHeads(g)
	if !ok { return }
	row := newHeadRow(g, seed)
	fmt.Print(name,": ")
	for _,p := range row.places {
		f,ok := subpixel.FitHead(g,p.circle,row.look)
		if !ok {continue}
		q := pct(g,f.Circle)
		fmt.Printf("%.2f(%.2f %.2f %.2f; step %.2f) ", f.Inside/f.Plate, q[0]/f.Plate,q[1]/f.Plate,q[2]/f.Plate, f.Step/f.Plate)
	}
	fmt.Println()
}
func TestNothing(t *testing.T){
 m,_ := filepath.Glob("../testdata/photos/span*")
 for _,f := range m { p,err := Open(context.Background(),f,Limits{}); if err!=nil {t.Fatal(err)}; stat(f,p.Light)}
 for _, seed := range []uint64{0,5,29,40,41,42,43,94,95,97,113} {
		r := rand.New(rand.NewPCG(seed, 62))
		n := 5 + r.IntN(12)
		s := synth.Pulled(r, n, min(1380/float64(n), 220), 0.1*r.NormFloat64(), 0.03*r.Float64(), 0.08*r.Float64(), seed%4 < 2)
		if seed >= 90 {
			s.Chain.Dome.Level *= 0.35
			s.Chain.Dome.Highlight *= 0.2
		} else if seed >=40 {		s = synth.Opened(r, s, 0, seed%2 == 0) }
		g, _ := s.Photo()
		stat(fmt.Sprint(seed, " dome ", s.Chain.Dome.Level/s.Chain.Outer.Level), g)
 }
}
