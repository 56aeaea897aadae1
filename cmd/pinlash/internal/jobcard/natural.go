package jobcard

import (
	"cmp"
	"strings"
)

// natural compares two paths folder by folder as people sort names, joint-2
// before joint-10. Only equal paths are equal.
func natural(a, b string) int {
	restA, restB := a, b
	for restA != "" && restB != "" {
		var partA, partB string
		partA, restA, _ = strings.Cut(restA, "/")
		partB, restB, _ = strings.Cut(restB, "/")
		if c := naturalName(partA, partB); c != 0 {
			return c
		}
	}
	return cmp.Or(cmp.Compare(len(restA), len(restB)), strings.Compare(a, b))
}

// naturalName compares runs of digits by their number, and letters without
// their case.
func naturalName(a, b string) int {
	for a != "" && b != "" {
		runA, runB := digits(a), digits(b)
		if runA > 0 && runB > 0 {
			x, y := strings.TrimLeft(a[:runA], "0"), strings.TrimLeft(b[:runB], "0")
			if c := cmp.Or(cmp.Compare(len(x), len(y)), strings.Compare(x, y)); c != 0 {
				return c
			}
			a, b = a[runA:], b[runB:]
			continue
		}
		if c := cmp.Compare(small(a[0]), small(b[0])); c != 0 {
			return c
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

// digits counts those with which s begins.
func digits(s string) int {
	return len(s) - len(strings.TrimLeft(s, "0123456789"))
}

func small(c byte) byte {
	if 'A' <= c && c <= 'Z' {
		return c + 'a' - 'A'
	}
	return c
}
