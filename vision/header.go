package vision

import (
	"fmt"
	"unicode/utf8"

	"pinlash/measure/check"
)

// kind is a file format by its name.
type kind string

// The kinds of file that are opened.
const (
	kindJPEG kind = "JPEG"
	kindPNG  kind = "PNG"
	kindTIFF kind = "TIFF"
)

// magics are the first bytes of a file, by kind; a dot stands for any byte.
// The first match counts.
var magics = []struct {
	magic string
	kind  kind
}{
	{"\xff\xd8\xff", kindJPEG},
	{"\x89PNG\r\n\x1a\n", kindPNG},
	{"II*\x00....CR", "camera raw (CR2)"},
	{"II*\x00", kindTIFF},
	{"MM\x00*", kindTIFF},
	{"II+\x00", "BigTIFF"},
	{"MM\x00+", "BigTIFF"},
	{"IIRO", "camera raw (ORF)"},
	{"IIU\x00", "camera raw (RW2)"},
	{"FUJIFILMCCD-RAW", "camera raw (RAF)"},
	{"GIF8", "GIF"},
	{"BM", "BMP"},
	{"RIFF....WEBP", "WebP"},
	{"RIFF....AVI ", "AVI video"},
	{"....ftyphei", "HEIC"},
	{"....ftyphev", "HEIC"},
	{"....ftypmif1", "HEIC"},
	{"....ftypavif", "AVIF"},
	{"....ftypcrx", "camera raw (CR3)"},
	{"....ftyp", "video (MP4 or MOV)"},
	{"\x00\x00\x00\x0cjP  ", "JPEG 2000"},
	{"\xff\x4f\xff\x51", "JPEG 2000"},
	{"\x00\x00\x00\x0cJXL ", "JPEG XL"},
	{"\xff\x0a", "JPEG XL"},
	{"8BPS", "Photoshop"},
	{"%PDF", "PDF"},
	{"PK\x03\x04", "ZIP or office document"},
}

// kindOf returns the kind of file that data begins, "" if it is not known.
// Text is whatever has 512 bytes of UTF-8 without control characters.
func kindOf(data []byte) kind {
	for _, m := range magics {
		if hasMagic(data, m.magic) {
			return m.kind
		}
	}
	for start := data[:min(len(data), 512)]; utf8.FullRune(start); {
		r, n := utf8.DecodeRune(start)
		if r == utf8.RuneError || r < ' ' && r != '\t' && r != '\n' && r != '\r' {
			return ""
		}
		start = start[n:]
	}
	return "text"
}

func hasMagic(data []byte, magic string) bool {
	if len(data) < len(magic) {
		return false
	}
	for i := range len(magic) {
		if magic[i] != '.' && magic[i] != data[i] {
			return false
		}
	}
	return true
}

// refuseKind returns the refusal of a file that is no JPEG, PNG or TIFF.
func refuseKind(k kind, data []byte) error {
	message := fmt.Sprintf("the file begins with % x, which is no JPEG, PNG or TIFF", data[:min(len(data), 8)])
	if k != "" {
		message = fmt.Sprintf("the file looks like %s, not like JPEG, PNG or TIFF", k)
	}
	return check.Refuse(check.NotAnImage, message)
}
