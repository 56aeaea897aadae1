package vision

import (
	"bytes"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gocv.io/x/gocv"
)

// Sound files of all sorts of coding are seen to be sound.
func TestSoundScans(t *testing.T) {
	files := map[string][]byte{}
	for _, size := range []image.Point{{1, 1}, {7, 9}, {8, 8}, {17, 33}, {64, 48}, {129, 70}} {
		img := textured(size.X, size.Y)
		colour := recolour(image.NewRGBA(img.Rect), img)
		for i := range colour.Pix {
			colour.Pix[i] ^= byte(i % 7)
		}
		for _, quality := range []int{1, 50, 90, 100} {
			for name, of := range map[string]image.Image{"grey": img, "colour": colour} {
				var b bytes.Buffer
				if err := jpeg.Encode(&b, of, &jpeg.Options{Quality: quality}); err != nil {
					t.Fatal(err)
				}
				files[name+" of Go's encoder, "+size.String()] = b.Bytes()
			}
			for _, mode := range [][]int{{gocv.IMWriteJpegProgressive, 1}, {gocv.IMWriteJpegOptimize, 1}, {gocv.IMWriteJpegRstInterval, 1}, {gocv.IMWriteJpegRstInterval, 3, gocv.IMWriteJpegProgressive, 1}} {
				params := append([]int{gocv.IMWriteJpegQuality, quality}, mode...)
				files["grey of libjpeg, "+size.String()] = jpegOfMat(t, img.Pix, size, gocv.MatTypeCV8UC1, params)
				three := make([]byte, 0, 3*len(img.Pix))
				for i, v := range img.Pix {
					three = append(three, v, v^byte(i%5), v/2+byte(i%11))
				}
				files["colour of libjpeg, "+size.String()] = jpegOfMat(t, three, size, gocv.MatTypeCV8UC3, params)
				for name, data := range files {
					s, err := walkJPEG(data, small.withDefaults())
					if err == nil {
						err = damagedScans(s)
					}
					if err != nil {
						t.Errorf("%s, quality %d, %v: %v", name, quality, mode, err)
					}
				}
				clear(files)
			}
		}
	}
	photos, err := filepath.Glob("../testdata/*/*.jpg")
	if err != nil || len(photos) == 0 {
		t.Fatal(err, photos)
	}
	for _, path := range photos {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		s, err := walkJPEG(data, Limits{}.withDefaults())
		if err == nil {
			err = damagedScans(s)
		}
		if err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// textured is a picture in which every block of 8 x 8 differs from others.
func textured(w, h int) *image.Gray {
	r := rand.New(rand.NewPCG(uint64(w), uint64(h)))
	img := scene(w, h)
	for i := range img.Pix {
		img.Pix[i] += uint8(r.IntN(12))
	}
	return img
}

func jpegOfMat(t testing.TB, pix []byte, size image.Point, kind gocv.MatType, params []int) []byte {
	t.Helper()
	mat, err := gocv.NewMatFromBytes(size.Y, size.X, kind, pix)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, mat, params)
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return slices.Clone(buf.GetBytes())
}

// Of all bits of the picture data one in five is changed, one at a time. OpenCV
// shows every such picture; where the blocks behind the place are moved, it
// must have been seen before. Squares of 4 px stand out from what the last bits
// of a progressive file bring: those can be mixed up by one step of
// quantisation and still add up. So can, once in some hundred times, the codes
// of a scan that brings few coefficients.
func TestMovedBlocksAreSeen(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 96, 80))
	r := rand.New(rand.NewPCG(4, 4))
	for i := range img.Pix {
		img.Pix[i] = uint8(50 + 20*((i%96/4*7+i/96/4*5)%7) + r.IntN(6))
	}
	for name, params := range map[string][]int{
		"baseline":    {gocv.IMWriteJpegQuality, 80},
		"progressive": {gocv.IMWriteJpegQuality, 80, gocv.IMWriteJpegProgressive, 1},
		"restarts":    {gocv.IMWriteJpegQuality, 80, gocv.IMWriteJpegRstInterval, 24},
	} {
		data := jpegOfMat(t, img.Pix, img.Rect.Size(), gocv.MatTypeCV8UC1, params)
		good := bare(t, data)
		from := bytes.Index(data, []byte{0xff, markerSOS}) + 10
		moved, unseen, seen, flips, worst := 0, 0, 0, 0, 0
		for bit := 8 * from; bit < 8*(len(data)-2); bit += 5 {
			bad := slices.Clone(data)
			bad[bit/8] ^= 1 << (bit % 8)
			s, err := walkJPEG(bad, small.withDefaults())
			if err != nil {
				continue
			}
			flips++
			wrong := damagedScans(s) != nil
			if wrong {
				seen++
			}
			n := movedBlocks(good, bare(t, bad), img.Rect.Dx())
			if !wrong {
				worst = max(worst, n)
			}
			if n > 12 { // a tenth of the picture
				moved++
				if !wrong {
					unseen++
				}
			}
		}
		t.Logf("%s: of %d flips %d are seen, %d move more than 12 of 120 blocks, %d of these unseen; unseen at most %d blocks", name, flips, seen, moved, unseen, worst)
		allowed := 0
		if name == "progressive" {
			allowed = moved / 100
		}
		if unseen > allowed || moved < 100 {
			t.Errorf("%s: %d flips move blocks, %d are not seen", name, moved, unseen)
		}
	}
}

// bare decodes a file without any check; nil if OpenCV gives it up.
func bare(t *testing.T, data []byte) []byte {
	t.Helper()
	mat, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	if mat.Empty() {
		return nil
	}
	pix, err := mat.DataPtrUint8()
	if err != nil {
		t.Fatal(err)
	}
	return slices.Clone(pix)
}

// movedBlocks counts the 8 x 8 blocks that look less like the one that was in
// their place than like one that was up to eight places away.
func movedBlocks(was, is []byte, w int) int {
	if len(was) != len(is) {
		return 0 // not decoded
	}
	n, wide := 0, w/8
	all := wide * (len(was) / w / 8)
	for i := range all {
		own := unlikeBlock(was, is, w, i, i)
		for k := max(i-8, 0); k <= min(i+8, all-1); k++ {
			if unlikeBlock(was, is, w, k, i) < own {
				n++
				break
			}
		}
	}
	return n
}

// unlikeBlock is the variance of the difference between block i of one picture
// and block k of another. What is burnt out or black has no pattern.
func unlikeBlock(was, is []byte, w, i, k int) float64 {
	at := func(i int) int { return i/(w/8)*8*w + i%(w/8)*8 }
	var sum, square, count float64
	for j := range 64 {
		in := j/8*w + j%8
		b := is[at(k)+in]
		if b == 0 || b == 255 {
			continue
		}
		d := float64(was[at(i)+in]) - float64(b)
		sum += d
		square += d * d
		count++
	}
	if count < 16 {
		return 0
	}
	return square/count - sum*sum/count/count
}
