package vision

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/gif"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gocv.io/x/gocv"
	"golang.org/x/image/tiff"

	"pinlash/measure/check"
)

func TestRefused(t *testing.T) {
	img := scene(64, 48)
	jpg, pic, tif := jpegFile(t, img), pngFile(t, img), plainTIFF(img)
	var animated bytes.Buffer
	frame := recolour(image.NewPaletted(img.Rect, greyPalette(256)), img)
	if err := gif.EncodeAll(&animated, &gif.GIF{Image: []*image.Paletted{frame, frame}, Delay: []int{1, 1}}); err != nil {
		t.Fatal(err)
	}
	restarts := encodedByOpenCV(t, img, gocv.IMWriteJpegRstInterval, 1)
	scan := bytes.Index(jpg, []byte{0xff, markerSOS})
	manyScans := slices.Concat(jpg[:scan], bytes.Repeat(jpg[scan:len(jpg)-2], maxScans+1), jpg[len(jpg)-2:])

	tests := []struct {
		name string
		data []byte
		code check.Code
		says string
	}{
		{"empty", nil, check.Unreadable, "empty"},
		{"one byte", []byte{0xff}, check.NotAnImage, "ff"},
		{"text", []byte("pitch 9.525 mm\n"), check.NotAnImage, "text"},
		{"zeros", make([]byte, 4096), check.NotAnImage, "00 00"},
		{"GIF", animated.Bytes(), check.NotAnImage, "GIF"},
		{"HEIC", []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), check.NotAnImage, "HEIC"},
		{"video", []byte("\x00\x00\x00\x18ftypisom\x00\x00\x02\x00"), check.NotAnImage, "video"},
		{"PDF", []byte("%PDF-1.7\n"), check.NotAnImage, "PDF"},
		{"WebP", []byte("RIFF\x10\x00\x00\x00WEBPVP8 "), check.NotAnImage, "WebP"},
		{"BMP", []byte("BM\x00\x00\x00\x00\x00\x00"), check.NotAnImage, "BMP"},
		{"CR2", []byte("II*\x00\x10\x00\x00\x00CR\x02\x00"), check.NotAnImage, "raw"},
		{"DNG", plainTIFF(img, tiffTag{50706, 1}), check.NotAnImage, "raw"},
		{"TIFF preview", plainTIFF(img, tiffTag{254, 1}), check.NotAnImage, "preview"},

		{"1 x 1", pngFile(t, scene(1, 1)), check.Unreadable, "1 x 1"},
		{"199 px", pngFile(t, scene(300, 199)), check.Unreadable, "at least 200"},
		{"JPEG of 65500 x 65500", patchFrame(jpg, map[int]byte{5: 0xff, 6: 0xdc, 7: 0xff, 8: 0xdc}), check.TooLarge, "4290.2 million"},
		{"JPEG of 5000 x 5000 without the data", patchFrame(jpg, map[int]byte{5: 0x13, 6: 0x88, 7: 0x13, 8: 0x88}), check.Unreadable, "need at least 48828"},
		{"JPEG of height 0", patchFrame(jpg, map[int]byte{5: 0, 6: 0}), check.Unreadable, "x 0 px"},
		{"PNG of 30000 x 30000", resizePNG(pic, 30000, 30000), check.TooLarge, "900.0 million"},
		{"PNG of 2^31-1 squared", resizePNG(pic, 1<<31-1, 1<<31-1), "", ""}, // refused by header or by limit
		{"PNG of 5000 x 5000 without the data", resizePNG(pic, 5000, 5000), check.Unreadable, "PNG"},
		{"PNG 16 bit colour of 8000 x 8000", resizePNG(pngFile(t, recolour(image.NewNRGBA64(img.Rect), img)), 8000, 8000), check.TooLarge, "1.2 GB"},
		{"JPEG progressive of 7900 x 7900", resizeJPEG(colourByOpenCV(t, img, gocv.IMWriteJpegProgressive, 1), 7900), check.TooLarge, "1.1 GB"},
		{"TIFF of 2^31 squared", plainTIFF(img, tiffTag{256, 1 << 31}, tiffTag{257, 1 << 31}), "", ""},
		{"TIFF of 20000 x 20000", plainTIFF(img, tiffTag{256, 20000}, tiffTag{257, 20000}), check.TooLarge, "400.0 million"},
		{"TIFF of 5000 x 5000 without the data", plainTIFF(img, tiffTag{256, 5000}, tiffTag{257, 5000}), check.Unreadable, "TIFF"},

		{"JPEG 12 bit", patchFrame(jpg, map[int]byte{4: 12}), check.Unreadable, "12 bits"},
		{"JPEG lossless", patchFrame(jpg, map[int]byte{1: 0xc3}), check.Unreadable, "lossless"},
		{"JPEG arithmetic", patchFrame(jpg, map[int]byte{1: 0xc9}), check.Unreadable, "arithmetic"},
		{"JPEG in ink colours", cmyk(jpg), check.Unreadable, "4 colour channels"},
		{"JPEG two frames", slices.Concat(jpg[:scan], frameOf(jpg), jpg[scan:]), check.Unreadable, "two frames"},
		{"JPEG without scan", slices.Concat(jpg[:scan], jpg[len(jpg)-2:]), check.Unreadable, "no picture data"},
		{"JPEG of two pictures", slices.Concat(jpg[:len(jpg)-2], jpg), check.Unreadable, "second picture"},
		{"JPEG of many scans", manyScans, check.Unreadable, "scans"},
		{"JPEG restart mark lost", bytes.Replace(restarts, []byte{0xff, 0xd1}, nil, 1), check.Unreadable, "restart"},
		{"JPEG segment beyond the end", append(slices.Clone(jpg[:2]), 0xff, 0xe1, 0xff, 0xff, 0), check.Unreadable, "cut off"},
		{"JPEG segment of length 1", append(slices.Clone(jpg[:2]), 0xff, 0xe1, 0, 1, 0), check.Unreadable, "damaged"},
		{"JPEG without tables", withoutTables(jpg), check.Unreadable, "headers"},
		{"PNG without its end", pic[:len(pic)-12], check.Unreadable, "PNG"},
		{"TIFF float", plainTIFF(img, tiffTag{258, 32}, tiffTag{339, 3}), check.Unreadable, "TIFF"},
		{"TIFF planes", plainTIFF(img, tiffTag{284, 2}), check.Unreadable, "planes"},
		{"TIFF with JPEG inside", plainTIFF(img, tiffTag{259, 7}), check.Unreadable, "compression"},
		{"TIFF strip beyond the end", plainTIFF(img, tiffTag{279, 1 << 30}), check.Unreadable, "TIFF"},
		{"TIFF directory beyond the end", append(slices.Clone(tif[:4]), 0xff, 0xff, 0xff, 0x7f, 0, 0), check.Unreadable, "TIFF"},
		{"BigTIFF", []byte("II+\x00\x08\x00\x00\x00"), check.NotAnImage, "BigTIFF"},
	}
	for _, test := range tests {
		lim := small
		if test.name == "199 px" || test.name == "1 x 1" {
			lim = Limits{}
		}
		p, err := Decode(test.data, "", lim)
		var r *check.Refusal
		if !errors.As(err, &r) || p.Light.Pix != nil {
			t.Errorf("%s: got %v and %d pixels, want a refusal and none", test.name, err, len(p.Light.Pix))
			continue
		}
		if test.code != "" && r.Code != test.code || !strings.Contains(r.Message, test.says) {
			t.Errorf("%s: got %s: %s; want %s with %q", test.name, r.Code, r.Message, test.code, test.says)
		}
	}
}

