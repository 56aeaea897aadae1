package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

func quantity(value, u float64, unit string) uncert.Quantity {
	return uncert.Combine(value, unit, uncert.Budget{{Name: "edge noise", U: u}, {Name: "repeats", U: u / 3, DF: 4}})
}

// batchOf is a whole batch object for figures.
func batchOf(figures Figures) *Batch {
	return &Batch{
		Task: strings.Repeat("5c", 32),
		Levels: Levels{
			Specimen: "tensile 3", Revision: "B", Chain: "7", Inspection: "2", Joint: "12", Repeat: 2,
			By: "bench 1", DistanceKM: 61500.5, Hours: 1200, Oil: "5W-30",
		},
		Settings: map[string]string{"division": "0.1mm", "chain": "06B"},
		Files:    []File{{"a.jpg", strings.Repeat("0f", 32)}, {"gone.jpg", ""}},
		Pictures: []string{"overlays/a.jpg"},
		Meaning:  "The joint rocks 0.146 mm.",
		Budgets:  NewBudgets(figures),
	}
}

// everyLine has a line of every kind with every field that it can have.
func everyLine() map[string]any {
	joint := sample()
	joint.Decision = "within the limit of 3 %"

	scale := sample()
	scale.Kind, scale.Growth, scale.Profile = Ruler, nil, nil
	scale.Results = Figures{{"mm_per_px", quantity(0.006001, 2e-6, "mm/px")}}

	inner := quantity(9.62, 0.004, "mm")
	percent := quantity(1.2, 0.05, "%")
	span := sample()
	span.Kind, span.Profile = Span, nil
	span.Reference = "pin to pin"
	span.Results = SpanFigures(measure.SpanResult{
		Span: quantity(28.7, 0.01, "mm"), MeanPitch: quantity(9.57, 0.003, "mm"), MeanInner: &inner, Elongation: &percent,
	})
	span.Pitches = NewPitches([]measure.Pitch{
		{Index: 0, Link: geom.InnerLink, Length: quantity(9.62, 0.004, "mm")},
		{Index: 1, Link: geom.OuterLink, Length: quantity(9.53, 0.004, "mm")},
		{Index: 2, Link: geom.UnknownLink, Length: quantity(9.61, 0.004, "mm")},
	})
	span.Growth = Figures{{"joint_growth", quantity(0.11, 0.02, "mm")}, {"chain_elongation", percent}}
	span.Readings = []Reading{
		{"begins with an inner link", Figures{{"joint_growth", quantity(0.12, 0.01, "mm")}}},
		{"begins with an outer link", Figures{{"joint_growth", quantity(0.10, 0.01, "mm")}}},
	}

	distinct := true
	clip := sample()
	clip.Kind, clip.Profile = Play, nil
	clip.Distinct = &distinct
	clip.Results = PlayFigures(measure.PlayResult{
		Play: mm(0.146, 0.003), PullDirection: quantity(-91.25, 0.4, "deg"), Swing: quantity(0, 0.01, "deg"),
	})
	clip.Clip = NewClip(measure.PlayResult{
		Photos: [2]int{1, 1}, Reversals: 1,
		Track: []measure.TrackPoint{
			{Frame: 0, AlongMM: 0, State: geom.Together},
			{Frame: 1, AlongMM: 0.0712345678, State: geom.Unknown},
			{Frame: 2, AlongMM: 0.146, State: geom.Apart},
			{Frame: 3, Left: "too blurred"},
		},
	})
	apart := false
	pair := clip
	pair.Clip, pair.Distinct = nil, &apart
	pair.Photos = []StatePhoto{{"a.jpg", strings.Repeat("0f", 32), Together}, {"b.jpg", strings.Repeat("f0", 32), Apart}}

	refused := Record{Kind: Joint, Photo: Photo{Path: "b.jpg"}, Refused: check.Refuse(check.NoScale, "no rule seen")}

	limit := wear.Limit{Name: "trade limit", Value: 3, Unit: "%", Source: "stated", Provenance: "given"}
	decision := NewDecision(wear.Decision{Verdict: wear.TooClose, PastLeast: 0.2, PastMost: 0.4, MoreJoints: 3, Settles: "3 more joints"})
	stretch := Stretch{
		Version: "0.1.0", Source: "flags", Chain: "06B",
		Span:     &Counted{10, "10 pitches", "pin to pin"},
		Results:  Figures{{"span", quantity(96.4, 0.02, "mm")}},
		Growth:   Figures{{"joint_growth", quantity(0.11, 0.002, "mm")}, {"elongation", percent}},
		Readings: span.Readings,
		Cams: []Cam{{"inlet", 42, 127.4, 18, 8.57, 17.14, Figures{
			{"strand_growth", quantity(2, 0.04, "mm")}, {"lag_cam", quantity(1.8, 0.04, "deg")}, {"lag_crank", quantity(3.6, 0.08, "deg")},
		}}},
		Drive: Figures{{"slack", quantity(8, 0.1, "mm")}, {"tensioner_travel", quantity(4, 0.1, "mm")}},
		Running: Figures{
			{"pressure", quantity(12, 0.1, "MPa")}, {"sliding_path", quantity(2e6, 1e4, "m")}, {"wear_coefficient", quantity(4.5, 0.1, "nm2/N")},
		},
		Limit: NewLimit(limit), Decision: decision,
		Forecast:   Figures{{"running_in", quantity(0.1, 0.02, "%")}, {"growth_rate", quantity(1e-5, 1e-6, "%/km")}},
		CrossCheck: NewCrossCheck(wear.CrossCheck{Agreement: wear.Agree, Difference: wear.Growth{Least: quantity(0.001, 0.002, "mm"), Most: quantity(0.001, 0.002, "mm")}, Missing: []string{"plates"}}),
		Maker: []MakerReading{
			NewMakerReading("pin diameter", quantity(3.28, 0.002, "mm"), wear.LowerLimit, wear.Decision{
				Verdict: wear.Past, PastLeast: 0.99, PastMost: 1, Limit: wear.Limit{Value: 3.29},
			}),
		},
		Checks: []check.Check{check.AtMost("pull", 1, 2)}, Notes: []string{"typed in"}, Cautions: []string{"the maker's limit governs"},
	}

	lines := map[string]any{}
	for name, r := range map[string]Record{"joint": joint, "scale": scale, "span": span, "play, clip": clip, "play, photos": pair, "refused": refused} {
		lines[name] = r
		r.Batch = batchOf(r.Figures())
		lines[name+", batch"] = r
	}
	lines["stretch"] = stretch
	stretch.Batch = batchOf(stretch.Growth)
	stretch.Batch.Task = ""
	lines["stretch, batch"] = stretch
	return lines
}

