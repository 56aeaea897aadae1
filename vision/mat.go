package vision

import (
	"gocv.io/x/gocv"
)

// decodeJPEG decodes a walked JPEG file to 8-bit luma, W x H values row by
// row, and calls use with them. The values are C memory that lives until use
// returns.
func decodeJPEG(s jpegStream, use func(luma []uint8)) error {
	// The orientation is applied by us, the same way for every kind of file.
	mat, err := gocv.IMDecode(s.core, gocv.IMReadGrayScale|gocv.IMReadIgnoreOrientation)
	if err != nil {
		return unreadable("the JPEG file cannot be decoded: %v", err)
	}
	defer mat.Close()
	if mat.Empty() {
		return unreadable("the JPEG file is damaged: it cannot be decoded")
	}
	if mat.Type() != gocv.MatTypeCV8UC1 || mat.Cols() != s.w || mat.Rows() != s.h {
		return unreadable("the JPEG file is damaged: its header gives %d x %d px, decoding %d x %d", s.w, s.h, mat.Cols(), mat.Rows())
	}
	luma, err := mat.DataPtrUint8()
	if err != nil {
		return unreadable("the JPEG file cannot be decoded: %v", err)
	}
	use(luma)
	return nil
}
