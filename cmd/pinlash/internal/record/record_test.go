package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"pinlash/calib"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/uncert"
)

func mm(value, u float64) uncert.Quantity {
	return uncert.Combine(value, "mm", uncert.Budget{{Name: "edge noise", U: u * 0.6}, {Name: "scale", U: u * 0.8}})
}

// sample is the example of the JSON contract.
func sample() Record {
	bins := []measure.WearBin{{AngleDeg: 0, Pin: 0.0123456789123, PinU: 0.001}, {AngleDeg: 10, Bore: -0.001, BoreU: 0.002}}
	return Record{
		Kind:    Joint,
		Photo:   Photo{Path: "a.jpg", SHA256: strings.Repeat("0f", 32)},
		Version: "0.1.0",
		Scale:   NewScale(calib.Scale{MMPerPx: mm(0.006001, 0.000002), Source: "rule", DivisionMM: 0.1, Marks: 97, AngleRad: 0.02 * math.Pi / 180}),
		Results: JointFigures(measure.JointResult{
			PinDiameter: mm(3.302, 0.0009), BoreDiameter: mm(3.4, 0.001), Clearance: mm(0.098, 0.0012), Play: mm(0.146, 0.003),
		}),
		Growth:  Figures{{"joint_growth", mm(0.096, 0.003)}},
		Profile: NewProfile(bins),
		Checks:  []check.Check{check.AtMost("edge_blur", 1.7, 4)},
		Notes:   []string{"the pin leans against the bush"},
	}
}

func line(t *testing.T, v any) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteLine(&b, v); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func validate(t *testing.T, line string) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(line))
	if err != nil {
		t.Fatal(err)
	}
	return schema.Validate(value)
}

func TestMeasuredLine(t *testing.T) {
	got := line(t, sample())
	const want = `{"kind":"joint","photo":"a.jpg","sha256":"0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f0f","pinlash":"0.1.0",` +
		`"scale":{"mm_per_px":0.006001,"u":0.000002,"source":"rule","division_mm":0.1,"marks":97,"angle_deg":0.02},` +
		`"results":{"pin_diameter":{"value":3.302,"unit":"mm","u":0.0009,`
	if !strings.HasPrefix(got, want) {
		t.Errorf("line starts\n%.400s\nwant\n%s", got, want)
	}
	if strings.Count(got, "\n") != 1 || !strings.HasSuffix(got, "\n") {
		t.Errorf("not one line: %q", got)
	}
	if err := validate(t, got); err != nil {
		t.Error(err)
	}
	if strings.Contains(got, `"offset"`) {
		t.Error("a figure that was not measured is printed")
	}
	if !strings.Contains(got, `"profile":[{"angle_deg":0,"pin":0.012346,"pin_u":0.001},{"angle_deg":10,"bore":-0.001,"bore_u":0.002}]`) {
		t.Errorf("profile not as expected in %s", got)
	}
}

func TestRefusedLine(t *testing.T) {
	r := Record{Kind: Joint, Photo: Photo{Path: "b.jpg"}, Refused: check.Refuse(check.NoScale, "no rule seen")}
	got := line(t, r)
	if want := `{"kind":"joint","photo":"b.jpg","refused":{"code":"no_scale","message":"no rule seen","remedy":"`; !strings.HasPrefix(got, want) {
		t.Errorf("got %s want %s...", got, want)
	}
	if err := validate(t, got); err != nil {
		t.Error(err)
	}
}

func TestEmptyListsArePrinted(t *testing.T) {
	r := sample()
	r.Checks, r.Notes, r.Growth, r.Profile = nil, nil, nil, nil
	got := line(t, r)
	if !strings.HasSuffix(got, `"checks":[],"notes":[]}`+"\n") {
		t.Errorf("got ...%s", got[len(got)-80:])
	}
	if strings.Contains(got, "growth") || strings.Contains(got, "profile") {
		t.Errorf("empty growth or profile printed: %s", got)
	}
	if err := validate(t, got); err != nil {
		t.Error(err)
	}
}

