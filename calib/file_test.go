package calib

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// saved returns one scale of each kind.
func saved(t testing.TB) []Scale {
	rule, err := FromRule(bench.marksOf(tenths, newRand(1)), 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	gauge, err := FromGauge(gaugeRim(), 8, false, photo)
	if err != nil {
		t.Fatal(err)
	}
	points, err := FromPoints(r2.Vec{X: 100, Y: 100}, r2.Vec{X: 1100, Y: 400}, 10, 0.1, photo)
	if err != nil {
		t.Fatal(err)
	}
	grid, err := FromGrids([]geom.Grid{bent().gridOf(0.5, 0.2, 0.05, newRand(4))}, 0.5, photo)
	if err != nil {
		t.Fatal(err)
	}
	return []Scale{rule.Scale, gauge.Scale, points.Scale, grid.Scale}
}

func encoded(t testing.TB, s Scale) []byte {
	var b bytes.Buffer
	if err := Encode(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestFileRoundTrip(t *testing.T) {
	for _, want := range saved(t) {
		got, err := Decode(bytes.NewReader(encoded(t, want)))
		if err != nil {
			t.Fatal(err)
		}
		want.Source = "file"
		if !reflect.DeepEqual(got, want) {
			t.Errorf("read back\n%+v, saved\n%+v", got, want)
		}
	}
}

// A scale without a lens is saved as before lenses were known, and a scale of
// then is read: this one was written by the program as it was.
func TestOldFile(t *testing.T) {
	const old = `{"kind":"pinlash scale","version":1,"source":"points","width_px":1600,"height_px":1200,"mm_per_px":0.01,
		"budget":[{"name":"points read","u":2e-6}],"origin_px":[600,250],"angle_rad":0.3,"gradient_per_px":[0,0],"gradient_u_per_px":[6.7e-6,3.4e-6],
		"gradient_read":[0,0],"distortion_u_per_px2":1.2e-9,"foreshortening":2e-4,"extent_px":1044}`
	s, err := Decode(strings.NewReader(old))
	if err != nil {
		t.Fatal(err)
	}
	if s.Bends() || s.Lens != (Lens{}) || s.DistortionU != 1.2e-9 {
		t.Errorf("an old scale has the lens %+v", s.Lens)
	}
	for i, s := range saved(t) {
		if v1 := bytes.Contains(encoded(t, s), []byte(`"version": 1,`)); v1 != (i < 3) {
			t.Errorf("%s: saved as version 1: %v", s.Source, v1)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	good := string(encoded(t, saved(t)[0]))
	change := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q in\n%s", old, good)
		}
		return strings.Replace(good, old, new, 1)
	}
	for name, c := range map[string]struct{ text, says string }{
		"empty":           {"", "not a saved scale"},
		"null":            {"null", "kind"},
		"prose":           {"0.006 mm", "not a saved scale"},
		"other JSON":      {`{"kind":"joint"}`, "kind"},
		"cut short":       {good[:len(good)/2], "not a saved scale"},
		"two objects":     {good + good, "not a saved scale"},
		"later version":   {change(`"version": 1`, `"version": 3`), "version 3"},
		"version below 1": {change(`"version": 1`, `"version": 0`), "version 0"},
		"lens in v1":      {change(`"version": 1`, `"version": 1, "lens": {"covariance": [[1e-20,0,0,0],[0,0,0,0],[0,0,1,0],[0,0,0,1]]}`), "has a lens"},
		"lens exact":      {change(`"version": 1`, `"version": 2, "lens": {"k1_per_px2": 1e-9, "centre_px": [800,600]}`), "without a covariance"},
		"lens folds":      {change(`"version": 1`, `"version": 2, "lens": {"k1_per_px2": -1e-6, "centre_px": [800,600], "covariance": [[1e-20,0,0,0],[0,0,0,0],[0,0,1,0],[0,0,0,1]]}`), "lens of k1 -1e-06"},
		"lens outside":    {change(`"version": 1`, `"version": 2, "lens": {"k1_per_px2": 1e-9, "centre_px": [800], "covariance": [[1e-20,0,0,0],[0,0,0,0],[0,0,1,0],[0,0,0,-1]]}`), "lens of k1"},
		"unknown field":   {change(`"version": 1`, `"version": 1, "dpi": 72`), "dpi"},
		"missing field":   {change(`"mm_per_px"`, `"MM"`), "MM"},
		"missing pair":    {change(`"origin_px": [`, `"origin_px": [1,`), "pairs"},
		"no pixel":        {change(`"mm_per_px": `, `"mm_per_px": -`), "pixel of -"},
		"infinite":        {change(`"mm_per_px": `, `"mm_per_px": 1e999, "marks": `), ""},
		"negative budget": {change(`"u": `, `"u": -`), "uncertainty of -"},
		"size":            {change(`"width_px": 1600`, `"width_px": 0`), "0 x 1200"},
		"source":          {change(`"source": "rule"`, `"source": "guess"`), "guess"},
		"text":            {change(`"width_px": 1600`, `"width_px": "wide"`), "width_px"},
		"too long":        {good + strings.Repeat(" ", maxFileSize), "longer than"},
	} {
		s, err := Decode(strings.NewReader(c.text))
		var fault *FileError
		if !errors.As(err, &fault) {
			t.Errorf("%s: %+v, error %v, want a *FileError", name, s, err)
			continue
		}
		if !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %q does not say %q", name, err, c.says)
		}
		fault.Path = "scale.json"
		if !strings.HasPrefix(err.Error(), "scale.json: ") {
			t.Errorf("%s: %q does not begin with the path", name, err)
		}
	}
	if _, err := Decode(io.MultiReader(strings.NewReader("{"), failing{})); !errors.Is(err, errFailing) {
		t.Errorf("a failing reader: %v", err)
	}
}

var errFailing = errors.New("disk gone")

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errFailing }

func TestEncodeRefusesUnsoundScales(t *testing.T) {
	for name, spoil := range map[string]func(*Scale){
		"zero":         func(s *Scale) { *s = Scale{} },
		"nan pixel":    func(s *Scale) { s.MMPerPx.Value = math.NaN() },
		"no budget":    func(s *Scale) { s.MMPerPx.Budget = nil },
		"nan u":        func(s *Scale) { s.MMPerPx.Budget = uncert.Budget{{Name: "marks", U: math.NaN()}} },
		"bad name":     func(s *Scale) { s.MMPerPx.Budget = uncert.Budget{{Name: "\xff"}} },
		"nan angle":    func(s *Scale) { s.AngleRad = math.NaN() },
		"steep":        func(s *Scale) { s.Gradient.X = 0.1 },
		"nan gradient": func(s *Scale) { s.Gradient.Y = math.NaN() },
		"infinite u":   func(s *Scale) { s.GradientU.X = math.Inf(1) },
		"bend":         func(s *Scale) { s.DistortionU = -1 },
		"far":          func(s *Scale) { s.Origin.X = 1e9 },
		"flat":         func(s *Scale) { s.Foreshortening = 2 },
		"wide":         func(s *Scale) { s.Extent = math.NaN() },
		"share":        func(s *Scale) { s.GradientRead.X = 1.5 },
		"marks":        func(s *Scale) { s.Marks = -1 },
		"division":     func(s *Scale) { s.DivisionMM = math.Inf(1) },
		"lens":         func(s *Scale) { s.Lens = Lens{K1: math.NaN(), Cov: [4][4]float64{{1e-20}}} },
	} {
		s := saved(t)[0]
		spoil(&s)
		var b bytes.Buffer
		if err := Encode(&b, s); err == nil || b.Len() > 0 {
			t.Errorf("%s: error %v, %d bytes written", name, err, b.Len())
		}
	}
}

// What Decode takes can be used anywhere in the photo and saved again.
func FuzzDecode(f *testing.F) {
	for _, s := range saved(f) {
		f.Add(encoded(f, s))
	}
	f.Add([]byte(`{"kind":"pinlash scale","version":1}`))
	f.Add([]byte(`{"kind":"pinlash scale","version":1,"source":"rule","width_px":1000,"height_px":1000,"mm_per_px":0.001,"budget":[{"name":"a","u":1e-16,"df":1e-3}],"origin_px":[0,0],"angle_rad":0,"gradient_per_px":[0,0],"gradient_u_per_px":[0,0],"gradient_read":[0,0],"distortion_u_per_px2":0,"foreshortening":0,"extent_px":0}`))
	f.Add([]byte(`{"kind":"pinlash scale","version":2,"source":"grid","width_px":1000,"height_px":1000,"mm_per_px":0.001,"budget":[{"name":"a","u":1e-6,"df":9}],"origin_px":[500,500],"angle_rad":0,"gradient_per_px":[1e-5,0],"gradient_u_per_px":[0,0],"gradient_read":[1,1],"distortion_u_per_px2":0,"lens":{"k1_per_px2":-1e-8,"k2_per_px4":1e-14,"centre_px":[510,480],"covariance":[[1e-20,1e-26,0,0],[1e-26,1e-31,0,0],[0,0,1,0.1],[0,0,0.1,1]]},"foreshortening":0,"extent_px":0}`))
	f.Add([]byte(`{"kind":"pinlash scale","version":1,"source":"rule","width_px":1,"height_px":1,"mm_per_px":1e-6,"budget":[{"name":"a","u":0}],"origin_px":[-1e6,1e6],"angle_rad":6,"gradient_per_px":[0.1,0],"gradient_u_per_px":[0.5,0.5],"gradient_read":[1,0],"distortion_u_per_px2":0.5,"foreshortening":0.5,"extent_px":1e6}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Decode(bytes.NewReader(data))
		if err != nil {
			var fault *FileError
			if !errors.As(err, &fault) {
				t.Fatalf("error %v is not a *FileError", err)
			}
			return
		}
		for _, p := range []r2.Vec{{}, {X: float64(s.W), Y: float64(s.H)}, s.Origin} {
			f := s.Flattened()
			for _, q := range []uncert.Quantity{
				s.At(p), s.Along(p, 1), s.Distance(p, s.centre(), 1),
				f.At(s.Flat(p)), f.Along(s.Flat(p), 1), f.Distance(s.Flat(p), s.centre(), 1),
			} {
				if !(q.U >= 0 && q.Lower <= q.Value && q.Value <= q.Upper) || math.IsInf(q.Upper, 0) {
					t.Fatalf("%+v at %v of %+v", q, p, s)
				}
			}
		}
		again, err := Decode(bytes.NewReader(encoded(t, s)))
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(again, s) {
			t.Fatalf("read back\n%+v, saved\n%+v", again, s)
		}
	})
}

func ExampleDecode() {
	var file bytes.Buffer
	gauge := geom.Circle{Center: r2.Vec{X: 700, Y: 500}, R: 400, Inliers: 900}
	reading, err := FromGauge(gauge, 8, false, Options{W: 1600, H: 1200})
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := Encode(&file, reading.Scale); err != nil {
		fmt.Println(err)
		return
	}
	scale, err := Decode(&file)
	fmt.Println(scale.Source, scale.MMPerPx.Value, err)
	fmt.Println(scale.Fits(1920, 1080))
	// Output:
	// file 0.01 <nil>
	// the scale was read in a photo of 1600 x 1200 pixels, this one has 1920 x 1080
}
