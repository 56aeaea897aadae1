package vision

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"sync"
	"syscall"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/vision/raster"
)

// ClipLimits bounds what is read of a clip. The zero value stands for 3000
// frames of 20 million pixels in a file of 2 GB.
type ClipLimits struct {
	MaxBytes  int64
	MaxFrames int
	MaxPixels int // of one frame
}

func (l ClipLimits) withDefaults() ClipLimits {
	if l.MaxBytes == 0 {
		l.MaxBytes = 2 << 30
	}
	if l.MaxFrames == 0 {
		l.MaxFrames = 3000
	}
	if l.MaxPixels == 0 {
		l.MaxPixels = 20_000_000
	}
	return l
}

// Clip is a film of a joint being rocked. Of its frames only two are kept.
type Clip struct {
	Path string
	W, H int // pixels
	// Frames is the number of frames that can be read, Rate how many make a
	// second by the file's word, 0 when it says nothing.
	Frames int
	Rate   float64
	// First is the first frame, which all others are held against, Far the
	// one least like it, number FarIndex.
	First, Far raster.Gray
	FarIndex   int
	limits     ClipLimits
}

const (
	minClipFrames = 8    // fewer cannot show two stops
	minClipSide   = 160  // pixels
	fastFrame     = 2.0  // pixels a frame: above, a frame is sheared and blurred
	unlikeReach   = 4    // pixels of the small frame in which it is laid over the first
	clipTiles     = 60   // tiles of each link, enough for a hundred frames
	farBlur       = 0.35 // sharpness of the first frame below which Far is not taken (L)
)

// OpenClip reads a clip once: it counts the frames and keeps the first and the
// one that differs most from it.
//
// A file that cannot be read is an error of package fs, one that is no clip or
// no use a *check.Refusal: not_an_image, unreadable or too_large. A cancelled
// context is its own error.
func OpenClip(ctx context.Context, path string, lim ClipLimits) (Clip, error) {
	lim = lim.withDefaults()
	if err := clipFile(path, lim); err != nil {
		return Clip{}, err
	}
	c := Clip{Path: path, limits: lim}
	var seeker farFrame
	err := c.each(ctx, func(i int, luma []uint8) {
		if i == 0 {
			c.First = c.light(luma)
		}
		if seeker.offer(c.small(luma), i) {
			c.Far, c.FarIndex = c.light(luma), i
		}
		c.Frames++
	})
	if err != nil {
		return Clip{}, err
	}
	if c.Frames < minClipFrames {
		return Clip{}, refuseClip(check.Unreadable, "the clip has %d readable frames, at least %d are needed", c.Frames, minClipFrames)
	}
	return c, nil
}

func refuseClip(code check.Code, format string, a ...any) error {
	r := check.Refuse(code, fmt.Sprintf(format, a...))
	r.Remedy = "film the joint being rocked for some seconds, pausing at both ends, camera on a stand, and save it as AVI (MJPEG) or MP4"
	return r
}

// clipFile holds a file against the limits and its first bytes against the
// kinds of clip that are opened.
func clipFile(path string, lim ClipLimits) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if info.IsDir() {
		return &fs.PathError{Op: "read", Path: path, Err: syscall.EISDIR}
	}
	if !info.Mode().IsRegular() {
		return &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("not a regular file: %w", fs.ErrInvalid)}
	}
	if info.Size() > lim.MaxBytes {
		return refuseClip(check.TooLarge, "the clip has %d MB, at most %d MB are read", info.Size()>>20, lim.MaxBytes>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, 16)
	if _, err := io.ReadFull(f, head); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return refuseClip(check.NotAnImage, "the file holds %d bytes, which is no clip", info.Size())
		}
		return err
	}
	switch {
	case bytes.HasPrefix(head, []byte("RIFF")) && bytes.Equal(head[8:12], []byte("AVI ")), // AVI
		bytes.Equal(head[4:8], []byte("ftyp")),                // MP4, MOV
		bytes.HasPrefix(head, []byte{0x1a, 0x45, 0xdf, 0xa3}): // Matroska, WebM
		return nil
	}
	return refuseClip(check.NotAnImage, "the file is no AVI, MP4 or Matroska clip")
}

