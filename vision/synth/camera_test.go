package synth

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/raster"
)

// flat returns a scene of one even face.
func flat(level float64) Scene {
	return Scene{W: 200, H: 150, Background: Face{Level: level}, Seed: 5}
}

// TestNoise holds the variance of a flat picture against Read^2 + L/FullWell.
// The sample variance of n pixels has the relative sd sqrt(2/n) = 0.8 %.
func TestNoise(t *testing.T) {
	for _, level := range []float64{0.1, 0.5} {
		for _, n := range []Noise{{Read: 0.01}, {FullWell: 3000}, {Read: 0.005, FullWell: 5000}} {
			s := flat(level)
			s.Camera.Noise = n
			var sum, square float64
			for _, v := range s.Sensor().Pix {
				d := float64(v) - level
				sum += d
				square += d * d
			}
			count := float64(s.W * s.H)
			want := n.Read * n.Read
			if n.FullWell > 0 {
				want += level / n.FullWell
			}
			if got := square / count; math.Abs(got/want-1) > 4*math.Sqrt(2/count) {
				t.Errorf("level %g %+v: variance %g, want %g", level, n, got, want)
			}
			if mean := sum / count; math.Abs(mean) > 4*math.Sqrt(want/count) {
				t.Errorf("level %g %+v: mean off by %g", level, n, mean)
			}
		}
	}
}

// TestPhotoReadsLightBack: storing and reading loses half a level at most.
func TestPhotoReadsLightBack(t *testing.T) {
	for _, curve := range []raster.Curve{raster.SRGB, raster.Linear} {
		s := Ring(60, 10, 1, 1)
		s.Camera.Noise = Noise{}
		s.Camera.Curve = curve
		light := s.Light()
		photo, err := s.Photo()
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range photo.Pix {
			d := 255 * (curve.Encode(float64(v)) - curve.Encode(float64(light.Pix[i])))
			if math.Abs(d) > 0.503 {
				t.Fatalf("%s pixel %d: off by %.3f levels", curve, i, d)
			}
		}
	}
}

func TestSeed(t *testing.T) {
	s := Ring(60, 10, 1, 1)
	s.Joint.Pin.Finish = Finish{Amplitude: 0.05, Along: 50, Across: 2}
	s.Camera.Oil = []Oil{{At: s.Joint.PinCenter, Radius: 15, Transmission: 0.7, Glints: 3}}
	a, b := gray8(t, s), gray8(t, s)
	if !slices.Equal(a.Pix, b.Pix) {
		t.Error("equal scenes gave unlike pictures")
	}
	s.Seed++
	if slices.Equal(a.Pix, gray8(t, s).Pix) {
		t.Error("another seed gave the same picture")
	}
}

