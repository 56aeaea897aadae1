package vision

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/color"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/disintegration/imaging"
	"gocv.io/x/gocv"
	"golang.org/x/image/tiff"

	"pinlash/measure/check"
	"pinlash/vision/raster"
)

// recolour returns the grey scene as another kind of picture.
func recolour[T interface {
	image.Image
	Set(x, y int, c color.Color)
}](img T, from *image.Gray) T {
	for y := range from.Rect.Dy() {
		for x := range from.Rect.Dx() {
			img.Set(x, y, from.GrayAt(x, y))
		}
	}
	return img
}

func greyPalette(n int) color.Palette {
	p := make(color.Palette, n)
	for i := range p {
		p[i] = color.Gray{Y: uint8(255 * i / (n - 1))}
	}
	return p
}

// encodedByOpenCV returns the grey scene as JPEG with an encoder setting.
func encodedByOpenCV(t testing.TB, img *image.Gray, setting, value int) []byte {
	t.Helper()
	return encodedMat(t, img.Rect, gocv.MatTypeCV8UC1, img.Pix, setting, value)
}

// colourByOpenCV is encodedByOpenCV with the grey in three channels.
func colourByOpenCV(t testing.TB, img *image.Gray, setting, value int) []byte {
	t.Helper()
	pix := make([]byte, 0, 3*len(img.Pix))
	for _, v := range img.Pix {
		pix = append(pix, v, v, v)
	}
	return encodedMat(t, img.Rect, gocv.MatTypeCV8UC3, pix, setting, value)
}

func encodedMat(t testing.TB, size image.Rectangle, kind gocv.MatType, pix []byte, setting, value int) []byte {
	t.Helper()
	mat, err := gocv.NewMatFromBytes(size.Dy(), size.Dx(), kind, pix)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, mat, []int{setting, value})
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return slices.Clone(buf.GetBytes())
}

func TestDecodeKinds(t *testing.T) {
	const w, h = 96, 64
	grey := scene(w, h)
	rect := grey.Rect
	translucent := recolour(image.NewNRGBA(rect), grey)
	for i := 3; i < len(translucent.Pix); i += 4 {
		translucent.Pix[i] = uint8(i)
	}
	deep := image.NewGray16(rect)
	for i := range w * h {
		deep.SetGray16(i%w, i/w, color.Gray16{Y: uint16(i * 10)})
	}
	level8 := func(x, y int) float64 { return float64(grey.GrayAt(x, y).Y) / 255 }
	level16 := func(x, y int) float64 { return float64(deep.Gray16At(x, y).Y) / 65535 }
	bilevel := func(x, y int) float64 { return math.Round(level8(x, y)) }

	tests := []struct {
		name  string
		data  []byte
		lim   Limits
		curve raster.Curve
		level func(x, y int) float64 // encoded, 0 to 1
		mean  float64                // tolerance of the mean difference in light
	}{
		{"PNG grey 8", pngFile(t, grey), small, raster.SRGB, level8, 1e-7},
		{"PNG grey 16", pngFile(t, deep), small, raster.SRGB, level16, 1e-7},
		{"PNG grey 16 linear", pngFile(t, deep), Limits{MinSide: 1, Curve16: raster.Linear}, raster.Linear, level16, 1e-7},
		{"PNG grey 8 stays sRGB", pngFile(t, grey), Limits{MinSide: 1, Curve16: raster.Linear}, raster.SRGB, level8, 1e-7},
		{"PNG colour 8", pngFile(t, recolour(image.NewRGBA(rect), grey)), small, raster.SRGB, level8, 1e-7},
		{"PNG colour 16", pngFile(t, recolour(image.NewRGBA64(rect), grey)), small, raster.SRGB, level8, 1e-7},
		{"PNG alpha", pngFile(t, translucent), small, raster.SRGB, level8, 1e-7},
		{"PNG palette", pngFile(t, recolour(image.NewPaletted(rect, greyPalette(256)), grey)), small, raster.SRGB, level8, 1e-7},
		{"PNG 1 bit", pngFile(t, recolour(image.NewPaletted(rect, greyPalette(2)), grey)), small, raster.SRGB, bilevel, 1e-7},
		{"PNG animated", addChunk(addChunk(pngFile(t, grey), "fcTL", make([]byte, 26)), "acTL", make([]byte, 8)), small, raster.SRGB, level8, 1e-7},
		{"TIFF grey 8", tiffFile(t, grey, tiff.Uncompressed), small, raster.SRGB, level8, 1e-7},
		{"TIFF grey 16", tiffFile(t, deep, tiff.Deflate), small, raster.SRGB, level16, 1e-7},
		{"TIFF grey 16 linear", tiffFile(t, deep, tiff.Uncompressed), Limits{MinSide: 1, Curve16: raster.Linear}, raster.Linear, level16, 1e-7},
		{"TIFF colour 8", tiffFile(t, recolour(image.NewRGBA(rect), grey), tiff.Deflate), small, raster.SRGB, level8, 1e-7},
		{"TIFF colour 16", tiffFile(t, recolour(image.NewNRGBA64(rect), grey), tiff.Deflate), small, raster.SRGB, level8, 1e-7},
		{"TIFF palette", tiffFile(t, recolour(image.NewPaletted(rect, greyPalette(256)), grey), tiff.Deflate), small, raster.SRGB, level8, 1e-7},
		// JPEG is lossy: at quality 95 a level moves by about one, which is
		// at most 0.009 in light.
		{"JPEG grey", jpegFile(t, grey), small, raster.SRGB, level8, 0.009},
		{"JPEG colour", jpegFile(t, recolour(image.NewRGBA(rect), grey)), small, raster.SRGB, level8, 0.009},
		{"JPEG progressive", encodedByOpenCV(t, grey, gocv.IMWriteJpegProgressive, 1), small, raster.SRGB, level8, 0.009},
		{"JPEG restart marks", encodedByOpenCV(t, grey, gocv.IMWriteJpegRstInterval, 3), small, raster.SRGB, level8, 0.009},
		{"JPEG with bytes after its end", append(jpegFile(t, grey), "trailer"...), small, raster.SRGB, level8, 0.009},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			p, err := Decode(test.data, "a.file", test.lim)
			if err != nil {
				t.Fatal(err)
			}
			if p.W != w || p.H != h || p.Light.W != w || p.Light.H != h || p.Curve != test.curve || p.Orientation != 1 || p.Path != "a.file" {
				t.Errorf("got %d x %d, light %d x %d, curve %s, orientation %d, path %q", p.W, p.H, p.Light.W, p.Light.H, p.Curve, p.Orientation, p.Path)
			}
			sum := 0.0
			for y := range h {
				for x := range w {
					sum += math.Abs(float64(p.Light.At(x, y)) - test.curve.Light(test.level(x, y)))
				}
			}
			if mean := sum / (w * h); mean > test.mean {
				t.Errorf("light differs by %.2g on average, tolerance %.2g", mean, test.mean)
			}
		})
	}
}

