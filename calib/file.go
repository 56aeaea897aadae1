package calib

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/uncert"
)

// FileError is a saved scale that cannot be used. Path is empty until the one
// who opened the file fills it in.
type FileError struct {
	Path string
	Err  error
}

// Error names the file and what is wrong with it.
func (e *FileError) Error() string {
	if e.Path == "" {
		return "saved scale: " + e.Err.Error()
	}
	return e.Path + ": " + e.Err.Error()
}

// Unwrap returns what is wrong.
func (e *FileError) Unwrap() error { return e.Err }

const (
	fileKind = "pinlash scale"
	// fileVersion is that of a scale with a lens, which a program that knows
	// nothing of lenses must not use. Scales without are saved as version 1.
	fileVersion = 2
	maxFileSize = 64 << 10
)

// file is a saved scale: one JSON object of these fields, all of them needed
// but round, division_mm, marks and, in version 2, lens. Uncertainties are
// standard ones.
type file struct {
	Kind           string    `json:"kind"`
	Version        int       `json:"version"`
	Source         string    `json:"source"`
	Width          int       `json:"width_px"`
	Height         int       `json:"height_px"`
	MMPerPx        *float64  `json:"mm_per_px"`
	Budget         []part    `json:"budget"` // in mm/px
	Origin         []float64 `json:"origin_px"`
	AngleRad       *float64  `json:"angle_rad"`
	Gradient       []float64 `json:"gradient_per_px"`
	GradientU      []float64 `json:"gradient_u_per_px"` // along and across the scale
	GradientRead   []float64 `json:"gradient_read"`
	DistortionU    *float64  `json:"distortion_u_per_px2"`
	Foreshortening *float64  `json:"foreshortening"`
	Extent         *float64  `json:"extent_px"`
	Round          bool      `json:"round,omitempty"`
	DivisionMM     float64   `json:"division_mm,omitempty"`
	Marks          int       `json:"marks,omitempty"`
	Lens           *lensPart `json:"lens,omitempty"`
}

type lensPart struct {
	K1     float64       `json:"k1_per_px2"`
	K2     float64       `json:"k2_per_px4"`
	Centre [2]float64    `json:"centre_px"`
	Cov    [4][4]float64 `json:"covariance"` // of k1, k2, centre x, y
}

type part struct {
	Name string  `json:"name"`
	U    float64 `json:"u"`
	DF   float64 `json:"df,omitempty"` // 0: infinitely many
}

// Encode writes the scale for Decode. A scale that Decode would refuse is an
// error and nothing is written.
func Encode(w io.Writer, s Scale) error {
	if err := s.sound(); err != nil {
		return fmt.Errorf("scale not saved: %w", err)
	}
	f := file{
		Kind:           fileKind,
		Version:        1,
		Source:         s.Source,
		Width:          s.W,
		Height:         s.H,
		MMPerPx:        &s.MMPerPx.Value,
		Origin:         []float64{s.Origin.X, s.Origin.Y},
		AngleRad:       &s.AngleRad,
		Gradient:       []float64{s.Gradient.X, s.Gradient.Y},
		GradientU:      []float64{s.GradientU.X, s.GradientU.Y},
		GradientRead:   []float64{s.GradientRead.X, s.GradientRead.Y},
		DistortionU:    &s.DistortionU,
		Foreshortening: &s.Foreshortening,
		Extent:         &s.Extent,
		Round:          s.Round,
		DivisionMM:     s.DivisionMM,
		Marks:          s.Marks,
	}
	if l := s.Lens; l.read() {
		f.Version = fileVersion
		f.Lens = &lensPart{K1: l.K1, K2: l.K2, Centre: [2]float64{l.Centre.X, l.Centre.Y}, Cov: l.Cov}
	}
	for _, t := range s.MMPerPx.Budget {
		f.Budget = append(f.Budget, part(t))
	}
	out, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return fmt.Errorf("scale not saved: %w", err)
	}
	if len(out) >= maxFileSize {
		return fmt.Errorf("scale not saved: %d bytes, more than %d", len(out), maxFileSize)
	}
	_, err = w.Write(append(out, '\n'))
	return err
}

