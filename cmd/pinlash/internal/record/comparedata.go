package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/google/renameio/v2"
	"github.com/parquet-go/parquet-go"

	"pinlash/measure/uncert"
)

// DataFormat is the format of a file of compared figures.
type DataFormat string

// The formats, by the ends of the files' names.
const (
	CSVData     DataFormat = ".csv"
	ParquetData DataFormat = ".parquet"
)

// DataFormatOf tells the format from a file's name.
func DataFormatOf(path string) (DataFormat, error) {
	switch f := DataFormat(strings.ToLower(filepath.Ext(path))); f {
	case CSVData, ParquetData:
		return f, nil
	}
	return "", fmt.Errorf("%s ends neither in .csv nor in .parquet", SafeName(path))
}

// dataRow is a figure of one photo with all its levels. In Parquet what is not
// known is null; in CSV it is an empty cell.
type dataRow struct {
	Specimen   string  `parquet:"specimen,optional,dict"`
	Revision   string  `parquet:"revision,optional,dict"`
	Chain      string  `parquet:"chain,optional,dict"`
	Inspection string  `parquet:"inspection,optional,dict"`
	DistanceKM float64 `parquet:"distance_km,optional"`
	Hours      float64 `parquet:"hours,optional"`
	Oil        string  `parquet:"oil,optional,dict"`
	Joint      string  `parquet:"joint,optional"`
	Repeat     int64   `parquet:"repeat,optional"`
	By         string  `parquet:"by,optional,dict"`
	Kind       string  `parquet:"kind,dict"`
	Photo      string  `parquet:"photo"`
	SHA256     string  `parquet:"sha256,optional"`
	Figure     string  `parquet:"figure,dict"`
	Value      float64 `parquet:"value"`
	Unit       string  `parquet:"unit,dict"`
	U          float64 `parquet:"u"`
	Lower      float64 `parquet:"lower"`
	Upper      float64 `parquet:"upper"`
}

func (r dataRow) cells() []string {
	repeat := ""
	if r.Repeat > 0 {
		repeat = strconv.FormatInt(r.Repeat, 10)
	}
	return []string{
		csvText(r.Specimen), csvText(r.Revision), csvText(r.Chain), csvText(r.Inspection), known(r.DistanceKM), known(r.Hours),
		csvText(r.Oil), csvText(r.Joint), repeat, csvText(r.By), csvText(r.Kind), csvText(r.Photo), csvText(r.SHA256),
		csvText(r.Figure), csvNumber(r.Value), csvText(r.Unit), csvNumber(r.U), csvNumber(r.Lower), csvNumber(r.Upper),
	}
}

// dataColumns is the dictionary: a line for each column, in their order.
var dataColumns = []struct{ name, kind, unit, meaning string }{
	{"specimen", "text", "", "drive or machine that the chain is from"},
	{"revision", "text", "", "revision of the chain as a part; revisions are compared"},
	{"chain", "text", "", "this very chain; with specimen and revision the unit that counts as independent"},
	{"inspection", "text", "", "round of photos"},
	{"distance_km", "number", "km", "run by the inspection; empty where not known"},
	{"hours", "number", "h", "run by the inspection; empty where not known"},
	{"oil", "text", "", "lubricant"},
	{"joint", "text", "", "joint of the chain, or place of a span along it; joints of one chain are not independent"},
	{"repeat", "whole number", "", "of the photo of this joint by this person, from 1"},
	{"by", "text", "", "who took the photo"},
	{"kind", "text", "", "way of measuring: joint (end-on), play (from motion) or span"},
	{"photo", "text", "", "file name of the photo, the first of several"},
	{"sha256", "text", "", "hash of that file"},
	{"figure", "text", "", "name of the figure"},
	{"value", "number", "as in unit", "the figure, as in the results, without rounding"},
	{"unit", "text", "", "unit of value, u, lower and upper"},
	{"u", "number", "as in unit", "standard uncertainty of value for this photo; what all photos share, as the scale, is in it"},
	{"lower", "number", "as in unit", "lower end of the 95 % interval of value"},
	{"upper", "number", "as in unit", "upper end of it"},
}

