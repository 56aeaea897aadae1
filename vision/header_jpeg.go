package vision

import (
	"bytes"
	"encoding/binary"
)

// Marker codes of ITU-T T.81, table B.1.
const (
	markerSOF0  = 0xc0 // frame: baseline
	markerSOF2  = 0xc2 // frame: progressive
	markerDHT   = 0xc4 // Huffman tables
	markerJPG   = 0xc8 // reserved
	markerDAC   = 0xcc // conditions of arithmetic coding
	markerSOF15 = 0xcf // the last kind of frame
	markerRST0  = 0xd0 // restart, to RST7
	markerRST7  = 0xd7
	markerSOI   = 0xd8 // start of image
	markerEOI   = 0xd9 // end of image
	markerSOS   = 0xda // scan
	markerDQT   = 0xdb // quantisation tables
	markerDRI   = 0xdd // restart interval
	markerAPP0  = 0xe0 // JFIF
	markerAPP14 = 0xee // Adobe: which colour space
	markerTEM   = 0x01
)

// maxScans is far above what encoders write for a progressive picture (about
// ten) and bounds the time a file of many empty scans can take.
const maxScans = 100

// jpegStream is a JPEG file with its markers in order.
type jpegStream struct {
	w, h int // as coded, before any turning
	// unitW and unitH are the pixels of one unit of all channels.
	unitW, unitH int
	// core is the file without its comments, metadata and whatever follows
	// the end mark.
	core []byte
}

// walkJPEG follows the markers of a JPEG file from its start to its end mark
// (ITU-T T.81, annex B). Like common decoders it forgives stray bytes between
// segments. It refuses, as unreadable, a file that ends early, lacks restart
// marks or holds too little data for its size, and the kinds of JPEG that are
// not grey or three-coloured, Huffman coded and of 8 bits; and a picture whose
// size lim refuses.
func walkJPEG(data []byte, lim Limits) (jpegStream, error) {
	core := make([]byte, 0, len(data))
	core = append(core, 0xff, markerSOI)
	var s jpegStream
	var scans, coded, restart int
	for pos := 2; ; {
		skip := bytes.IndexByte(data[pos:], 0xff)
		if skip < 0 || pos+skip+1 >= len(data) {
			return jpegStream{}, unreadable("the JPEG file is cut off: no end mark in %d bytes", len(data))
		}
		pos += skip + 1
		marker := data[pos]
		switch {
		case marker == 0xff: // fill byte before a marker
			continue
		case marker == 0, marker == markerTEM, markerRST0 <= marker && marker <= markerRST7: // stray
			pos++
			continue
		case marker == markerSOI:
			return jpegStream{}, unreadable("the JPEG file begins a second picture at byte %d before the first one ends", pos-1)
		case marker == markerEOI:
			if scans == 0 {
				return jpegStream{}, unreadable("the JPEG file holds no picture data")
			}
			// Every 8 x 8 block takes at least one bit.
			if blocks := (s.w + 7) / 8 * ((s.h + 7) / 8); coded < blocks/8 {
				return jpegStream{}, unreadable("the JPEG file holds %d bytes of picture data, %d x %d px need at least %d", coded, s.w, s.h, blocks/8)
			}
			s.core = append(core, 0xff, markerEOI)
			return s, nil
		}
		pos++
		length := 0
		if pos+2 <= len(data) {
			length = int(binary.BigEndian.Uint16(data[pos:]))
		}
		if length < 2 || pos+length > len(data) {
			return jpegStream{}, unreadable("the JPEG file is cut off or damaged at byte %d of %d", pos, len(data))
		}
		start, body := pos-2, data[pos+2:pos+length]
		pos += length

		switch {
		case marker == markerDHT, marker == markerDQT, marker == markerAPP0, marker == markerAPP14:
		case marker == markerDRI:
			if len(body) != 2 {
				return jpegStream{}, unreadable("the JPEG file has a damaged restart interval")
			}
			restart = int(binary.BigEndian.Uint16(body))
		case markerSOF0 <= marker && marker <= markerSOF15 && marker != markerJPG && marker != markerDAC:
			if s.w != 0 {
				return jpegStream{}, unreadable("the JPEG file has two frames")
			}
			var err error
			if s.w, s.h, err = readFrame(marker, body); err != nil {
				return jpegStream{}, err
			}
			s.unitW, s.unitH = unitSize(body)
			depth := 1
			if marker == markerSOF2 {
				depth += 2 * int(body[5]) // all coefficients are kept to the end
			}
			if err := lim.refuseSize(s.w, s.h, depth); err != nil {
				return jpegStream{}, err
			}
		case marker == markerSOS:
			if s.w == 0 {
				return jpegStream{}, unreadable("the JPEG file has picture data before its size")
			}
			if scans++; scans > maxScans {
				return jpegStream{}, unreadable("the JPEG file has more than %d scans", maxScans)
			}
			n, err := scanLength(data[pos:], restart)
			if err != nil {
				return jpegStream{}, err
			}
			pos += n
			coded += n
		default: // metadata and comments
			continue
		}
		core = append(core, data[start:pos]...)
	}
}

// readFrame returns the size given in the body of a frame header (T.81,
// B.2.2).
func readFrame(marker byte, body []byte) (w, h int, err error) {
	if marker > markerSOF2 {
		return 0, 0, unreadable("the JPEG file is lossless, hierarchical or arithmetic coded (frame type %d); save it as a common JPEG, PNG or TIFF", marker-markerSOF0)
	}
	if len(body) < 6 || len(body) != 6+3*int(body[5]) {
		return 0, 0, unreadable("the JPEG file has a damaged frame header")
	}
	if bits := body[0]; bits != 8 {
		return 0, 0, unreadable("the JPEG file has %d bits a channel, only 8 can be read; save it as 16-bit PNG or TIFF", bits)
	}
	if n := body[5]; n != 1 && n != 3 {
		return 0, 0, unreadable("the JPEG file has %d colour channels (ink colours?), only grey and RGB can be read; save it as RGB", n)
	}
	return int(binary.BigEndian.Uint16(body[3:])), int(binary.BigEndian.Uint16(body[1:])), nil
}

// unitSize returns the size of a unit by the body of a frame header: a block
// of 8 x 8, or as many as the sampling factors say (T.81, A.2).
func unitSize(body []byte) (w, h int) {
	w, h = 8, 8
	if body[5] == 1 {
		return w, h
	}
	for at := 7; at < len(body); at += 3 {
		w, h = max(w, 8*int(body[at]>>4)), max(h, 8*int(body[at]&15))
	}
	return w, h
}

// scanLength returns the number of bytes of coded data before the next marker
// that is no restart mark. Restart marks count round from 0 to 7; one missing
// means that data are missing.
func scanLength(data []byte, restart int) (int, error) {
	next := byte(markerRST0)
	for pos := 0; ; {
		skip := bytes.IndexByte(data[pos:], 0xff)
		if skip < 0 || pos+skip+1 >= len(data) {
			return 0, unreadable("the JPEG file is cut off within its picture data")
		}
		pos += skip
		switch marker := data[pos+1]; {
		case marker == 0: // a coded 0xff
			pos += 2
		case marker == 0xff: // fill byte
			pos++
		case markerRST0 <= marker && marker <= markerRST7:
			if restart == 0 || marker != next {
				return 0, unreadable("the JPEG file lacks part of its picture data: its restart marks are out of order")
			}
			next = markerRST0 + (next-markerRST0+1)%8
			pos += 2
		default:
			return pos, nil
		}
	}
}
