package cli

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"slices"
	"testing"

	"golang.org/x/image/tiff"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/vision/synth"
)

// ruled draws a joint of 100 px bore radius over a rule, small enough to be
// measured thousands of times. Noise makes a picture that a camera could have
// taken; without it the files are smaller.
func ruled(clearance float64, noisy bool) synth.Scene {
	s := synth.Ring(100, clearance, 1.5, 0.4)
	s.W, s.H = 320, 336
	to := r2.Sub(r2.Vec{X: 160, Y: 124}, s.Joint.BoreCenter)
	s.Joint.BoreCenter, s.Joint.PinCenter = r2.Add(s.Joint.BoreCenter, to), r2.Add(s.Joint.PinCenter, to)
	s.Rule = synth.Rule{
		Origin: r2.Vec{X: 14, Y: 250}, Period: ruledPeriod, Marks: 28,
		LineWidth: 2.6, Short: 30, Mid: 40, Long: 52, MidEvery: 5, LongEvery: 10,
		Edge: 6, Width: 70, End: 30, Body: synth.Face{Level: 0.6}, Ink: 0.03,
	}
	s.Seed = uint64(clearance)
	if !noisy {
		s.Camera.Noise = synth.Noise{}
	}
	return s
}

// ruledPeriod is the division of its rule in pixels.
const ruledPeriod = 10.5

// photoFile is a picture as a file of some kind.
type photoFile struct {
	name string // of the kind
	ext  string
	data []byte
}