func frameOf(jpg []byte) []byte {
	at := bytes.Index(jpg, []byte{0xff, markerSOF0, 0})
	return jpg[at : at+2+int(jpg[at+3])]
}

// resizeJPEG writes another size into the frame header of a progressive file.
func resizeJPEG(jpg []byte, side uint16) []byte {
	jpg = slices.Clone(jpg)
	at := bytes.Index(jpg, []byte{0xff, markerSOF2, 0})
	binary.BigEndian.PutUint16(jpg[at+5:], side)
	binary.BigEndian.PutUint16(jpg[at+7:], side)
	return jpg
}

// cmyk returns a grey JPEG file whose frame header claims four channels.
func cmyk(jpg []byte) []byte {
	frame := frameOf(jpg)
	four := slices.Concat(frame, frame[10:13], frame[10:13], frame[10:13])
	four[3] += 9
	four[9] = 4
	return bytes.Replace(jpg, frame, four, 1)
}

// withoutTables turns the quantisation and Huffman tables of a JPEG file into
// comments.
func withoutTables(jpg []byte) []byte {
	jpg = bytes.ReplaceAll(jpg, []byte{0xff, markerDQT, 0}, []byte{0xff, 0xfe, 0})
	return bytes.ReplaceAll(jpg, []byte{0xff, markerDHT, 0}, []byte{0xff, 0xfe, 0})
}

