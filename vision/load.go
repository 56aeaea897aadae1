package vision

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"io/fs"
	"os"
	"runtime"
	"syscall"
	"time"

	"golang.org/x/image/tiff"

	"pinlash/measure/check"
	"pinlash/vision/raster"
)

// Photo is an opened photo.
type Photo struct {
	Path   string
	SHA256 string // of the file, in hexadecimal
	W, H   int    // pixels, as displayed
	// Light is the picture in linear light, as displayed.
	Light raster.Gray
	// Curve is the tone curve the file was assumed to have.
	Curve raster.Curve
	// Saturated is the share of pixels at or above the clip level.
	Saturated float64
	// Bright is the light that 99 % of the pixels do not exceed.
	Bright float64
	// Orientation is the file's EXIF orientation, 1 to 8. It is already
	// applied.
	Orientation int
	// Taken is the time the photo was taken by the camera's clock, whose time
	// zone is not known and is given as UTC. It is zero if the file does not
	// say.
	Taken time.Time
}

// Open reads the photo at path. See the package comment for what is accepted.
//
// A file that cannot be read, or is no regular file, is an error of package
// fs. A file that is no photo, or one that cannot be measured, is a
// *check.Refusal: not_an_image, unreadable or too_large.
func Open(ctx context.Context, path string, lim Limits) (Photo, error) {
	data, err := readFile(path, lim.withDefaults())
	if err != nil {
		return Photo{}, err
	}
	if err := ctx.Err(); err != nil {
		return Photo{}, err
	}
	return Decode(data, path, lim)
}

// readFile reads a regular file. Pipes and devices are not opened: they could
// block, or never end.
func readFile(path string, lim Limits) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, &fs.PathError{Op: "read", Path: path, Err: syscall.EISDIR}
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("not a regular file: %w", fs.ErrInvalid)}
	}
	if err := lim.refuseBytes(info.Size()); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data := make([]byte, info.Size())
	if _, err := io.ReadFull(f, data); err != nil {
		return nil, &fs.PathError{Op: "read", Path: path, Err: err}
	}
	return data, nil
}

// Decode reads a photo from the bytes of its file. The name becomes the
// photo's Path and has no other use. Every error is a *check.Refusal.
func Decode(data []byte, name string, lim Limits) (Photo, error) {
	lim = lim.withDefaults()
	if err := lim.refuseBytes(int64(len(data))); err != nil {
		return Photo{}, err
	}
	k := kindOf(data)
	if k != kindJPEG && k != kindPNG && k != kindTIFF {
		return Photo{}, refuseKind(k, data)
	}
	meta := readMetadata(k, data)
	sum := make(chan [sha256.Size]byte, 1)
	go func() { sum <- sha256.Sum256(data) }()

	p := Photo{Path: name, Orientation: meta.orientation, Taken: meta.taken}
	var err error
	if k == kindJPEG {
		err = p.fromJPEG(data, lim)
	} else {
		err = p.fromGo(k, data, meta, lim)
		if p.W*p.H > largePicture {
			runtime.GC() // the search needs as much again as the decoder has used
		}
	}
	digest := <-sum
	if err != nil {
		return Photo{}, err
	}
	p.SHA256 = hex.EncodeToString(digest[:])
	return p, nil
}

// largePicture is the number of pixels from which memory is worth caring for.
const largePicture = 20e6

// fromJPEG fills in the picture of a JPEG file.
func (p *Photo) fromJPEG(data []byte, lim Limits) error {
	stream, err := walkJPEG(data, lim)
	if err != nil {
		return err
	}
	if stream.w*stream.h > largePicture {
		runtime.GC() // the photo before may still take up as much
	}
	// Memory for the light is made ready while the codec is at work.
	fresh := make(chan raster.Gray, 1)
	go func() { fresh <- raster.NewGray(stream.w, stream.h) }()
	var damaged error
	var shifted int
	together(func() {
		err = decodeJPEG(stream, func(luma []uint8) {
			shifted = shadeShift(luma, stream.w, stream.h, stream.unitW, stream.unitH)
			row := func(y int, _ []uint8) []uint8 { return luma[y*stream.w : (y+1)*stream.w] }
			table := raster.SRGB.Table(1 << 8)
			light, counts := develop(<-fresh, stream.w, stream.h, p.Orientation, row, table)
			p.setLight(light, raster.SRGB, counts, table)
		})
	}, func() { damaged = damagedScans(stream) })
	switch {
	case damaged != nil:
		return damaged
	case shifted > 0:
		return unreadable("the JPEG file is damaged: from row %d on its shades are shifted", shifted)
	}
	return err
}

// fromGo fills in the picture of a PNG or TIFF file.
func (p *Photo) fromGo(k kind, data []byte, meta metadata, lim Limits) error {
	decodeConfig, decode := png.DecodeConfig, png.Decode
	if k == kindTIFF {
		decodeConfig, decode = tiff.DecodeConfig, tiff.Decode
		if meta.preview {
			return check.Refuse(check.NotAnImage, "the file is a camera raw file or holds a preview first, not the photo")
		}
		if meta.planar {
			return unreadable("the TIFF file keeps its colours in separate planes; save it with interleaved colours")
		}
	}
	config, err := decodeConfig(bytes.NewReader(data))
	if err != nil {
		return unreadable("the %s file cannot be read: %v", k, err)
	}
	if err := lim.refuseSize(config.Width, config.Height, depthOf(config.ColorModel)); err != nil {
		return err
	}
	img, err := decodeRecovered(decode, data)
	if err != nil {
		return unreadable("the %s file cannot be read: %v", k, err)
	}
	row, bits := lumaRows(img)
	curve := raster.SRGB
	if bits == 16 {
		curve = lim.Curve16
	}
	table := curve.Table(1 << 16)
	light, counts := develop(raster.NewGray(config.Width, config.Height), config.Width, config.Height, p.Orientation, row, table)
	p.setLight(light, curve, counts, table)
	return nil
}

// depthOf returns the bytes that a pixel of a decoded PNG or TIFF picture has.
func depthOf(m color.Model) int {
	switch m {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	if _, ok := m.(color.Palette); ok {
		return 1
	}
	return 4
}

// decodeRecovered decodes data; a decoder that panics on a hostile file must
// not end a whole batch.
func decodeRecovered(decode func(io.Reader) (image.Image, error), data []byte) (img image.Image, err error) {
	defer func() {
		if r := recover(); r != nil {
			img, err = nil, fmt.Errorf("decoder failed: %v", r)
		}
	}()
	return decode(bytes.NewReader(data))
}

// setLight stores the picture and what its levels say: counts holds the
// number of pixels at each encoded value, table the light of each.
func (p *Photo) setLight(light raster.Gray, curve raster.Curve, counts []int, table []float32) {
	light.Clip = float32(curve.Light(clipLevel))
	p.Light, p.W, p.H, p.Curve = light, light.W, light.H, curve
	total, below := len(light.Pix), 0
	for v, n := range counts {
		if table[v] >= light.Clip {
			p.Saturated += float64(n) / float64(total)
		}
		if below*100 < total*99 {
			p.Bright = float64(table[v])
		}
		below += n
	}
}