// everyKind writes a picture as every kind of file that is read, and some
// that are refused.
func everyKind(t testing.TB, s synth.Scene) []photoFile {
	t.Helper()
	grey, err := s.Gray8()
	if err != nil {
		t.Fatal(err)
	}
	jpg := fileOf(t, func(w *bytes.Buffer) error { return jpeg.Encode(w, grey, &jpeg.Options{Quality: 85}) })
	pic := fileOf(t, func(w *bytes.Buffer) error { return png.Encode(w, grey) })
	colour := image.NewRGBA(grey.Rect)
	deep := image.NewGray16(grey.Rect)
	shades := make(color.Palette, 64)
	for i := range shades {
		shades[i] = color.Gray{Y: uint8(255 * i / (len(shades) - 1))}
	}
	palette := image.NewPaletted(grey.Rect, shades)
	for y := range grey.Rect.Dy() {
		for x := range grey.Rect.Dx() {
			c := grey.GrayAt(x, y)
			colour.Set(x, y, c)
			deep.SetGray16(x, y, color.Gray16{Y: uint16(c.Y) * 257})
			palette.SetColorIndex(x, y, uint8((int(c.Y)*(len(shades)-1)+127)/255))
		}
	}
	compressed := func(img image.Image) []byte {
		return fileOf(t, func(w *bytes.Buffer) error {
			return tiff.Encode(w, img, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
		})
	}
	return []photoFile{
		{"JPEG grey", "jpg", jpg},
		{"JPEG colour", "jpg", fileOf(t, func(w *bytes.Buffer) error { return jpeg.Encode(w, colour, &jpeg.Options{Quality: 85}) })},
		{"JPEG progressive", "jpg", progressive(jpg)},
		{"JPEG of ink colours", "jpg", inks(jpg)},
		{"PNG grey", "png", pic},
		{"PNG colour", "png", fileOf(t, func(w *bytes.Buffer) error { return png.Encode(w, colour) })},
		{"PNG 16 bit", "png", fileOf(t, func(w *bytes.Buffer) error { return png.Encode(w, deep) })},
		{"PNG palette", "png", fileOf(t, func(w *bytes.Buffer) error { return png.Encode(w, palette) })},
		{"PNG interlaced", "png", interlaced(t, grey)},
		{"PNG animated", "png", twoFrames(pic)},
		{"TIFF grey", "tif", fileOf(t, func(w *bytes.Buffer) error { return tiff.Encode(w, grey, nil) })},
		{"TIFF colour deflate", "tif", compressed(colour)},
		{"TIFF 16 bit deflate", "tif", compressed(deep)},
		{"TIFF palette deflate", "tif", fileOf(t, func(w *bytes.Buffer) error {
			return tiff.Encode(w, palette, &tiff.Options{Compression: tiff.Deflate})
		})},
		{"GIF animated", "jpg", fileOf(t, func(w *bytes.Buffer) error { // under a wrong name
			return gif.EncodeAll(w, &gif.GIF{Image: []*image.Paletted{palette, palette}, Delay: []int{1, 1}})
		})},
	}
}

func fileOf(t testing.TB, encode func(*bytes.Buffer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := encode(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// segment returns a segment of a JPEG file.
func segment(marker byte, body ...byte) []byte {
	s := binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(body)+2))
	return append(s, body...)
}

// cutScan cuts a JPEG file of one scan in what goes before the scan's header,
// that header, its data and the end mark.
func cutScan(jpg []byte) (head, header, data, end []byte) {
	at := bytes.Index(jpg, []byte{0xff, 0xda})
	from := at + 2 + int(binary.BigEndian.Uint16(jpg[at+2:]))
	return jpg[:at], jpg[at:from], jpg[from : len(jpg)-2], jpg[len(jpg)-2:]
}

// inks returns a grey JPEG file as one of four ink colours, all alike, each
// in a scan of its own.
func inks(jpg []byte) []byte {
	head, _, data, end := cutScan(jpg)
	at := bytes.Index(head, []byte{0xff, 0xc0})
	frame := head[at : at+13]
	size := frame[5:9]
	four := segment(0xc0, slices.Concat([]byte{8}, size, []byte{4, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0})...)
	out := slices.Concat(head[:2], segment(0xee, []byte("Adobe\x00\x64\x00\x00\x00\x00\x00")...), head[2:at], four, head[at+13:])
	for id := range byte(4) {
		out = slices.Concat(out, segment(0xda, 1, id+1, 0, 0, 63, 0), data)
	}
	return append(out, end...)
}

// progressive returns a grey baseline JPEG file as a progressive one of two
// scans (ITU-T T.81, annex G): the first coefficient of every block, then the
// others, whose codes are those of the baseline file.
func progressive(jpg []byte) []byte {
	head, _, data, end := cutScan(jpg)
	head = slices.Clone(head)
	at := bytes.Index(head, []byte{0xff, 0xc0})
	head[at+1] = 0xc2
	h, w := int(binary.BigEndian.Uint16(head[at+5:])), int(binary.BigEndian.Uint16(head[at+7:]))
	var codes [2]huffman // of the first coefficients, of the others
	for at := 2; at < len(head); at += 2 + int(binary.BigEndian.Uint16(head[at+2:])) {
		if head[at+1] != 0xc4 {
			continue
		}
		for b := head[at+4 : at+2+int(binary.BigEndian.Uint16(head[at+2:]))]; len(b) > 0; {
			class := b[0] >> 4
			codes[class], b = readHuffman(b[1:])
		}
	}
	in := bits{bytes: bytes.ReplaceAll(data, []byte{0xff, 0}, []byte{0xff})}
	var first, others bits
	for range (w + 7) / 8 * ((h + 7) / 8) {
		size := in.copySymbol(codes[0], &first)
		in.copyBits(int(size), &first)
		for k := 1; k < 64; k++ {
			symbol := in.copySymbol(codes[1], &others)
			in.copyBits(int(symbol&15), &others)
			if symbol == 0 {
				break // the rest of the block is zero
			}
			k += int(symbol >> 4)
		}
	}
	return slices.Concat(head,
		segment(0xda, 1, 1, 0, 0, 0, 0), first.stuffed(),
		segment(0xda, 1, 1, 0, 1, 63, 0), others.stuffed(), end)
}

// huffman holds the symbol of each code, by its length and bits.
type huffman map[[2]int]byte

// readHuffman reads a table of a DHT segment (T.81, B.2.4.2 and annex C) and
// returns what follows.
func readHuffman(b []byte) (huffman, []byte) {
	h := huffman{}
	counts, b := b[:16], b[16:]
	code := 0
	for i, n := range counts {
		for range n {
			h[[2]int{i + 1, code}] = b[0]
			b = b[1:]
			code++
		}
		code *= 2
	}
	return h, b
}

// bits is a row of bits, the most significant of a byte first.
type bits struct {
	bytes []byte
	n     int // read, or written
}

func (b *bits) read() int {
	bit := b.bytes[b.n/8] >> (7 - b.n%8) & 1
	b.n++
	return int(bit)
}

func (b *bits) write(bit int) {
	if b.n%8 == 0 {
		b.bytes = append(b.bytes, 0)
	}
	b.bytes[b.n/8] |= byte(bit << (7 - b.n%8))
	b.n++
}

func (b *bits) copyBits(n int, to *bits) (value int) {
	for range n {
		bit := b.read()
		to.write(bit)
		value = value<<1 | bit
	}
	return value
}

func (b *bits) copySymbol(h huffman, to *bits) byte {
	code := 0
	for length := 1; ; length++ {
		code = code<<1 | b.copyBits(1, to)
		if symbol, ok := h[[2]int{length, code}]; ok {
			return symbol
		}
	}
}

// stuffed returns the bits as the data of a JPEG scan.
func (b *bits) stuffed() []byte {
	for b.n%8 != 0 {
		b.write(1)
	}
	return bytes.ReplaceAll(b.bytes, []byte{0xff}, []byte{0xff, 0})
}

const pngMagic = "\x89PNG\r\n\x1a\n"

// pngChunk returns a chunk of a PNG file.
func pngChunk(name string, body []byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	c = append(append(c, name...), body...)
	return binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
}

// pngChunks returns the chunks of a PNG file.
func pngChunks(file []byte) [][]byte {
	var out [][]byte
	for rest := file[len(pngMagic):]; len(rest) > 0; {
		n := 12 + int(binary.BigEndian.Uint32(rest))
		out, rest = append(out, rest[:n]), rest[n:]
	}
	return out
}

// interlaced returns a picture as PNG in the seven passes of Adam7.
func interlaced(t testing.TB, img *image.Gray) []byte {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	var raw bytes.Buffer
	for _, pass := range [7][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}} {
		for y := pass[1]; y < h; y += pass[3] {
			raw.WriteByte(0) // no filter
			for x := pass[0]; x < w; x += pass[2] {
				raw.WriteByte(img.GrayAt(x, y).Y)
			}
		}
	}
	data := fileOf(t, func(b *bytes.Buffer) error {
		z := zlib.NewWriter(b)
		if _, err := z.Write(raw.Bytes()); err != nil {
			return err
		}
		return z.Close()
	})
	header := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(w)), uint32(h))
	header = append(header, 8, 0, 0, 0, 1)
	return slices.Concat([]byte(pngMagic), pngChunk("IHDR", header), pngChunk("IDAT", data), pngChunk("IEND", nil))
}

