package vision

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"slices"
	"testing"

	"golang.org/x/image/tiff"
)

// small opens the little pictures of the tests.
var small = Limits{MinSide: 1}

// scene is a grey picture without any symmetry.
func scene(w, h int) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := 40 + 150*x/w + 50*y/h
			if x < w/3 && y < h/4 {
				v = 15
			}
			img.SetGray(x, y, color.Gray{Y: uint8(v)})
		}
	}
	return img
}

func pngFile(t testing.TB, img image.Image) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func jpegFile(t testing.TB, img image.Image) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func tiffFile(t testing.TB, img image.Image, c tiff.CompressionType) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := tiff.Encode(&buf, img, &tiff.Options{Compression: c}); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// tiffTag is an entry of a TIFF directory with one value of type LONG.
type tiffTag struct {
	tag   uint16
	value uint32
}

// plainTIFF writes an uncompressed grey TIFF with its directory first, and
// tags added or, where they are there already, replaced.
func plainTIFF(img *image.Gray, tags ...tiffTag) []byte {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	all := []tiffTag{
		{256, uint32(w)},
		{257, uint32(h)},
		{258, 8},
		{259, 1},
		{262, 1},
		{273, 0},
		{277, 1},
		{278, uint32(h)},
		{279, uint32(w * h)},
	}
	for _, t := range tags {
		all = slices.DeleteFunc(all, func(o tiffTag) bool { return o.tag == t.tag })
		all = append(all, t)
	}
	slices.SortFunc(all, func(a, b tiffTag) int { return int(a.tag) - int(b.tag) })
	data := binary.LittleEndian.AppendUint32([]byte("II*\x00"), 8)
	data = binary.LittleEndian.AppendUint16(data, uint16(len(all)))
	pixels := uint32(len(data) + 12*len(all) + 4)
	for _, t := range all {
		if t.tag == 273 {
			t.value = pixels
		}
		data = binary.LittleEndian.AppendUint16(data, t.tag)
		data = binary.LittleEndian.AppendUint16(data, 4)
		data = binary.LittleEndian.AppendUint32(data, 1)
		data = binary.LittleEndian.AppendUint32(data, t.value)
	}
	data = binary.LittleEndian.AppendUint32(data, 0)
	return append(data, img.Pix...)
}

// exifBlock returns EXIF data that hold an orientation and nothing else.
func exifBlock(orientation int) []byte {
	data := binary.BigEndian.AppendUint32([]byte("MM\x00*"), 8)
	data = append(data, 0, 1)        // one entry:
	data = append(data, 1, 18, 0, 3) // orientation, type SHORT,
	data = append(data, 0, 0, 0, 1)  // one value
	data = append(data, 0, byte(orientation), 0, 0)
	return append(data, 0, 0, 0, 0) // no further directory
}

// addSegment puts a segment right behind the start mark of a JPEG file.
func addSegment(file []byte, marker byte, body []byte) []byte {
	segment := []byte{0xff, marker}
	segment = binary.BigEndian.AppendUint16(segment, uint16(len(body)+2))
	return slices.Concat(file[:2], segment, body, file[2:])
}

// addChunk puts a chunk right behind the header chunk of a PNG file.
func addChunk(file []byte, name string, body []byte) []byte {
	const header = 8 + 12 + 13
	return slices.Concat(file[:header], chunk(name, body), file[header:])
}

func chunk(name string, body []byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	c = append(append(c, name...), body...)
	return binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
}

// patchFrame changes bytes of a JPEG file's frame header, counted from its
// marker.
func patchFrame(file []byte, changes map[int]byte) []byte {
	file = slices.Clone(file)
	at := bytes.Index(file, []byte{0xff, markerSOF0, 0})
	for i, b := range changes {
		file[at+i] = b
	}
	return file
}

// resizePNG writes another size into a PNG file's header.
func resizePNG(file []byte, w, h uint32) []byte {
	file = slices.Clone(file)
	binary.BigEndian.PutUint32(file[16:], w)
	binary.BigEndian.PutUint32(file[20:], h)
	binary.BigEndian.PutUint32(file[29:], crc32.ChecksumIEEE(file[12:29]))
	return file
}
