package jobcard

import (
	"errors"
	"fmt"
	"math"
	"path"
	"strconv"
	"strings"

	"pinlash/calib"
)

// The types below are none of TOML's own, or the decoder would set them past
// their checks. Each is zero when it was not stated.

// word is a name. Numbers are taken as they are written, so that joint = 7
// needs no quotes.
type word struct {
	is    string
	given bool
}

func (w *word) UnmarshalText(text []byte) error {
	*w = word{is: string(text), given: true}
	return nil
}

// number is any plain number.
type number struct {
	value float64
	given bool
}

// mostTyped is beyond any distance, temperature or percentage of this trade.
const mostTyped = 1e9

func (n *number) UnmarshalText(text []byte) error {
	v, err := strconv.ParseFloat(strings.ReplaceAll(string(text), "_", ""), 64)
	if err != nil || !(math.Abs(v) <= mostTyped) {
		return fmt.Errorf("%q is not a usable number", text)
	}
	*n = number{value: v, given: true}
	return nil
}

// amount is a number that cannot be below zero.
type amount struct{ number }

func (a *amount) UnmarshalText(text []byte) error {
	if err := a.number.UnmarshalText(text); err != nil {
		return err
	}
	if a.value < 0 {
		return fmt.Errorf("%s is below zero", text)
	}
	return nil
}

// percent is a limit of growth.
type percent struct{ number }

func (p *percent) UnmarshalText(text []byte) error {
	if err := p.number.UnmarshalText(text); err != nil {
		return err
	}
	if !(p.value > 0 && p.value <= 100) {
		return fmt.Errorf("a limit of %s %% does not lie above 0 and not above 100", text)
	}
	return nil
}

// count is a whole number of at least one.
type count struct{ n int }

// mostCounted is beyond the links of any chain.
const mostCounted = 100000

func (c *count) UnmarshalText(text []byte) error {
	v, err := strconv.Atoi(strings.ReplaceAll(string(text), "_", ""))
	switch {
	case err != nil || v > mostCounted:
		return fmt.Errorf("%q is not a usable whole number", text)
	case v < 1:
		return errors.New("must be at least 1")
	}
	c.n = v
	return nil
}

// height is a length of either sign.
type height struct {
	mm    calib.Length
	given bool
}

func (h *height) UnmarshalText(text []byte) error {
	v, err := calib.ParseLength(strings.ReplaceAll(string(text), "_", ""))
	if err != nil {
		return err
	}
	*h = height{mm: v, given: true}
	return nil
}

// gap is a length that may be zero.
type gap struct{ height }

func (g *gap) UnmarshalText(text []byte) error {
	if err := g.height.UnmarshalText(text); err != nil {
		return err
	}
	if g.mm < 0 {
		return fmt.Errorf("%v is below zero", g.mm)
	}
	return nil
}

// size is a length above zero.
type size struct{ height }

func (s *size) UnmarshalText(text []byte) error {
	if err := s.height.UnmarshalText(text); err != nil {
		return err
	}
	if s.mm <= 0 {
		return fmt.Errorf("%v is not above zero", s.mm)
	}
	return nil
}

// mostPixels is beyond the side of any photo.
const mostPixels = 1e6

// points are two points of a photo, x1,y1,x2,y2.
type points struct{ is string }

func (p *points) UnmarshalText(text []byte) error {
	v, err := four(string(text), "x1,y1,x2,y2")
	if err != nil {
		return err
	}
	if v[0] == v[2] && v[1] == v[3] {
		return errors.New("the two points are one")
	}
	p.is = string(text)
	return nil
}

// rectangle is a part of a photo, x,y,w,h in whole pixels.
type rectangle struct{ is string }

func (r *rectangle) UnmarshalText(text []byte) error {
	v, err := four(string(text), "x,y,w,h")
	if err != nil {
		return err
	}
	for _, n := range v {
		if n < 0 || n != math.Trunc(n) {
			return fmt.Errorf("want four numbers x,y,w,h in whole pixels, got %q", text)
		}
	}
	if v[2] == 0 || v[3] == 0 {
		return errors.New("the rectangle is empty")
	}
	r.is = string(text)
	return nil
}

func four(s, want string) (v [4]float64, err error) {
	fields := strings.Split(s, ",")
	if len(fields) != len(v) {
		return v, fmt.Errorf("want four numbers %s", want)
	}
	for i, field := range fields {
		v[i], err = strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || !(math.Abs(v[i]) <= mostPixels) {
			return v, fmt.Errorf("want four numbers %s in pixels, got %q", want, field)
		}
	}
	return v, nil
}

// pattern names photos of the card's folder and those below, as path.Match
// has it.
type pattern struct{ is string }

func (p *pattern) UnmarshalText(text []byte) error {
	s := strings.TrimPrefix(string(text), "./")
	if s == "" {
		return errors.New("want the name of a photo, like \"a1.jpg\" or \"a*.jpg\"")
	}
	if strings.HasPrefix(s, "/") {
		return fmt.Errorf("%q has to be named from the card's folder on", s)
	}
	for part := range strings.SplitSeq(s, "/") {
		switch part {
		case "..":
			return fmt.Errorf("%q lies outside the card's folder", s)
		case "", ".", "**":
			return fmt.Errorf("%q is not understood: * stands for any letters of one name", s)
		}
	}
	if _, err := path.Match(s, ""); err != nil {
		return fmt.Errorf("%q is not understood: * stands for any letters, ? for one, [ab] for one of these", s)
	}
	p.is = s
	return nil
}

// exact returns the one name that the pattern stands for, and false if it may
// stand for several.
func (p pattern) exact() (string, bool) {
	var name strings.Builder
	for i := 0; i < len(p.is); i++ {
		switch p.is[i] {
		case '*', '?', '[':
			return "", false
		case '\\':
			i++
		}
		name.WriteByte(p.is[i])
	}
	return name.String(), true
}