// twoFrames returns a PNG file with its picture again as a second frame.
func twoFrames(file []byte) []byte {
	chunks := pngChunks(file)
	size := chunks[0][8:16]
	frame := func(number uint32) []byte {
		body := binary.BigEndian.AppendUint32(nil, number)
		return pngChunk("fcTL", slices.Concat(body, size, make([]byte, 8), []byte{0, 1, 0, 10, 0, 0}))
	}
	out := slices.Concat([]byte(pngMagic), chunks[0], pngChunk("acTL", []byte{0, 0, 0, 2, 0, 0, 0, 0}), frame(0))
	number := uint32(1)
	second := frame(number)
	for _, c := range chunks[1 : len(chunks)-1] {
		out = append(out, c...)
		if string(c[4:8]) == "IDAT" {
			number++
			second = append(second, pngChunk("fdAT", append(binary.BigEndian.AppendUint32(nil, number), c[8:len(c)-4]...))...)
		}
	}
	return slices.Concat(out, second, chunks[len(chunks)-1])
}

// TestEveryKindIsMeasured holds the undamaged files against their truth, or
// finds them refused.
func TestEveryKindIsMeasured(t *testing.T) {
	for _, noisy := range []bool{false, true} {
		s := ruled(9, noisy)
		for _, f := range everyKind(t, s) {
			path := writeIn(t, t.TempDir(), "joint-1."+f.ext, f.data)
			l, status := measured(t, path, 0.1)
			refused := f.name == "JPEG of ink colours" || f.name == "GIF animated"
			if refused != (status == statusRefused) || !refused && status != statusOK {
				t.Errorf("%s: status %d, %+v", f.name, status, l.Refused)
				continue
			}
			if want, got := s.Truth().Clearance*0.1/ruledPeriod, l.Results["clearance"]; !refused && (want < got.Lower || want > got.Upper) {
				t.Errorf("%s: clearance %+v does not hold %.5f", f.name, got, want)
			}
			t.Logf("%s: %d bytes, %+v", f.name, len(f.data), l.Results["clearance"])
		}
	}
}