func gray8(t *testing.T, s Scene) *image.Gray {
	t.Helper()
	img, err := s.Gray8()
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// TestJPEG: the loss grows as quality falls, and the file holds what Gray8
// says the camera stored. Sizes that are no multiple of 8 are the hard case.
func TestJPEG(t *testing.T) {
	s := Ring(55, 10, 1, 1)
	plain := gray8(t, s)
	var last float64
	for _, quality := range []int{98, 85, 50} {
		s.Camera.JPEGQuality = quality
		img := gray8(t, s)
		if len(img.Pix) != s.W*s.H || img.Stride != s.W {
			t.Fatalf("quality %d: %d bytes in rows of %d for %d x %d", quality, len(img.Pix), img.Stride, s.W, s.H)
		}
		var loss float64
		for i, v := range img.Pix {
			loss += math.Abs(float64(v) - float64(plain.Pix[i]))
		}
		loss /= float64(len(img.Pix))
		if loss <= last || loss > 4 {
			t.Errorf("quality %d: mean loss %.2f levels after %.2f", quality, loss, last)
		}
		last = loss

		var file bytes.Buffer
		if err := s.WriteJPEG(&file); err != nil {
			t.Fatal(err)
		}
		back, err := jpeg.Decode(&file)
		if err != nil {
			t.Fatal(err)
		}
		samePicture(t, back, img)
		if err := s.WritePNG(&file); err != nil {
			t.Fatal(err)
		}
		back, err = png.Decode(&file)
		if err != nil {
			t.Fatal(err)
		}
		samePicture(t, back, img)
	}
}

func samePicture(t *testing.T, got image.Image, want *image.Gray) {
	t.Helper()
	if got.Bounds() != want.Bounds() {
		t.Fatalf("bounds %v, want %v", got.Bounds(), want.Bounds())
	}
	for y := range want.Rect.Dy() {
		for x := range want.Rect.Dx() {
			if got.At(x, y) != want.At(x, y) {
				t.Fatalf("pixel %d,%d: %v, want %v", x, y, got.At(x, y), want.At(x, y))
			}
		}
	}
}

// TestDefocus: the blur disc has the second moment radius^2/4 along each axis
// and neither makes nor loses light.
func TestDefocus(t *testing.T) {
	for _, radius := range []float64{0.8, 1, 2.3, 6} {
		g := raster.NewGray(41, 41)
		g.Row(20)[20] = 1
		var sum, xx, yy float64
		blurred := defocus(g, radius)
		for y := range 41 {
			for x, v := range blurred.Row(y) {
				sum += float64(v)
				xx += float64(v) * float64((x-20)*(x-20))
				yy += float64(v) * float64((y-20)*(y-20))
			}
		}
		if math.Abs(sum-1) > 1e-5 {
			t.Errorf("radius %g: light %g", radius, sum)
		}
		want := radius * radius / 4
		if math.Abs(xx-want) > 0.01*want || math.Abs(yy-want) > 0.01*want {
			t.Errorf("radius %g: second moments %g %g, want %g", radius, xx, yy, want)
		}
	}
}

func TestSharpen(t *testing.T) {
	s := Ring(60, 10, 1, 1)
	s.Camera.Noise = Noise{}
	soft := gray8(t, s)
	s.Camera.Sharpen = 0.5
	sharp := gray8(t, s)
	if slices.Max(sharp.Pix) <= slices.Max(soft.Pix) {
		t.Error("no overshoot beside the rim")
	}
	if sharp.Pix[0] != soft.Pix[0] {
		t.Error("sharpening changed an even face")
	}
}

// TestFinish: a face's pattern has the amplitude asked for, to the spread
// that its few lines leave.
func TestFinish(t *testing.T) {
	s := Scene{W: 800, H: 800, Background: Face{Level: 0.5, Finish: Finish{Amplitude: 0.08, AngleRad: 0.5, Along: 20, Across: 3}}}
	var sum, square float64
	for _, v := range s.Light().Pix {
		d := float64(v)/0.5 - 1
		sum += d
		square += d * d
	}
	n := float64(s.W * s.H)
	if sd := math.Sqrt(square / n); math.Abs(sd/0.08-1) > 0.05 {
		t.Errorf("sd %g, want 0.08", sd)
	}
	if mean := sum / n; math.Abs(mean) > 0.005 {
		t.Errorf("mean %g", mean)
	}
}

func TestLighting(t *testing.T) {
	s := flat(0.4)
	s.Camera.Gradient = r2.Vec{X: 0.001, Y: -0.002}
	s.Camera.Vignette = 0.3
	g := s.Light()
	dx, dy := 199.0/2, 149.0/2
	want := 0.4 * (1 + 0.001*dx + 0.002*dy) * 0.7
	if got := float64(g.At(199, 0)); math.Abs(got-want) > 1e-5 {
		t.Errorf("corner %g, want %g", got, want)
	}
}

func TestGlareClips(t *testing.T) {
	s := flat(0.4)
	s.Camera.Curve = raster.SRGB
	s.Camera.Glare = []Glare{{At: r2.Vec{X: 50, Y: 60}, Radius: 10, Level: 2}}
	if got := float64(s.Light().At(50, 60)); math.Abs(got-2.4) > 1e-6 {
		t.Errorf("light %g in the glare, want 2.4", got)
	}
	photo, err := s.Photo()
	if err != nil {
		t.Fatal(err)
	}
	if photo.At(50, 60) < photo.Clip {
		t.Error("glare is not clipped")
	}
	if v := photo.At(150, 60); v >= photo.Clip || math.Abs(float64(v)-0.4) > 0.005 {
		t.Errorf("light %g away from the glare", v)
	}
}