// DataFile is a file of compared figures being written, one row for each. It
// appears whole, with its dictionary beside it, or not at all.
type DataFile struct {
	path string
	to   *renameio.PendingFile
	csv  *csv.Writer
	rows *parquet.GenericWriter[dataRow]
	one  [1]dataRow
}

// dataRowsHeld is how many rows a Parquet file keeps in memory before they are
// written.
const dataRowsHeld = 100_000

// NewDataFile begins a file in the format that the end of its name tells.
// It has to be closed; without Commit before that nothing is left.
func NewDataFile(path string, b Basis) (*DataFile, error) {
	format, err := DataFormatOf(path)
	if err != nil {
		return nil, err
	}
	for _, at := range []string{path, DictionaryOf(path)} {
		if info, err := os.Stat(at); err == nil && !info.Mode().IsRegular() {
			return nil, &fs.PathError{Op: "write", Path: at, Err: errors.New("not a plain file")}
		}
	}
	to, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(0o644))
	if err != nil {
		return nil, err
	}
	f := &DataFile{path: path, to: to}
	if format == ParquetData {
		sources, err := marshal(b.Sources)
		if err != nil {
			return nil, errors.Join(err, to.Cleanup())
		}
		f.rows = parquet.NewGenericWriter[dataRow](to, parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(dataRowsHeld),
			parquet.CreatedBy("pinlash", b.Version, ""), parquet.KeyValueMetadata("pinlash.results", string(sources)),
			parquet.KeyValueMetadata("pinlash.dictionary", string(dictionary())))
		return f, nil
	}
	f.csv = csv.NewWriter(to)
	heads := make([]string, len(dataColumns))
	for i, c := range dataColumns {
		heads[i] = c.name
	}
	if _, err := io.WriteString(to, "\ufeff"); err != nil {
		return nil, errors.Join(err, to.Cleanup())
	}
	if err := f.csv.Write(heads); err != nil {
		return nil, errors.Join(err, to.Cleanup())
	}
	return f, nil
}

// Add writes a figure of m.
func (f *DataFile) Add(m *Measured, figure string, q uncert.Quantity) error {
	l := m.Levels
	row := dataRow{
		Specimen: l.Specimen, Revision: l.Revision, Chain: l.Chain, Inspection: l.Inspection, DistanceKM: l.DistanceKM, Hours: l.Hours,
		Oil: l.Oil, Joint: l.Joint, Repeat: int64(l.Repeat), By: l.By, Kind: string(m.Kind), Photo: m.Photo(), SHA256: m.SHA256(),
		Figure: figure, Value: q.Value, Unit: q.Unit, U: q.U, Lower: q.Lower, Upper: q.Upper,
	}
	if f.csv != nil {
		return f.csv.Write(row.cells())
	}
	f.one[0] = row
	_, err := f.rows.Write(f.one[:])
	return err
}

// Commit puts the file and its dictionary in their places.
func (f *DataFile) Commit() error {
	if f.csv != nil {
		f.csv.Flush()
		if err := f.csv.Error(); err != nil {
			return err
		}
	} else if err := f.rows.Close(); err != nil {
		return err
	}
	if err := WriteFile(DictionaryOf(f.path), dictionary()); err != nil {
		return err
	}
	return f.to.CloseAtomicallyReplace()
}

// Close removes what was not committed.
func (f *DataFile) Close() error { return f.to.Cleanup() }

// DictionaryOf is the name of the dictionary beside a file of figures.
func DictionaryOf(path string) string {
	return strings.TrimSuffix(path, filepath.Ext(path)) + ".dictionary.csv"
}

func dictionary() []byte {
	var b bytes.Buffer
	b.WriteString("\ufeff")
	out := csv.NewWriter(&b)
	rows := [][]string{{"column", "type", "unit", "meaning"}}
	for _, c := range dataColumns {
		rows = append(rows, []string{c.name, c.kind, c.unit, c.meaning})
	}
	if err := out.WriteAll(rows); err != nil {
		panic("record: " + err.Error()) // a buffer takes everything
	}
	return b.Bytes()
}