// again writes a line that was read.
func again(l Line) ([]byte, error) {
	if l.Record != nil {
		return json.Marshal(l.Record)
	}
	return json.Marshal(l.Stretch)
}

func TestDecode(t *testing.T) {
	for name, value := range everyLine() {
		text := strings.TrimSuffix(line(t, value), "\n")
		if err := validate(t, text); err != nil {
			t.Errorf("%s: %v\n%s", name, err, text)
		}
		decoded, err := Decode([]byte(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got, err := again(decoded); err != nil || string(got) != text {
			t.Errorf("%s: %v; read and written again it is\n%s\nwant\n%s", name, err, got, text)
		}
		if (decoded.Batch() != nil) != strings.HasSuffix(name, ", batch") {
			t.Errorf("%s: its batch is %v", name, decoded.Batch())
		}
	}
}

func TestDecodeKeepsBudgets(t *testing.T) {
	r := sample()
	r.Batch = batchOf(r.Figures())
	decoded, err := Decode([]byte(line(t, r)))
	if err != nil {
		t.Fatal(err)
	}
	play, _ := decoded.Record.Results.Find("play")
	if got := fmt.Sprint(play.Budget.Largest()); got != fmt.Sprint(uncert.Budget{{Name: "scale", U: 0.0024}, {Name: "edge noise", U: 0.0018}}) {
		t.Errorf("the parts of the play's uncertainty are %s", got)
	}
	if decoded.Record.Meaning.String() != r.Batch.Meaning {
		t.Errorf("it means %q", decoded.Record.Meaning)
	}
}

func TestDecodeRefuses(t *testing.T) {
	whole := strings.TrimSuffix(line(t, sample()), "\n")
	for name, text := range map[string]string{
		"no JSON":         "pinlash",
		"half a line":     whole[:len(whole)/2],
		"two objects":     whole + whole,
		"a number":        "3",
		"null":            "null",
		"no kind":         `{"photo":"a.jpg"}`,
		"another kind":    `{"kind":"chain","name":"06B"}`,
		"no photo":        strings.Replace(whole, `"photo":"a.jpg"`, `"photo":""`, 1),
		"no figures":      `{"kind":"joint","photo":"a.jpg","sha256":"","pinlash":"0.1.0","results":{},"checks":[],"notes":[]}`,
		"figures in list": strings.Replace(whole, `"growth":{`, `"growth":[],"x":{`, 1),
		"no bound":        strings.Replace(whole, `"lower":`, `"low":`, 1),
		"no code":         `{"kind":"joint","photo":"a.jpg","refused":{}}`,
		"too large":       strings.Replace(whole, `"value":3.302`, `"value":1e999`, 1),
	} {
		if text == whole {
			t.Errorf("%s: the line was not changed", name)
		}
		if _, err := Decode([]byte(text)); err == nil {
			t.Errorf("%s: accepted: %s", name, text)
		}
	}
}

func TestReadNamesTheLine(t *testing.T) {
	good := line(t, sample())
	stop := errors.New("enough")
	for name, c := range map[string]struct {
		text string
		each error
		want string
		n    int
	}{
		"all good":       {good + "\n" + good + strings.TrimSpace(good), nil, "<nil>", 3},
		"third broken":   {good + "\n" + `{"kind":` + "\n" + good, nil, "line 3: unexpected end of JSON input", 1},
		"ended by each":  {good + good, stop, "enough", 1},
		"nothing":        {"", nil, "<nil>", 0},
		"a line too far": {good + strings.Repeat(" ", longestLine+1), nil, "line 2: longer than 16777216 bytes", 1},
	} {
		n := 0
		err := Read(strings.NewReader(c.text), func(Line, []byte) error { n++; return c.each })
		if fmt.Sprint(err) != c.want || n != c.n {
			t.Errorf("%s: %v after %d lines, want %s after %d", name, err, n, c.want, c.n)
		}
		var at *LineError
		if strings.HasPrefix(c.want, "line") && !errors.As(err, &at) {
			t.Errorf("%s: the error is of type %T", name, err)
		}
	}
}

// In brief a line says of the figures of chains, and of whose they are, what it
// says as a whole, and is found where it stands.
func TestReadBrief(t *testing.T) {
	var text strings.Builder
	var whole []Line
	var want []string
	for _, value := range everyLine() {
		one := line(t, value)
		decoded, err := Decode([]byte(one))
		if err != nil {
			t.Fatal(err)
		}
		whole, want = append(whole, decoded), append(want, strings.TrimSuffix(one, "\n"))
		text.WriteString("\n  " + strings.TrimSuffix(one, "\n") + " \t\r\n\u2003")
	}
	n, parts := 0, 0
	err := ReadBrief(strings.NewReader(text.String()), func(brief Line, at, size int64) error {
		full := whole[n]
		if got := text.String()[at:][:size]; got != want[n] {
			t.Errorf("line %d stands at %d as\n%s\nwant\n%s", n, at, got, want[n])
		}
		n++
		if (brief.Batch() != nil) != (full.Batch() != nil) {
			t.Errorf("its batch is %v, want %v", brief.Batch(), full.Batch())
		}
		if b, f := brief.Batch(), full.Batch(); b != nil {
			if b.Task != f.Task || b.Levels != f.Levels || !slices.Equal(b.Pictures, f.Pictures) {
				t.Errorf("its batch is %+v, want %+v", b, f)
			}
		}
		if full.Record == nil {
			if brief.Stretch == nil {
				t.Error("the chain's figures are missing")
			}
			return nil
		}
		b, f := brief.Record, full.Record
		if b.Kind != f.Kind || b.Photo.Path != f.Photo.Path || !reflect.DeepEqual(b.Refused, f.Refused) {
			t.Errorf("it is %+v, want %+v", b, f)
		}
		for _, name := range []string{"play", "joint_growth", "elongation", "chain_elongation"} {
			for _, figures := range [][2]Figures{{b.Results, f.Results}, {b.Growth, f.Growth}} {
				got, has := figures[0].Find(name)
				want, had := figures[1].Find(name)
				if has != had || !reflect.DeepEqual(got, want) {
					t.Errorf("%s is %+v, want %+v", name, got, want)
				}
				parts += len(got.Budget)
			}
		}
		return nil
	})
	if err != nil || n != len(whole) || parts == 0 {
		t.Errorf("%v after %d of %d lines with %d parts of uncertainties", err, n, len(whole), parts)
	}
}

func TestReadBriefRefuses(t *testing.T) {
	whole := strings.TrimSpace(line(t, everyLine()["joint, batch"]))
	for name, text := range map[string]string{
		"half a line":       whole[:len(whole)/2],
		"two objects":       whole + whole,
		"another kind":      `{"kind":"chain","name":"06B"}`,
		"no photo":          strings.Replace(whole, `"photo":"a.jpg"`, `"photo":""`, 1),
		"no figures":        strings.Replace(whole, `"results":{`, `"result":{`, 1),
		"no scale":          strings.Replace(whole, `"scale":{`, `"scales":{`, 1),
		"no bound":          strings.Replace(whole, `"lower":`, `"low":`, 1),
		"no code":           `{"kind":"joint","photo":"a.jpg","refused":{}}`,
		"budget of nothing": strings.Replace(whole, `"play":[`, `"play":3,"x":[`, 1),
		"broken profile":    strings.Replace(whole, `"profile":[`, `"profile":[[`, 1),
	} {
		if text == whole {
			t.Errorf("%s: the line was not changed", name)
		}
		var at *LineError
		if err := ReadBrief(strings.NewReader("\n"+text), func(Line, int64, int64) error { return nil }); !errors.As(err, &at) || at.Line != 2 {
			t.Errorf("%s: error %v: %s", name, err, text)
		}
	}
}

func TestSchemaRefusesBatch(t *testing.T) {
	whole := strings.TrimSpace(line(t, everyLine()["joint, batch"]))
	for name, broken := range map[string]string{
		"no settings":      strings.Replace(whole, `"settings":{`, `"set":{`, 1),
		"short task":       strings.Replace(whole, `"task":"5c`, `"task":"`, 1),
		"unknown level":    strings.Replace(whole, `"revision":`, `"version":`, 1),
		"repeat from 0":    strings.Replace(whole, `"repeat":2`, `"repeat":0`, 1),
		"file of no name":  strings.Replace(whole, `"files":[{"path":"a.jpg"`, `"files":[{"path":""`, 1),
		"part without u":   strings.Replace(whole, `"name":"scale","u"`, `"name":"scale","v"`, 1),
		"settings of null": strings.Replace(whole, `"settings":{`, `"settings":null,"x":{`, 1),
	} {
		if broken == whole {
			t.Errorf("%s: the line was not changed", name)
		}
		if validate(t, broken) == nil {
			t.Errorf("%s: accepted: %s", name, broken)
		}
	}
}

// FuzzLine: what can be read can be written, and reads the same again.
func FuzzLine(f *testing.F) {
	for _, v := range everyLine() {
		text, err := json.Marshal(v)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		decoded, err := Decode(text)
		if err != nil {
			return
		}
		once, err := again(decoded)
		if err != nil {
			t.Fatalf("cannot be written: %v", err)
		}
		if bytes.ContainsAny(once, "\n\r") {
			t.Fatalf("not one line: %q", once)
		}
		decoded, err = Decode(once)
		if err != nil {
			t.Fatalf("cannot be read again: %v\n%s", err, once)
		}
		if twice, err := again(decoded); err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%v; from\n%s\nto\n%s", err, once, twice)
		}
		if err := WriteCSV(&bytes.Buffer{}, oneLine(decoded)); err != nil {
			t.Fatal(err)
		}
	})
}
