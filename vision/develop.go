package vision

import (
	"image"
	"image/color"
	"sync"

	"pinlash/vision/raster"
)

// clipLevel is the share of full scale from which on an encoded value counts
// as saturated. It lies a little below 1, since JPEG coding spreads clipped
// areas over the last few levels.
const clipLevel = 250.0 / 255

// develop turns encoded values into linear light and the picture upright.
//
// The source has w x h values; row returns row y of it, in buf or elsewhere.
// orientation is EXIF's, 1 to 8. table holds the light of every value. g is a
// picture of w x h whose pixels are written over. The second result counts the
// pixels at every value.
func develop[T uint8 | uint16](g raster.Gray, w, h, orientation int, row func(y int, buf []T) []T, table []float32) (raster.Gray, []int) {
	if orientation >= 5 {
		g.W, g.H = h, w
	}
	counts := [2][]int{make([]int, len(table)), make([]int, len(table))}
	var wg sync.WaitGroup
	for half := range counts {
		wg.Go(func() {
			count, buf := counts[half], make([]T, w)
			for y := half * h / 2; y < (half+1)*h/2; y++ {
				line := row(y, buf)
				at, step := upright(orientation, w, h, y)
				if step == 1 {
					out := g.Pix[at : at+len(line)]
					for x, v := range line {
						out[x] = table[v]
						count[v]++
					}
					continue
				}
				for _, v := range line {
					g.Pix[at] = table[v]
					count[v]++
					at += step
				}
			}
		})
	}
	wg.Wait()
	for v, n := range counts[1] {
		counts[0][v] += n
	}
	return g, counts[0]
}

// upright returns where row y of a picture stored as w x h goes in the picture
// as displayed: the index of the row's first pixel, and the step to the next.
// The eight orientations are those of EXIF 2.3, tag 274.
func upright(orientation, w, h, y int) (at, step int) {
	switch orientation {
	case 2: // mirrored left to right
		return y*w + w - 1, -1
	case 3: // upside down
		return (h-1-y)*w + w - 1, -1
	case 4: // mirrored top to bottom
		return (h - 1 - y) * w, 1
	case 5: // rows and columns exchanged
		return y, h
	case 6: // to be turned clockwise
		return h - 1 - y, h
	case 7: // turned and mirrored
		return (w-1)*h + h - 1 - y, -h
	case 8: // to be turned anticlockwise
		return (w-1)*h + y, -h
	}
	return y * w, 1
}

// lumaRows returns a reader of rows of 16-bit luma from a decoded PNG or TIFF
// picture, and the bits a channel the file has.
func lumaRows(img image.Image) (row func(y int, buf []uint16) []uint16, bits int) {
	b := img.Bounds()
	grey := func(get func(x, y int) uint16) func(int, []uint16) []uint16 {
		return func(y int, buf []uint16) []uint16 {
			for x := range buf {
				buf[x] = get(b.Min.X+x, b.Min.Y+y)
			}
			return buf
		}
	}
	switch img := img.(type) {
	case *image.Gray:
		return grey(func(x, y int) uint16 { return uint16(img.GrayAt(x, y).Y) * 0x101 }), 8
	case *image.Gray16:
		return grey(func(x, y int) uint16 { return img.Gray16At(x, y).Y }), 16
	case *image.RGBA:
		return grey(func(x, y int) uint16 { c := img.RGBAAt(x, y); return luma8(c.R, c.G, c.B) }), 8
	case *image.NRGBA:
		return grey(func(x, y int) uint16 { c := img.NRGBAAt(x, y); return luma8(c.R, c.G, c.B) }), 8
	case *image.RGBA64:
		return grey(func(x, y int) uint16 { c := img.RGBA64At(x, y); return luma16(c.R, c.G, c.B) }), 16
	case *image.NRGBA64:
		return grey(func(x, y int) uint16 { c := img.NRGBA64At(x, y); return luma16(c.R, c.G, c.B) }), 16
	case *image.Paletted:
		luma := make([]uint16, 256)
		for i, c := range img.Palette {
			n := color.NRGBA64Model.Convert(c).(color.NRGBA64)
			luma[i] = luma16(n.R, n.G, n.B)
		}
		return grey(func(x, y int) uint16 { return luma[img.ColorIndexAt(x, y)] }), 8
	}
	return grey(func(x, y int) uint16 { return color.Gray16Model.Convert(img.At(x, y)).(color.Gray16).Y }), 8
}

func luma8(r, g, b uint8) uint16 {
	return luma16(uint16(r)*0x101, uint16(g)*0x101, uint16(b)*0x101)
}

// luma16 is 0.299 R + 0.587 G + 0.114 B (Rec. 601), the weights of a JPEG's
// luma channel, in 16-bit fixed point.
func luma16(r, g, b uint16) uint16 {
	return uint16((19595*uint32(r) + 38470*uint32(g) + 7471*uint32(b) + 1<<15) >> 16)
}