// quietly keeps the decoders' own messages off the terminal, unless somebody
// asked for them: what is wrong with a clip is what the refusal says.
var quietly = sync.OnceFunc(func() {
	const level = "OPENCV_FFMPEG_LOGLEVEL"
	if os.Getenv(level) == "" {
		os.Setenv(level, "-8") // AV_LOG_QUIET
	}
})

// each decodes the clip and hands over every frame's luma, W x H bytes that
// live until use returns.
func (c *Clip) each(ctx context.Context, use func(i int, luma []uint8)) error {
	quietly()
	// Named, so that no other way of OpenCV's to read a name is tried: as a
	// pattern of pictures, or as a pipeline to be built. Its own reader of AVI
	// files does not survive a frame that says it is huge.
	v, err := gocv.VideoCaptureFileWithAPI(c.Path, gocv.VideoCaptureFFmpeg)
	if err != nil {
		return refuseClip(check.Unreadable, "the clip cannot be opened: its coding is not known here, or it is damaged")
	}
	defer v.Close()
	c.W, c.H = int(v.Get(gocv.VideoCaptureFrameWidth)), int(v.Get(gocv.VideoCaptureFrameHeight))
	if c.W < minClipSide || c.H < minClipSide {
		return refuseClip(check.Unreadable, "the clip's frames are %d x %d pixels, at least %d x %d are needed", c.W, c.H, minClipSide, minClipSide)
	}
	if c.W > c.limits.MaxPixels/c.H {
		return refuseClip(check.TooLarge, "the clip's frames have %d x %d pixels, at most %d million are read", c.W, c.H, c.limits.MaxPixels/1_000_000)
	}
	if rate := v.Get(gocv.VideoCaptureFPS); rate > 0 && rate < 1e4 {
		c.Rate = rate
	}
	colour, grey := gocv.NewMat(), gocv.NewMat()
	defer colour.Close()
	defer grey.Close()
	for i := 0; ; i++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !v.Read(&colour) || colour.Empty() {
			return nil
		}
		if i >= c.limits.MaxFrames {
			return refuseClip(check.TooLarge, "the clip has more than %d frames; cut it down to the rocking", c.limits.MaxFrames)
		}
		if colour.Cols() != c.W || colour.Rows() != c.H {
			return refuseClip(check.Unreadable, "frame %d of the clip has %d x %d pixels, the file says %d x %d", i, colour.Cols(), colour.Rows(), c.W, c.H)
		}
		luma := colour
		switch colour.Type() {
		case gocv.MatTypeCV8UC3:
			gocv.CvtColor(colour, &grey, gocv.ColorBGRToGray)
			luma = grey
		case gocv.MatTypeCV8UC1:
		default:
			return refuseClip(check.Unreadable, "the clip's pixels are of no kind that is read here")
		}
		data, err := luma.DataPtrUint8()
		if err != nil {
			return refuseClip(check.Unreadable, "the clip cannot be decoded: %v", err)
		}
		use(i, data)
	}
}

var srgb8 = raster.SRGB.Table(1 << 8)

// light returns a frame in linear light.
func (c *Clip) light(luma []uint8) raster.Gray {
	g := raster.NewGray(c.W, c.H)
	g.Clip = float32(raster.SRGB.Light(clipLevel))
	for i, v := range luma {
		g.Pix[i] = srgb8[v]
	}
	return g
}

// small returns a frame at most coarseWidth wide, in shares of its encoded
// values: light enough to tell frames apart.
func (c *Clip) small(luma []uint8) raster.Gray {
	k := (max(c.W, c.H) + coarseWidth - 1) / coarseWidth
	g := raster.NewGray(c.W/k, c.H/k)
	sum := make([]int32, g.W)
	for y := range g.H {
		clear(sum)
		for dy := range k {
			row := luma[(y*k+dy)*c.W:][:c.W]
			for x := range sum {
				for _, v := range row[x*k : x*k+k] {
					sum[x] += int32(v)
				}
			}
		}
		out := g.Row(y)
		for x, v := range sum {
			out[x] = float32(v) / float32(255*k*k)
		}
	}
	return g
}

