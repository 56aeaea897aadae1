package cli

import (
	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/record"
)

// outputOptions say how results are shown.
type outputOptions struct {
	json    bool
	quiet   bool
	explain bool
	overlay string // folder
	units   record.Units
}

func (o *outputOptions) addFlags(f *pflag.FlagSet) {
	o.addFigureFlags(f)
	f.StringVar(&o.overlay, "overlay", "", "write to this `folder` each photo with what was found drawn on it (PNG)")
}

// addFigureFlags adds the flags for figures that no photo stands behind.
func (o *outputOptions) addFigureFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.json, "json", false, "print one JSON object a line")
	f.BoolVar(&o.quiet, "quiet", false, "print the figures only, without heads, sentences and notes")
	inchFlag(f, &o.units)
	f.BoolVar(&o.explain, "explain", false, "print under each figure the parts of its uncertainty, largest first")
}

// inchFlag adds the flag for who thinks in inches.
func inchFlag(f *pflag.FlagSet, u *record.Units) {
	f.BoolVar(&u.Inch, "inch", false, "show lengths in inches; JSON, CSV and notes stay in mm")
}

func (o *outputOptions) validate(given changed) error {
	if o.json && (o.quiet || o.explain) {
		return usageErrorf("--json goes neither with --quiet nor with --explain")
	}
	if given("overlay") && o.overlay == "" {
		return usageErrorf("--overlay wants a folder")
	}
	return nil
}
