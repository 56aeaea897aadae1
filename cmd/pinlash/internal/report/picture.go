package report

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"image"
	"image/draw"
	"image/gif"
	"image/jpeg"
	_ "image/png" // overlays are PNG
	"io/fs"
	"runtime"
	"strings"

	"github.com/disintegration/imaging"
	"golang.org/x/sync/errgroup"

	"pinlash/cmd/pinlash/internal/record"
)

const (
	largestFile   = 64 << 20 // bytes of a picture that is read
	largestPixels = 60e6
	largestFrames = 64 // of an animation
	mostBytes     = 60 << 10
	leastBytes    = 12 << 10
	// allBytes is shared by all pictures: text makes a third more of it, so
	// that two hundred photos stay well below 15 MB.
	allBytes = 6 << 20
)

// picture is a picture inside the page.
type picture struct {
	URL  template.URL
	W, H int
}

// shown is what there is to see of a record: Still, and of a motion both
// states to be blinked between when asked for.
type shown struct {
	Stills  []picture
	Motions [][2]picture
	Missing []string // sentences about pictures that cannot be shown
}

// loadPictures reads the pictures of every record, a few at a time.
func loadPictures(folder fs.FS, records []*record.Record) []shown {
	all := make([]shown, len(records))
	total := 0
	for _, r := range records {
		if r.Batch == nil {
			continue
		}
		for _, file := range r.Batch.Pictures {
			total++
			if isMotion(file) {
				total++ // two states
			}
		}
	}
	room := mostBytes
	if total > 0 {
		room = max(leastBytes, min(mostBytes, allBytes/total))
	}
	var work errgroup.Group // never fails: what goes wrong is said on the page
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i, r := range records {
		if r.Batch == nil {
			continue
		}
		work.Go(func() error {
			for _, file := range r.Batch.Pictures {
				if err := all[i].add(folder, file, room); err != nil {
					all[i].Missing = append(all[i].Missing, fmt.Sprintf("The picture %s cannot be shown: %v.", record.SafeName(file), err))
				}
			}
			return nil
		})
	}
	_ = work.Wait()
	return all
}

func isMotion(file string) bool { return strings.HasSuffix(strings.ToLower(file), ".gif") }

// add reads one picture. A broken file may make a decoder panic; that is the
// picture's fault and not the page's.
func (s *shown) add(folder fs.FS, file string, room int) (err error) {
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("broken: %v", fault)
		}
	}()
	data, err := readPicture(folder, file)
	if err != nil {
		return err
	}
	if isMotion(file) {
		states, err := bothStates(data)
		if err != nil {
			return err
		}
		var pair [2]picture
		for i, state := range states {
			if pair[i], err = embedded(state, room); err != nil {
				return err
			}
		}
		s.Motions = append(s.Motions, pair)
		return nil
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return err
	}
	still, err := embedded(img, room)
	if err == nil {
		s.Stills = append(s.Stills, still)
	}
	return err
}

func readPicture(folder fs.FS, file string) ([]byte, error) {
	switch {
	case folder == nil:
		return nil, errors.New("the folder of the results is not known")
	case !fs.ValidPath(file):
		return nil, errors.New("its name does not lie in the folder of the results")
	}
	info, err := fs.Stat(folder, file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, errors.New("it is not in the folder of the results")
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, errors.New("not a plain file")
	case info.Size() > largestFile:
		return nil, fmt.Errorf("%d bytes are too many", info.Size())
	}
	data, err := fs.ReadFile(folder, file)
	if err != nil {
		return nil, err
	}
	config, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if pixels := float64(config.Width) * float64(config.Height); pixels > largestPixels || pixels < 1 {
		return nil, fmt.Errorf("%d x %d pixels cannot be shown", config.Width, config.Height)
	}
	return data, nil
}

// bothStates returns the first frame of an animation and the one halfway
// through, each as it is seen.
func bothStates(data []byte) ([2]image.Image, error) {
	var states [2]image.Image
	film, err := gif.DecodeAll(bytes.NewReader(data))
	if err != nil {
		return states, err
	}
	if n := len(film.Image); n > largestFrames {
		return states, fmt.Errorf("%d frames are too many", n)
	}
	canvas := image.NewNRGBA(image.Rect(0, 0, film.Config.Width, film.Config.Height))
	half := len(film.Image) / 2
	for i, frame := range film.Image[:half+1] {
		before := imaging.Clone(canvas)
		draw.Draw(canvas, frame.Bounds(), frame, frame.Bounds().Min, draw.Over)
		if i == 0 {
			states[0] = imaging.Clone(canvas)
		}
		if i == half {
			states[1] = imaging.Clone(canvas)
		}
		switch film.Disposal[i] {
		case gif.DisposalBackground:
			draw.Draw(canvas, frame.Bounds(), image.Transparent, image.Point{}, draw.Src)
		case gif.DisposalPrevious:
			canvas = before
		}
	}
	return states, nil
}

// steps are the sizes and JPEG qualities a picture is tried at, best first,
// with the bytes it takes to expect of each, as a share of the first's.
var steps = []struct {
	side, quality int
	share         float64
}{{900, 72, 1}, {900, 58, 0.78}, {760, 58, 0.56}, {640, 54, 0.38}, {520, 50, 0.24}, {400, 45, 0.13}, {300, 40, 0.07}}

// embedded returns the picture scaled down until it fits into so many bytes,
// or at the last step.
func embedded(img image.Image, room int) (picture, error) {
	// Paletted pictures crash package imaging when a pixel lies outside the
	// palette, and JPEG knows no transparency.
	ground := image.NewRGBA(img.Bounds())
	draw.Draw(ground, ground.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(ground, ground.Bounds(), img, img.Bounds().Min, draw.Over)
	var plain image.Image = ground
	var b bytes.Buffer
	whole := 0.0 // bytes the first step takes, or would
	for i, step := range steps {
		if whole*step.share > 1.25*float64(room) && i < len(steps)-1 {
			continue // not worth the try
		}
		if size := plain.Bounds().Size(); max(size.X, size.Y) > step.side {
			plain = imaging.Fit(plain, step.side, step.side, imaging.Box)
		}
		b.Reset()
		if err := jpeg.Encode(&b, opaque(plain), &jpeg.Options{Quality: step.quality}); err != nil {
			return picture{}, err
		}
		if b.Len() <= room {
			break
		}
		whole = float64(b.Len()) / step.share
	}
	size := plain.Bounds().Size()
	return picture{
		URL: template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes())), //nolint:gosec // made here
		W:   size.X, H: size.Y,
	}, nil
}

// opaque is a picture without transparency in the layout that the encoder is
// quick with.
func opaque(img image.Image) image.Image {
	if p, ok := img.(*image.NRGBA); ok {
		return &image.RGBA{Pix: p.Pix, Stride: p.Stride, Rect: p.Rect}
	}
	return img
}