// Rec. 601 gives the weights: 0.299, 0.587, 0.114.
func TestColourWeights(t *testing.T) {
	for _, test := range []struct {
		c    color.RGBA
		want float64
	}{{color.RGBA{R: 255, A: 255}, 0.299}, {color.RGBA{G: 255, A: 255}, 0.587}, {color.RGBA{B: 255, A: 255}, 0.114}} {
		img := image.NewRGBA(image.Rect(0, 0, 32, 32))
		for i := range 32 * 32 {
			img.SetRGBA(i%32, i/32, test.c)
		}
		for name, data := range map[string][]byte{"PNG": pngFile(t, img), "JPEG": jpegFile(t, img)} {
			p, err := Decode(data, "", small)
			if err != nil {
				t.Fatal(err)
			}
			// One level of 255, since JPEG keeps whole levels.
			if got := raster.SRGB.Encode(float64(p.Light.At(16, 16))); math.Abs(got-test.want) > 1.0/255 {
				t.Errorf("%s of %v: luma %.4f, want %.4f", name, test.c, got, test.want)
			}
		}
	}
}

// The eight orientations against those of an image library, and for JPEG also
// against OpenCV's own reading of the tag.
func TestOrientation(t *testing.T) {
	const w, h = 48, 32
	img := scene(w, h)
	turned := map[int]func(image.Image) *image.NRGBA{
		1: imaging.Clone, 2: imaging.FlipH, 3: imaging.Rotate180, 4: imaging.FlipV,
		5: imaging.Transpose, 6: imaging.Rotate270, 7: imaging.Transverse, 8: imaging.Rotate90,
	}
	for o := 1; o <= 8; o++ {
		want := turned[o](img)
		files := map[string][]byte{
			"PNG":  addChunk(pngFile(t, img), "eXIf", exifBlock(o)),
			"TIFF": plainTIFF(img, tiffTag{274, uint32(o)}),
			"JPEG": addSegment(jpegFile(t, img), 0xe1, append([]byte("Exif\x00\x00"), exifBlock(o)...)),
		}
		for name, data := range files {
			p, err := Decode(data, "", small)
			if err != nil {
				t.Fatal(name, err)
			}
			if p.Orientation != o || p.W != want.Rect.Dx() || p.H != want.Rect.Dy() {
				t.Fatalf("%s: orientation %d, %d x %d, want %d, %v", name, p.Orientation, p.W, p.H, o, want.Rect)
			}
			tolerance := 1e-6
			if name == "JPEG" {
				tolerance = 0.05 // the edge of the dark corner rings
			}
			for y := range p.H {
				for x := range p.W {
					light := raster.SRGB.Light(float64(want.NRGBAAt(x, y).R) / 255)
					if math.Abs(light-float64(p.Light.At(x, y))) > tolerance {
						t.Fatalf("%s, orientation %d: light %.4f at (%d, %d), want %.4f", name, o, p.Light.At(x, y), x, y, light)
					}
				}
			}
		}

		p, err := Decode(files["JPEG"], "", small)
		if err != nil {
			t.Fatal(err)
		}
		mat, err := gocv.IMDecode(files["JPEG"], gocv.IMReadGrayScale)
		if err != nil {
			t.Fatal(err)
		}
		table := raster.SRGB.Table(256)
		for y := range p.H {
			for x := range p.W {
				if want := table[mat.GetUCharAt(y, x)]; p.Light.At(x, y) != want {
					t.Fatalf("orientation %d: light %.4f at (%d, %d), OpenCV %.4f", o, p.Light.At(x, y), x, y, want)
				}
			}
		}
		mat.Close()
	}
}

