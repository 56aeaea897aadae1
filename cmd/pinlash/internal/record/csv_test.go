package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"iter"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pinlash/measure/check"
)

func oneLine(lines ...Line) iter.Seq2[Line, error] {
	return func(yield func(Line, error) bool) {
		for _, l := range lines {
			if !yield(l, nil) {
				return
			}
		}
	}
}

// table reads back what WriteCSV made: a map of the columns for each row.
func table(t *testing.T, lines ...any) []map[string]string {
	t.Helper()
	var all []Line
	for _, v := range lines {
		decoded, err := Decode([]byte(line(t, v)))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, decoded)
	}
	var b bytes.Buffer
	if err := WriteCSV(&b, oneLine(all...)); err != nil {
		t.Fatal(err)
	}
	text, ok := strings.CutPrefix(b.String(), "\xef\xbb\xbf")
	if !ok {
		t.Fatalf("the table begins with %.20q and not with the mark of UTF-8", b.String())
	}
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		cells := map[string]string{}
		for i, name := range rows[0] {
			if row[i] != "" {
				cells[name] = row[i]
			}
		}
		out = append(out, cells)
	}
	return out
}

func find(t *testing.T, rows []map[string]string, figure, index string) map[string]string {
	t.Helper()
	i := slices.IndexFunc(rows, func(r map[string]string) bool { return r["figure"] == figure && r["index"] == index })
	if i < 0 {
		t.Fatalf("no row for %s %s in %v", figure, index, rows)
	}
	return rows[i]
}

func hasCells(t *testing.T, row map[string]string, want ...string) {
	t.Helper()
	for i := 0; i < len(want); i += 2 {
		if row[want[i]] != want[i+1] {
			t.Errorf("%s is %q, want %q, in %v", want[i], row[want[i]], want[i+1], row)
		}
	}
}

func TestCSV(t *testing.T) {
	lines := everyLine()
	joint := table(t, lines["joint, batch"])
	if len(joint) != 5 {
		t.Errorf("a joint of 5 figures has %d rows", len(joint))
	}
	hasCells(t, find(t, joint, "play", ""),
		"specimen", "tensile 3", "revision", "B", "chain", "7", "inspection", "2", "distance_km", "61500.5", "hours", "1200",
		"oil", "5W-30", "joint", "12", "repeat", "2", "by", "bench 1", "kind", "joint", "photo", "a.jpg",
		"value", "0.146", "unit", "mm", "u", "0.003", "distinct_from_zero", "", "refused", "")

	span := table(t, lines["span, batch"])
	hasCells(t, find(t, span, "pitch", "1"), "link", "outer", "value", "9.53", "unit", "mm")
	hasCells(t, find(t, span, "elongation", ""), "unit", "%", "link", "")

	clip := table(t, lines["play, clip, batch"])
	hasCells(t, find(t, clip, "play", ""), "distinct_from_zero", "true")
	hasCells(t, find(t, clip, "pull_direction", ""), "value", "-91.25", "distinct_from_zero", "")
	hasCells(t, find(t, table(t, lines["play, photos"]), "play", ""), "distinct_from_zero", "false", "specimen", "")

	stretch := table(t, lines["stretch, batch"])
	hasCells(t, find(t, stretch, "elongation", ""), "kind", "stretch", "verdict", "too close to call", "chain", "7", "photo", "")
	hasCells(t, find(t, stretch, "pin diameter", ""), "verdict", "past the limit")
	hasCells(t, find(t, stretch, "inlet lag_cam", ""), "value", "1.8", "unit", "deg")

	refused := table(t, lines["refused, batch"])
	if len(refused) != 1 {
		t.Fatalf("a refused photo has %d rows", len(refused))
	}
	hasCells(t, refused[0], "photo", "b.jpg", "refused", "no_scale", "message", "no rule seen", "figure", "", "value", "", "specimen", "tensile 3")
	if refused[0]["remedy"] == "" {
		t.Error("a refused photo has no remedy")
	}
}

// All digits of the JSON must come back from the table.
func TestCSVKeepsDigits(t *testing.T) {
	r := sample()
	r.Results[0].Quantity = mm(1.0/3, 1e-12)
	row := find(t, table(t, r), "pin_diameter", "")
	decoded, err := Decode([]byte(line(t, r)))
	if err != nil {
		t.Fatal(err)
	}
	want := decoded.Record.Results[0]
	for name, v := range map[string]float64{"value": want.Value, "u": want.U, "lower": want.Lower, "upper": want.Upper} {
		if got, err := strconv.ParseFloat(row[name], 64); err != nil || got != v {
			t.Errorf("%s is %s, want %v", name, row[name], v)
		}
	}
}

func TestCSVNoFormulas(t *testing.T) {
	for name, want := range map[string]string{
		`=HYPERLINK("x")`: `'=HYPERLINK("x")`,
		"+1":              "'+1",
		"-2+3.jpg":        "'-2+3.jpg",
		"@SUM(A1)":        "'@SUM(A1)",
		"＝1+1":            "'＝1+1",
		"\t=1":            `"\t=1"`, // quoted like all that is not printable
		"\r=1":            `"\r=1"`,
		"a\nb.jpg":        `"a\nb.jpg"`,
		"a,\"b\".jpg":     "a,\"b\".jpg",
		"über µ.jpg":      "über µ.jpg",
		"a-b=c.jpg":       "a-b=c.jpg",
	} {
		r := sample()
		r.Photo.Path = name
		r.Batch = batchOf(nil)
		r.Batch.Levels.Specimen = name
		r.Growth[0].Name = name
		for i, row := range table(t, r) {
			hasCells(t, row, "photo", want, "specimen", want)
			if i == 4 {
				hasCells(t, row, "figure", want)
			}
		}
		refused := Record{Kind: Joint, Photo: Photo{Path: name}, Refused: &check.Refusal{Code: "no_scale", Message: name, Remedy: name}}
		hasCells(t, table(t, refused)[0], "photo", want, "message", want, "remedy", want)
	}
	if got := csvText("\xff.jpg"); got != `"\xff.jpg"` {
		t.Errorf("a name that is not UTF-8 shows as %s", got)
	}
	for _, cell := range []string{find(t, table(t, everyLine()["play, clip"]), "pull_direction", "")["value"]} {
		if strings.HasPrefix(cell, "'") {
			t.Errorf("a number became text: %s", cell)
		}
	}
}

// full takes only so many bytes.
type full struct{ left int }

var errFull = errors.New("full")

func (f *full) Write(p []byte) (int, error) {
	if len(p) > f.left {
		return 0, errFull
	}
	f.left -= len(p)
	return len(p), nil
}

func TestCSVErrors(t *testing.T) {
	var lines []Line
	for range 200 {
		r := sample()
		lines = append(lines, Line{Record: &r})
	}
	for _, room := range []int{0, 3, 5000} {
		if err := WriteCSV(&full{room}, oneLine(lines...)); !errors.Is(err, errFull) {
			t.Errorf("with room for %d bytes: %v", room, err)
		}
	}
	broken := errors.New("broken")
	err := WriteCSV(&bytes.Buffer{}, func(yield func(Line, error) bool) { yield(Line{}, broken) })
	if !errors.Is(err, broken) {
		t.Errorf("a line that could not be read: %v", err)
	}
}
