package vision

import (
	"fmt"

	"pinlash/measure/check"
	"pinlash/vision/raster"
)

// Limits bounds what Open and Decode accept. A zero field means its default.
// No picture is accepted that would take more than 1 GB of memory on its way:
// of four channels of 16 bits that is one of 55 million pixels.
type Limits struct {
	MaxPixels int   // width times height; 64 million by default
	MaxBytes  int64 // of the file; 300 million by default
	MinSide   int   // pixels of the shorter side; 200 by default
	// Curve16 is the tone curve of files with 16 bits a channel: sRGB by
	// default, raster.Linear for those of machine cameras. Files with 8 bits
	// are always read as sRGB.
	Curve16 raster.Curve
}

func (l Limits) withDefaults() Limits {
	if l.MaxPixels == 0 {
		l.MaxPixels = 64e6
	}
	if l.MaxBytes == 0 {
		l.MaxBytes = 300e6
	}
	if l.MinSide == 0 {
		l.MinSide = 200
	}
	if l.Curve16 == "" {
		l.Curve16 = raster.SRGB
	}
	return l
}

// refuseBytes returns a refusal if a file of n bytes is empty or too large.
func (l Limits) refuseBytes(n int64) error {
	if n == 0 {
		return unreadable("the file is empty")
	}
	if n > l.MaxBytes {
		return check.Refuse(check.TooLarge, fmt.Sprintf("the file has %.0f MB, limit %.0f MB", float64(n)/1e6, float64(l.MaxBytes)/1e6))
	}
	return nil
}

const (
	mostMemory = 1e9 // bytes for one picture
	// searchBytes is what a pixel takes beside its decoded value: in linear
	// light, and while rule and joint are looked for (8 to 9.5 were measured).
	searchBytes = 10
)

// refuseSize returns a refusal if w x h pixels, each of depth bytes while the
// picture is decoded, are too many or too few.
func (l Limits) refuseSize(w, h, depth int) error {
	if w <= 0 || h <= 0 {
		return unreadable("the header gives a size of %d x %d px", w, h)
	}
	if h > l.MaxPixels/w {
		return check.Refuse(check.TooLarge, fmt.Sprintf("the picture has %d x %d px = %.1f million, limit %.1f million", w, h, float64(w)*float64(h)/1e6, float64(l.MaxPixels)/1e6))
	}
	if need := float64(w) * float64(h) * float64(depth+searchBytes); need > mostMemory {
		return check.Refuse(check.TooLarge, fmt.Sprintf("the picture of %d x %d px with %d bytes a pixel would take %.1f GB of memory, limit %.1f GB", w, h, depth, need/1e9, mostMemory/1e9))
	}
	if min(w, h) < l.MinSide {
		return unreadable("the picture has %d x %d px, its shorter side needs at least %d px", w, h, l.MinSide)
	}
	return nil
}

func unreadable(format string, args ...any) error {
	return check.Refuse(check.Unreadable, fmt.Sprintf(format, args...))
}