func TestTaken(t *testing.T) {
	// One directory that points to a second one with the time.
	block := []byte("II*\x00\x08\x00\x00\x00" + "\x01\x00" + "\x69\x87\x04\x00\x01\x00\x00\x00\x1a\x00\x00\x00" + "\x00\x00\x00\x00" +
		"\x01\x00" + "\x03\x90\x02\x00\x14\x00\x00\x00\x2c\x00\x00\x00" + "\x00\x00\x00\x00" + "2024:05:06 07:08:09\x00")
	p, err := Decode(addSegment(jpegFile(t, scene(32, 32)), 0xe1, append([]byte("Exif\x00\x00"), block...)), "", small)
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2024, 5, 6, 7, 8, 9, 0, time.UTC); !p.Taken.Equal(want) {
		t.Errorf("taken %v, want %v", p.Taken, want)
	}
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	data := jpegFile(t, scene(320, 240))
	path := filepath.Join(dir, "joint.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Open(t.Context(), path, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if sum := sha256.Sum256(data); p.SHA256 != hex.EncodeToString(sum[:]) || p.Path != path {
		t.Errorf("path %q, sha256 %s", p.Path, p.SHA256)
	}

	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Open(stopped, path, Limits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := Open(t.Context(), path, Limits{MaxBytes: 1000}); codeOf(err) != check.TooLarge {
		t.Errorf("file limit: %v", err)
	}
	empty := filepath.Join(dir, "empty.jpg")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), empty, Limits{}); codeOf(err) != check.Unreadable {
		t.Errorf("empty file: %v", err)
	}
}

// What is not a readable regular file is no refusal of a photo, and must
// neither block nor be read without end.
func TestOpenNoFile(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe.jpg")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	locked := filepath.Join(dir, "locked.jpg")
	if err := os.WriteFile(locked, []byte("x"), 0); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		path string
		want error
	}{
		{filepath.Join(dir, "missing.jpg"), fs.ErrNotExist},
		{filepath.Join(dir, "a\x00b"), syscall.EINVAL},
		{dir, syscall.EISDIR},
		{pipe, fs.ErrInvalid},
		{"/dev/zero", fs.ErrInvalid},
	}
	if os.Geteuid() != 0 { // root may read anything
		tests = append(tests, struct {
			path string
			want error
		}{locked, fs.ErrPermission})
	}
	for _, test := range tests {
		done := make(chan error, 1)
		go func() {
			_, err := Open(t.Context(), test.path, Limits{})
			done <- err
		}()
		select {
		case err := <-done:
			var path *fs.PathError
			if !errors.Is(err, test.want) || !errors.As(err, &path) || codeOf(err) != "" {
				t.Errorf("%q: got %v, want %v", test.path, err, test.want)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%q: still reading", test.path)
		}
	}
}

// codeOf returns the code of a refusal, "" for any other error or none.
func codeOf(err error) check.Code {
	var r *check.Refusal
	if errors.As(err, &r) {
		return r.Code
	}
	return ""
}

// The samples of the demo are photos as people take them.
func TestSamples(t *testing.T) {
	paths, err := filepath.Glob("../samples/*.jpg")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no samples found: %v", err)
	}
	for _, path := range paths {
		p, err := Open(t.Context(), path, Limits{})
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if _, err := Exposure(p); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}