// whole are undamaged files of every kind, small enough for many trials.
func whole(t testing.TB) map[string][]byte {
	img := scene(64, 48)
	withTags := append([]byte("Exif\x00\x00"), exifBlock(6)...)
	return map[string][]byte{
		"JPEG":             addSegment(jpegFile(t, img), 0xe1, withTags),
		"JPEG colour":      jpegFile(t, recolour(image.NewRGBA(img.Rect), img)),
		"JPEG progressive": encodedByOpenCV(t, img, gocv.IMWriteJpegProgressive, 1),
		"JPEG restarts":    encodedByOpenCV(t, img, gocv.IMWriteJpegRstInterval, 2),
		"PNG":              addChunk(pngFile(t, img), "eXIf", exifBlock(3)),
		"PNG 16":           pngFile(t, recolour(image.NewRGBA64(img.Rect), img)),
		"TIFF":             plainTIFF(img, tiffTag{274, 8}),
		"TIFF deflate":     tiffFile(t, recolour(image.NewRGBA(img.Rect), img), tiff.Deflate),
	}
}

func TestTruncated(t *testing.T) {
	for name, data := range whole(t) {
		for percent := 5; percent < 100; percent += 5 {
			if _, err := Decode(data[:len(data)*percent/100], "", small); codeOf(err) != check.Unreadable {
				t.Errorf("%s cut off at %d %%: %v", name, percent, err)
			}
		}
		if name == "TIFF deflate" {
			continue // its last bytes say that no further picture follows
		}
		if _, err := Decode(data[:len(data)-1], "", small); codeOf(err) != check.Unreadable {
			t.Errorf("%s without its last byte: %v", name, err)
		}
	}
}

// A file with changed bits is refused or gives a sound picture. PNG has
// checksums: whatever is accepted must be the undamaged picture, save that the
// end of a PNG may be spoilt harmlessly.
func TestBitFlips(t *testing.T) {
	lim := Limits{MinSide: 1, MaxPixels: 1e6}
	for name, data := range whole(t) {
		good, err := Decode(data, "", lim)
		if err != nil {
			t.Fatal(name, err)
		}
		accepted := 0
		for seed := range uint64(500) {
			rng := rand.New(rand.NewPCG(seed, 7))
			bad := slices.Clone(data)
			for range 1 + rng.IntN(4) {
				bad[rng.IntN(len(bad))] ^= 1 << rng.IntN(8)
			}
			p, err := Decode(bad, "", lim)
			if problem := unsound(p, err); problem != "" {
				t.Fatalf("%s, seed %d: %s", name, seed, problem)
			}
			if err == nil {
				accepted++
				if strings.HasPrefix(name, "PNG") && !slices.Equal(p.Light.Pix, good.Light.Pix) {
					t.Errorf("%s, seed %d: damaged picture accepted", name, seed)
				}
			}
		}
		t.Logf("%s: %d of 500 damaged files accepted", name, accepted)
	}
}

// unsound says what is wrong with the answer of Decode, "" if nothing.
func unsound(p Photo, err error) string {
	if err != nil {
		if codeOf(err) == "" {
			return "error that is no refusal: " + err.Error()
		}
		return ""
	}
	switch {
	case p.W < 1 || p.H < 1 || p.W != p.Light.W || p.H != p.Light.H || len(p.Light.Pix) != p.W*p.H:
		return "sizes disagree"
	case p.Orientation < 1 || p.Orientation > 8:
		return "orientation outside 1 to 8"
	case !(p.Saturated >= 0 && p.Saturated <= 1.000001) || !(p.Bright >= 0 && p.Bright <= 1):
		return "levels outside 0 to 1"
	}
	for _, v := range p.Light.Pix {
		if !(v >= 0 && v <= 1) {
			return "light outside 0 to 1"
		}
	}
	return ""
}

// EXIF data of every broken sort leave the photo as it is.
func TestBrokenTags(t *testing.T) {
	img := scene(64, 48)
	jpg, pic := jpegFile(t, img), pngFile(t, img)
	good := exifBlock(6)
	blocks := [][]byte{nil, {0}, []byte("II*\x00"), []byte("II*\x00\xff\xff\xff\xff"), exifBlock(0), exifBlock(9), exifBlock(255)}
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 3))
		block := slices.Clone(good)
		for range 1 + rng.IntN(6) {
			block[rng.IntN(len(block))] = byte(rng.Uint32())
		}
		blocks = append(blocks, block[:rng.IntN(len(block)+1)])
	}
	for i, block := range blocks {
		for name, data := range map[string][]byte{
			"JPEG": addSegment(jpg, 0xe1, append([]byte("Exif\x00\x00"), block...)),
			"PNG":  addChunk(pic, "eXIf", block),
		} {
			p, err := Decode(data, "", small)
			if err != nil {
				t.Fatalf("%s, block %d: %v", name, i, err)
			}
			if problem := unsound(p, err); problem != "" {
				t.Fatalf("%s, block %d: %s", name, i, problem)
			}
		}
	}
}
