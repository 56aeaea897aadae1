package vision

import (
	"bytes"
	"time"

	"github.com/bep/imagemeta"
)

// metadata is what is taken from a file's tags. The density tag is left alone
// on purpose: it says nothing about the size of a pixel in the scene.
type metadata struct {
	orientation int // 1 to 8, as in EXIF
	taken       time.Time
	preview     bool // TIFF: the first picture is a reduced one
	planar      bool // TIFF: one plane a colour
}

// readMetadata reads the tags of a JPEG, PNG or TIFF file. Tags that are
// missing or broken count as not there: a photo with bad tags is still a
// photo.
func readMetadata(k kind, data []byte) metadata {
	m := metadata{orientation: 1}
	formats := map[kind]imagemeta.ImageFormat{kindJPEG: imagemeta.JPEG, kindPNG: imagemeta.PNG, kindTIFF: imagemeta.TIFF}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R:            bytes.NewReader(data),
		ImageFormat:  formats[k],
		Sources:      imagemeta.EXIF,
		LimitNumTags: 1000,
		LimitTagSize: 64,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			switch t.Tag {
			case "Orientation", "SubfileType", "DNGVersion", "PlanarConfiguration":
				return t.Namespace == "IFD0" // not those of the thumbnail
			case "DateTimeOriginal":
				return true
			}
			return false
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			switch t.Tag {
			case "Orientation":
				if o := wholeNumber(t.Value); 1 <= o && o <= 8 {
					m.orientation = o
				}
			case "SubfileType":
				m.preview = m.preview || wholeNumber(t.Value)&1 != 0
			case "DNGVersion":
				m.preview = true
			case "PlanarConfiguration":
				m.planar = wholeNumber(t.Value) == 2
			case "DateTimeOriginal":
				if text, ok := t.Value.(string); ok {
					m.taken, _ = time.Parse("2006:01:02 15:04:05", text)
				}
			}
			return nil
		},
	})
	return m
}

// wholeNumber returns the value of a tag that is one whole number, else 0.
func wholeNumber(v any) int {
	switch v := v.(type) {
	case uint8:
		return int(v)
	case uint16:
		return int(v)
	case uint32:
		return int(v)
	}
	return 0
}
