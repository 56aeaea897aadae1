package overlay

import (
	"image"
	"image/color"

	"github.com/disintegration/imaging"
)

// Load reads a photo to draw on and turns it upright by its EXIF orientation,
// 1 to 8.
func Load(path string, orientation int) (image.Image, error) {
	img, err := imaging.Open(path)
	if err != nil {
		return nil, err
	}
	return upright(plain(img), orientation), nil
}

// upright undoes an EXIF orientation: 2 is mirrored, 3 upside down and so on
// (Exif 2.32, tag 0x0112).
func upright(img image.Image, orientation int) image.Image {
	turns := map[int]func(image.Image) *image.NRGBA{
		2: imaging.FlipH,
		3: imaging.Rotate180,
		4: imaging.FlipV,
		5: imaging.Transpose,
		6: imaging.Rotate270, // counted counter-clockwise
		7: imaging.Transverse,
		8: imaging.Rotate90,
	}
	if turn, ok := turns[orientation]; ok {
		return turn(img)
	}
	return img
}

// plain returns the picture without a palette. An index beyond the palette
// ends the whole program when imaging meets it, so such pictures never reach
// it; the pixel becomes black.
func plain(img image.Image) image.Image {
	p, ok := img.(*image.Paletted)
	if !ok {
		return img
	}
	size := p.Bounds().Size()
	out := image.NewNRGBA(image.Rectangle{Max: size})
	for y := range size.Y {
		for x := range size.X {
			var c color.Color = color.Black
			if i := int(p.Pix[y*p.Stride+x]); i < len(p.Palette) {
				c = p.Palette[i]
			}
			out.Set(x, y, c)
		}
	}
	return out
}

// The longer side of an overlay, without its caption: large enough to show
// the dots apart, small enough to open at once.
const (
	shortestLongSide = 1200
	longestLongSide  = 2400
)

// enlargement returns by how much a photo of w x h pixels is drawn larger.
func enlargement(w, h int) float64 {
	long := float64(max(w, h))
	return min(max(long, shortestLongSide), longestLongSide) / long
}
