package cli

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
)

// twoPoints is the flag value "x1,y1,x2,y2" in pixels of the upright photo,
// the centre of its first pixel being 0,0.
type twoPoints [2]r2.Vec

func (p *twoPoints) String() string {
	if *p == (twoPoints{}) {
		return ""
	}
	var parts []string
	for _, v := range p {
		parts = append(parts, strconv.FormatFloat(v.X, 'f', -1, 64), strconv.FormatFloat(v.Y, 'f', -1, 64))
	}
	return strings.Join(parts, ",")
}

func (p *twoPoints) Set(s string) error {
	fields := strings.Split(s, ",")
	if len(fields) != 4 {
		return errors.New("want four numbers x1,y1,x2,y2")
	}
	var v [4]float64
	for i, field := range fields {
		n, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || math.IsNaN(n) || math.Abs(n) > 1e6 {
			return errors.New("want four numbers x1,y1,x2,y2 in pixels, got " + strconv.Quote(field))
		}
		v[i] = n
	}
	points := twoPoints{{X: v[0], Y: v[1]}, {X: v[2], Y: v[3]}}
	if points[0] == points[1] {
		return errors.New("the two points are one")
	}
	*p = points
	return nil
}

func (p *twoPoints) Type() string { return "x1,y1,x2,y2" }

// lengthFlag adds a flag for a length, whose help does not speak of a default
// of zero: none is stated then.
func lengthFlag(f *pflag.FlagSet, l *calib.Length, name, usage string) {
	f.Var(l, name, usage)
	f.Lookup(name).DefValue = ""
}

// changed says which flags the user gave.
type changed func(name string) bool

// given returns those of the names that the user gave.
func (c changed) given(names ...string) []string {
	var out []string
	for _, name := range names {
		if c(name) {
			out = append(out, "--"+name)
		}
	}
	return out
}

// together refuses one of two flags without the other.
func (c changed) together(a, b string) error {
	switch {
	case c(a) && !c(b):
		return usageErrorf("--%s needs --%s", a, b)
	case c(b) && !c(a):
		return usageErrorf("--%s needs --%s", b, a)
	}
	return nil
}

// atMostOne refuses flags that say the same thing twice.
func (c changed) atMostOne(names ...string) error {
	if got := c.given(names...); len(got) > 1 {
		return usageErrorf("give only one of %s", strings.Join(got, ", "))
	}
	return nil
}

// positive refuses lengths of zero and below among the flags given.
func (c changed) positive(lengths map[string]calib.Length) error {
	for name, l := range lengths {
		if c(name) && l <= 0 {
			return usageErrorf("--%s of %v must be above zero", name, l)
		}
	}
	return nil
}

// scaleOptions say how a photo's scale is known.
type scaleOptions struct {
	division        calib.Length
	file            string
	saved           *calib.Scale // what is in the file, nil until it is read
	gauge           calib.Length // diameter
	points          twoPoints
	distance        calib.Length
	tolerance       calib.Length // limit of the rule's error
	planeOffset     calib.Length
	workingDistance calib.Length
	samePlane       bool
	temperature     number
}

func (o *scaleOptions) addFlags(f *pflag.FlagSet) {
	lengthFlag(f, &o.division, "division", "`length` between neighbouring small marks of the rule in the photo")
	lengthFlag(f, &o.gauge, "gauge", "diameter of the round gauge in the photo, seen end-on; `length` like 5mm")
	f.Var(&o.points, "points", "two points of the photo, in pixels, whose --distance is known")
	lengthFlag(f, &o.distance, "distance", "distance of the two --points")
	lengthFlag(f, &o.tolerance, "division-tolerance", "how far off the rule may be between its outermost marks in the photo; 0.017 % of it if not stated")
	f.Var(&o.temperature, "temperature", "`degC` of photo, scale and chain, all of steel; 20 if not stated")
}

// addFileFlag adds the saved scale, for commands that do not make one.
func (o *scaleOptions) addFileFlag(f *pflag.FlagSet) {
	f.StringVar(&o.file, "scale-file", "", "`file` with a scale saved at the same setting of the microscope")
}

// addParallaxFlags adds the heights, for commands that measure something else
// than the scale.
func (o *scaleOptions) addParallaxFlags(f *pflag.FlagSet) {
	lengthFlag(f, &o.planeOffset, "plane-offset", "height of the pin's end over the plane of the scale, positive towards the lens")
	lengthFlag(f, &o.workingDistance, "working-distance", "distance from the lens to the plane of the scale")
	f.BoolVar(&o.samePlane, "same-plane", false, "state that what is measured lies in the plane of the scale in the photo; kept in the notes")
}

func (o *scaleOptions) validate(given changed) error {
	return errors.Join(
		given.positive(map[string]calib.Length{
			"division": o.division, "distance": o.distance, "working-distance": o.workingDistance,
			"division-tolerance": o.tolerance, "gauge": o.gauge,
		}),
		given.atMostOne("division", "gauge", "points", "grid"),
		given.atMostOne("scale-file", "points"),
		given.together("points", "distance"),
		given.together("plane-offset", "working-distance"),
		given.atMostOne("same-plane", "plane-offset"),
		o.validateScaleSeen(given),
	)
}

// validateScaleSeen refuses statements on the scale in the photo where the
// command line says that there is none to be read: a kept scale has its own
// tolerance and temperature in it.
func (o *scaleOptions) validateScaleSeen(given changed) error {
	if given("division-tolerance") && !given("division") && !given("grid") {
		return usageErrorf("--division-tolerance needs --division")
	}
	if given("scale-file") && !given("division") && !given("gauge") {
		for _, name := range []string{"same-plane", "temperature"} {
			if given(name) {
				return usageErrorf("--%s is a statement on a scale in the photo, and --scale-file shows none", name)
			}
		}
	}
	return nil
}