// Decode reads a saved scale. Its Source is then "file". Every fault of the
// file is a *FileError: too long, not JSON, an unknown or missing field, a
// later version, a figure that no scale has.
func Decode(r io.Reader) (Scale, error) {
	s, err := decode(r)
	if err != nil {
		return Scale{}, &FileError{Err: err}
	}
	return s, nil
}

func decode(r io.Reader) (Scale, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFileSize+1))
	if err != nil {
		return Scale{}, err
	}
	if len(data) > maxFileSize {
		return Scale{}, fmt.Errorf("longer than %d bytes", maxFileSize)
	}
	var head struct {
		Kind    string `json:"kind"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return Scale{}, fmt.Errorf("not a saved scale: %w", err)
	}
	if head.Kind != fileKind {
		return Scale{}, fmt.Errorf("not a saved scale: kind is %q, not %q", head.Kind, fileKind)
	}
	if head.Version < 1 || head.Version > fileVersion {
		return Scale{}, fmt.Errorf("saved scale of version %d; this program reads versions up to %d", head.Version, fileVersion)
	}
	f, err := strict(data)
	if err != nil {
		return Scale{}, err
	}
	if f.MMPerPx == nil || f.AngleRad == nil || f.DistortionU == nil || f.Foreshortening == nil || f.Extent == nil {
		return Scale{}, errors.New("one of mm_per_px, angle_rad, distortion_u_per_px2, foreshortening, extent_px is missing")
	}
	if len(f.Origin) != 2 || len(f.Gradient) != 2 || len(f.GradientU) != 2 || len(f.GradientRead) != 2 {
		return Scale{}, errors.New("origin_px, gradient_per_px, gradient_u_per_px and gradient_read must be pairs")
	}
	s := Scale{
		Origin:         r2.Vec{X: f.Origin[0], Y: f.Origin[1]},
		Gradient:       r2.Vec{X: f.Gradient[0], Y: f.Gradient[1]},
		GradientU:      r2.Vec{X: f.GradientU[0], Y: f.GradientU[1]},
		GradientRead:   r2.Vec{X: f.GradientRead[0], Y: f.GradientRead[1]},
		DistortionU:    *f.DistortionU,
		Foreshortening: *f.Foreshortening,
		Extent:         *f.Extent,
		Round:          f.Round,
		AngleRad:       *f.AngleRad,
		Source:         f.Source,
		DivisionMM:     f.DivisionMM,
		Marks:          f.Marks,
		W:              f.Width,
		H:              f.Height,
	}
	if l := f.Lens; l != nil {
		if head.Version < fileVersion {
			return Scale{}, fmt.Errorf("saved scale of version %d has a lens", head.Version)
		}
		s.Lens = Lens{K1: l.K1, K2: l.K2, Centre: r2.Vec{X: l.Centre[0], Y: l.Centre[1]}, Cov: l.Cov}
		if !s.Lens.read() {
			return Scale{}, errors.New("lens without a covariance")
		}
	}
	budget := make(uncert.Budget, len(f.Budget))
	for i, p := range f.Budget {
		budget[i] = uncert.Term(p)
	}
	// Combine takes sound figures only.
	if err := soundBudget(*f.MMPerPx, budget); err != nil {
		return Scale{}, err
	}
	s.MMPerPx = uncert.Combine(*f.MMPerPx, "mm/px", budget)
	if err := s.sound(); err != nil {
		return Scale{}, err
	}
	s.Source = "file"
	return s, nil
}

// strict decodes a file whose head was in order, without unknown fields.
func strict(data []byte) (file, error) {
	var f file
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(&f)
	return f, err
}

// sound returns what no scale of a photo has.
func (s Scale) sound() error {
	if err := soundBudget(s.MMPerPx.Value, s.MMPerPx.Budget); err != nil {
		return err
	}
	diagonal := math.Hypot(float64(s.W), float64(s.H))
	inside := func(v, limit float64) bool { return math.Abs(v) <= limit } // false for NaN
	switch {
	case len(s.MMPerPx.Budget) == 0:
		return errors.New("budget is empty")
	case !slices.Contains([]string{"rule", "gauge", "points", "grid", "file"}, s.Source):
		return fmt.Errorf("source %q is not rule, gauge, points, grid or file", s.Source)
	case s.W < 1 || s.H < 1 || s.W > 1e5 || s.H > 1e5:
		return fmt.Errorf("photo of %d x %d pixels", s.W, s.H)
	case !inside(s.Origin.X, 1e6) || !inside(s.Origin.Y, 1e6):
		return fmt.Errorf("origin %g, %g lies far outside any photo", s.Origin.X, s.Origin.Y)
	case !inside(s.AngleRad, 2*math.Pi):
		return fmt.Errorf("angle %g rad is more than a turn", s.AngleRad)
	case !inside(r2.Norm(s.slant())*diagonal, maxSlant):
		return fmt.Errorf("gradient %g, %g changes the scale by more than %g over the photo", s.Gradient.X, s.Gradient.Y, maxSlant)
	case !(s.GradientU.X >= 0 && s.GradientU.Y >= 0 && inside(s.GradientU.X*diagonal, 1) && inside(s.GradientU.Y*diagonal, 1)):
		return fmt.Errorf("uncertainty %g, %g of the gradient", s.GradientU.X, s.GradientU.Y)
	case !(s.GradientRead.X >= 0 && s.GradientRead.X <= 1 && s.GradientRead.Y >= 0 && s.GradientRead.Y <= 1):
		return fmt.Errorf("share %g, %g of the gradient read", s.GradientRead.X, s.GradientRead.Y)
	case !(s.DistortionU >= 0 && inside(s.DistortionU*diagonal*diagonal, 1)):
		return fmt.Errorf("uncertainty %g of the distortion", s.DistortionU)
	case !(s.Foreshortening >= 0 && inside(s.Foreshortening, 0.5)):
		return fmt.Errorf("foreshortening of %g", s.Foreshortening)
	case !(s.Extent >= 0 && inside(s.Extent, 1e6)):
		return fmt.Errorf("extent of %g px", s.Extent)
	case !(s.DivisionMM >= 0 && inside(s.DivisionMM, float64(longest))):
		return fmt.Errorf("division of %g mm", s.DivisionMM)
	case s.Lens.read() && !s.Lens.sound(s.W, s.H):
		return fmt.Errorf("lens of k1 %g, k2 %g", s.Lens.K1, s.Lens.K2)
	case s.Marks < 0 || s.Marks > 1e6:
		return fmt.Errorf("%d marks", s.Marks)
	}
	return nil
}

// soundBudget does the same for the pixel length and the parts of its
// uncertainty. A nanometre a pixel is beyond light, a metre beyond any chain.
func soundBudget(mmPerPx float64, b uncert.Budget) error {
	if !(mmPerPx >= 1e-6 && mmPerPx <= 1e3) {
		return fmt.Errorf("a pixel of %g mm", mmPerPx)
	}
	if len(b) > 64 {
		return fmt.Errorf("%d parts in the budget", len(b))
	}
	for _, t := range b {
		switch {
		case t.Name == "" || len(t.Name) > 200 || !utf8.ValidString(t.Name):
			return fmt.Errorf("part of the budget named %.200q", t.Name)
		case !(t.U >= 0 && t.U <= mmPerPx):
			return fmt.Errorf("part %q of the budget has an uncertainty of %g mm/px", t.Name, t.U)
		case t.DF != 0 && !(t.DF >= 1 && t.DF <= 1e12):
			return fmt.Errorf("part %q of the budget has %g degrees of freedom", t.Name, t.DF)
		}
	}
	return nil
}
