// Package testdata has the figures that tests are held against. Every file says
// in its head where it is from.
package testdata

import (
	"embed"
	"encoding/csv"
	"strconv"
	"testing"
)

//go:embed published/*.csv crosscheck/*.csv sweep/*.csv
var files embed.FS

// Table returns the rows of a file such as published/grubbs.csv, its heading
// first, without comments.
func Table(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := files.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // nothing was written
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s is empty", name)
	}
	return rows
}

// Number reads a number of a table.
func Number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