func TestSchemaRefuses(t *testing.T) {
	whole := strings.TrimSpace(line(t, sample()))
	for name, broken := range map[string]string{
		"unit of a length":  strings.Replace(whole, `"value":3.302,"unit":"mm"`, `"value":3.302,"unit":"in"`, 1),
		"missing bound":     strings.Replace(whole, `"lower":`, `"low":`, 1),
		"unknown key":       strings.Replace(whole, `"kind"`, `"kind2":1,"kind"`, 1),
		"unknown source":    strings.Replace(whole, `"source":"rule"`, `"source":"dpi"`, 1),
		"refused and value": strings.Replace(whole, `"results"`, `"refused":{"code":"no_scale","message":"m","remedy":"r"},"results"`, 1),
		"short hash":        strings.Replace(whole, "0f0f", "0f", 1),
	} {
		if broken == whole {
			t.Errorf("%s: the line was not changed", name)
		}
		if validate(t, broken) == nil {
			t.Errorf("%s: accepted: %s", name, broken)
		}
	}
}

func TestNoNumberForNoKnowledge(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		r := sample()
		r.Results[0].Value = v
		if err := WriteLine(&bytes.Buffer{}, r); err == nil {
			t.Errorf("a result of %g was printed", v)
		}
		r = sample()
		r.Scale.MMPerPx = digits(v)
		if err := WriteLine(&bytes.Buffer{}, r); err == nil {
			t.Errorf("a scale of %g was printed", v)
		}
	}
}

func TestHostileNames(t *testing.T) {
	for _, name := range []string{"a\nb.jpg", "q\"uote.jpg", "\x1b[2Jgone.jpg", "\xff\xfe.jpg", "\u202egpj.exe.jpg", "\u009b2J\x7f.jpg", "\U000e0001.jpg", "ü µ.jpg"} {
		r := sample()
		r.Photo.Path = name
		var table bytes.Buffer
		if err := WriteTable(&table, r, Style{}); err != nil {
			t.Fatal(err)
		}
		head, _, _ := strings.Cut(table.String(), "\n")
		if !utf8.ValidString(head) || strings.ContainsAny(head, "\x1b\u202e") || !strings.Contains(table.String(), "\n                 ") {
			t.Errorf("%q shows as %q", name, head)
		}
		got := line(t, r)
		if err := validate(t, got); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		for _, r := range strings.TrimSuffix(got, "\n") {
			if !unicode.IsPrint(r) {
				t.Errorf("%q: %q stands in the line", name, r)
			}
		}
		var back struct{ Photo string }
		if err := json.Unmarshal([]byte(got), &back); err != nil || strings.ToValidUTF8(name, "") != strings.ReplaceAll(back.Photo, "\ufffd", "") {
			t.Errorf("%q comes back as %q, %v", name, back.Photo, err)
		}
	}
	if got := SafeName("ü µ.jpg"); got != "ü µ.jpg" {
		t.Errorf("a printable name shows as %s", got)
	}
}

func TestTable(t *testing.T) {
	r := sample()
	r.Meaning = Say("The joint rocks %s.", mm(0.146, 0.003))
	r.Checks = append(r.Checks, check.AtMost("tilt", 4, 3))
	var b bytes.Buffer
	if err := WriteTable(&b, r, Style{Explain: true}); err != nil {
		t.Fatal(err)
	}
	const want = `a.jpg
                   value       95 % interval  unit
  pin diameter   3.30200  3.30024 to 3.30376  mm
      u 0.00072    64 %  scale
      u 0.00054    36 %  edge noise
      u 0.0009           together
  bore diameter`
	if !strings.HasPrefix(b.String(), want) {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	for _, part := range []string{
		"  The joint rocks 0.1460 mm.\n", "  Scale: 0.0060010 mm/px (u 0.0000020) from the rule, 97 marks of 0.1 mm at 0.0 deg.\n",
		"  Check: tilt is 4, limit 3.\n", "  Note: the pin leans against the bush.\n", "joint growth",
	} {
		if !strings.Contains(b.String(), part) {
			t.Errorf("no %q in\n%s", part, b.String())
		}
	}
	b.Reset()
	if err := WriteTable(&b, r, Style{Quiet: true}); err != nil {
		t.Fatal(err)
	}
	if lines := strings.Count(b.String(), "\n"); lines != 5 {
		t.Errorf("quiet prints %d lines, want one for each of 5 figures:\n%s", lines, b.String())
	}
}

func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.json")
	for _, text := range []string{"first", "second"} {
		if err := WriteFile(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil || string(got) != text {
			t.Errorf("got %q, %v", got, err)
		}
	}
	if err := WriteFile(dir, nil); err == nil {
		t.Error("a folder was replaced")
	}
	if err := WriteFile(os.DevNull, []byte("x")); err == nil {
		t.Error("a device was replaced")
	}
	if err := WriteFile(filepath.Join(dir, "none", "out.json"), nil); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("in a folder that is not there: %v", err)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("%d files left in the folder, %v", len(left), err)
	}
}