// farFrame finds the frame that differs most from the first, once the
// camera's movement is taken out to a pixel of a small copy.
type farFrame struct {
	first relief // small
	most  float64
}

// offer says whether the frame is the one farthest from the first so far.
func (f *farFrame) offer(small raster.Gray, i int) bool {
	r := newRelief(small)
	if i == 0 {
		f.first = r
		return false
	}
	if r.mean() < farBlur*f.first.mean() {
		return i == 1 // some frame has to be there
	}
	away := f.unlike(r)
	if away > f.most {
		f.most = away
		return true
	}
	return i == 1
}

// unlike returns by how much the tiles of a frame match those of the first
// less than fully, where they match best on the whole.
func (f *farFrame) unlike(r relief) float64 {
	const side, width = matchSide, 2*unlikeReach + 1
	floor := 0.1 * side * side * f.first.mean()
	var sum [width * width]float64
	row := make([]float64, width*width)
	n := 0.0
	for y := unlikeReach + 2; y+side+unlikeReach+2 < r.H; y += side {
		for x := unlikeReach + 2; x+side+unlikeReach+2 < r.W; x += side {
			matchAround(row, f.first, r, x, y, 0, 0, unlikeReach, floor)
			for i, v := range row {
				sum[i] += v
			}
			n++
		}
	}
	best := math.Inf(-1)
	for _, v := range sum {
		best = max(best, v)
	}
	return n - best
}

// Follow reads the clip again and holds every frame against the first. A frame
// in which the links are not found, or move by more than two pixels, is left
// out. Progress, if not nil, is told how many of the frames are done.
//
// Errors and checks are those of FindMotion for the first frame and Far.
func (c Clip) Follow(ctx context.Context, hint MotionHint, progress func(done, of int)) (geom.Series, []check.Check, error) {
	p, fixed, moving, m, checks, err := findLinks(c.First, c.Far, hint)
	s := geom.Series{Motion: m, Rate: c.Rate}
	if err != nil {
		return s, checks, err
	}
	f := newFollower(p, m, fixed, moving, clipTiles)
	// One frame is decoded while the one before is measured.
	frames := make(chan raster.Gray, 1)
	var failed error
	go func() {
		defer close(frames)
		failed = c.each(ctx, func(_ int, luma []uint8) {
			frames <- c.light(luma)
		})
	}()
	for g := range frames {
		s.Frames = append(s.Frames, f.frame(g, len(s.Frames)))
		if progress != nil {
			progress(len(s.Frames), c.Frames)
		}
	}
	if failed != nil {
		return s, checks, failed
	}
	leaveFast(s.Frames)
	used := len(s.Used())
	enough := check.AtLeast("frames used", float64(used), minClipFrames)
	checks = append(checks, enough)
	if !enough.OK {
		return s, checks, refuseClip(check.Blurred, "the links were seen sharp and whole in %d of %d frames, at least %d are needed", used, len(s.Frames), minClipFrames)
	}
	return s, checks, nil
}

// leaveFast leaves out frames on the way to or from which camera or link moved
// by more than fastFrame pixels.
func leaveFast(frames []geom.Frame) {
	fast := make([]bool, len(frames))
	for i := range frames {
		for _, k := range []int{i - 1, i + 1} {
			if k < 0 || k >= len(frames) || frames[i].Left != "" || frames[k].Left != "" {
				continue
			}
			way := r2.Norm(r2.Sub(frames[i].Way, frames[k].Way))
			shift := r2.Norm(r2.Sub(frames[i].Shift, frames[k].Shift))
			fast[i] = fast[i] || way > fastFrame || shift > fastFrame
		}
	}
	for i := range frames {
		if fast[i] {
			frames[i].Left = leftFast
		}
	}
}
