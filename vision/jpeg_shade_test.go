package vision

import (
	"bytes"
	"image"
	"os"
	"path/filepath"
	"testing"

	"pinlash/vision/synth"
)

// The shade of a photo is shifted from one unit on, as by a changed bit in a
// first coefficient, and the shift is found wherever it begins, save near the
// ends of a row.
func TestShiftedShade(t *testing.T) {
	img, err := synth.Ring(120, 10, 1, 0.3).Gray8()
	if err != nil {
		t.Fatal(err)
	}
	w, h := img.Rect.Dx(), img.Rect.Dy()
	for _, unit := range []image.Point{{8, 8}, {16, 8}, {16, 16}} {
		cols := w / unit.X
		if y := shadeShift(img.Pix, w, h, unit.X, unit.Y); y != 0 {
			t.Errorf("units of %v: a shift in a sound photo, at row %d", unit, y)
		}
		found, tried := 0, 0
		for _, by := range []int{-60, -15, -8, 8, 25} {
			for row := 2; row < h/unit.Y-3; row += 3 {
				for col := seamClear; col <= cols-seamClear; col++ {
					tried++
					if shadeShift(darkened(img, unit, row, col, by), w, h, unit.X, unit.Y) == row*unit.Y {
						found++
					}
				}
			}
		}
		t.Logf("units of %v: %d of %d shifts found", unit, found, tried)
		if found*10 < tried*9 {
			t.Errorf("units of %v: %d of %d shifts found, nine of ten are wanted", unit, found, tried)
		}
	}
}

// darkened returns the levels with those of all units from one on changed.
func darkened(img *image.Gray, unit image.Point, row, col, by int) []uint8 {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	out := bytes.Clone(img.Pix)
	for y := row * unit.Y; y < h; y++ {
		from := 0
		if y < (row+1)*unit.Y {
			from = col * unit.X
		}
		for x := from; x < w; x++ {
			out[y*w+x] = uint8(min(max(int(out[y*w+x])+by, 0), 255))
		}
	}
	return out
}

// No sound photo is taken for one with a shift, whatever runs across it: rules
// lie straight, at a slant and along the border of units.
func TestNoShiftInSoundPhotos(t *testing.T) {
	photos, err := filepath.Glob("../testdata/photos/*.jpg")
	if err != nil || len(photos) == 0 {
		t.Fatal(err, photos)
	}
	for _, path := range photos {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Decode(data, path, Limits{}); err != nil {
			t.Error(path, err)
		}
	}
	for y := 90; y < 110; y++ {
		for slant := -40; slant <= 40; slant++ { // pixels over the width
			img := image.NewGray(image.Rect(0, 0, 400, 200))
			for i := range img.Pix {
				img.Pix[i] = 90
				edge := float64(y) + float64(slant)*float64(i%400)/400
				if d := float64(i/400) - edge; d > 0 {
					img.Pix[i] = uint8(90 + 80*min(d/2, 1)) // 2 px wide
				}
			}
			for _, unit := range []int{8, 16} {
				if at := shadeShift(img.Pix, 400, 200, unit, unit); at != 0 {
					t.Fatalf("an edge at row %d, slant %d, is taken for a shift at row %d", y, slant, at)
				}
			}
		}
	}
}
