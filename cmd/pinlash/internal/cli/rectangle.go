package cli

import (
	"errors"
	"fmt"
	"image"
	"strconv"
	"strings"
)

// rectangle is the flag value "x,y,w,h" in whole pixels of the upright photo.
type rectangle image.Rectangle

func (r *rectangle) String() string {
	in := image.Rectangle(*r)
	if in.Empty() {
		return ""
	}
	return fmt.Sprintf("%d,%d,%d,%d", in.Min.X, in.Min.Y, in.Dx(), in.Dy())
}

func (r *rectangle) Set(s string) error {
	fields := strings.Split(s, ",")
	if len(fields) != 4 {
		return errors.New("want four numbers x,y,w,h")
	}
	var v [4]int
	for i, field := range fields {
		n, err := strconv.Atoi(strings.TrimSpace(field))
		if err != nil || n < 0 || n > 1e6 {
			return errors.New("want four numbers x,y,w,h in whole pixels, got " + strconv.Quote(field))
		}
		v[i] = n
	}
	if v[2] == 0 || v[3] == 0 {
		return errors.New("the rectangle is empty")
	}
	*r = rectangle(image.Rect(v[0], v[1], v[0]+v[2], v[1]+v[3]))
	return nil
}

func (r *rectangle) Type() string { return "x,y,w,h" }
