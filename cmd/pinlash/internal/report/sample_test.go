package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/gif"
	"image/png"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
	"pinlash/measure/wear"
)

// read takes a line the way the report gets it: written and read again.
func read(t testing.TB, v any) record.Line {
	t.Helper()
	var b bytes.Buffer
	if err := record.WriteLine(&b, v); err != nil {
		t.Fatal(err)
	}
	line, err := record.Decode(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return line
}

func mm(value, u float64) uncert.Quantity {
	return uncert.Combine(value, "mm", uncert.Budget{{Name: "scale", U: 0.8 * u}, {Name: "edge noise", U: 0.6 * u, DF: 9}})
}

func percent(value, u float64) uncert.Quantity {
	return uncert.Combine(value, "%", uncert.Budget{{Name: "joints differ", U: u, DF: 7}})
}

const sum64 = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"

var settings = map[string]string{"division": "0.1mm", "chain": "06B", "new-play": "0.05", "limit": "1", "pitches": "12"}

func scale() *record.Scale {
	return &record.Scale{MMPerPx: 0.006001, U: 0.000002, Source: "rule", DivisionMM: 0.1, Marks: 97, AngleDeg: 0.02}
}

// joint is a joint seen end-on, worn on the side that pulls.
func joint(photo string, play float64, levels record.Levels, pictures ...string) record.Record {
	bins := make([]measure.WearBin, 72)
	for i := range bins {
		loaded := math.Max(0, math.Cos(float64(i*5)*math.Pi/180))
		bins[i] = measure.WearBin{AngleDeg: float64(i * 5), Pin: 0.3 * play * loaded, PinU: 0.0006, Bore: 0.5 * play * loaded, BoreU: 0.0005}
	}
	bins[40].PinU = 0 // a place that was not seen
	r := record.Record{
		Kind: record.Joint, Photo: record.Photo{Path: photo, SHA256: sum64}, Version: "0.1.0", Scale: scale(),
		Results: record.Figures{
			{Name: "pin_diameter", Quantity: mm(3.302, 0.0009)},
			{Name: "bore_diameter", Quantity: mm(3.402, 0.001)},
			{Name: "clearance", Quantity: mm(0.1, 0.0013)},
			{Name: "play", Quantity: mm(play, 0.0015)},
			{Name: "wear_depth_pin", Quantity: mm(0.3*play, 0.001)},
			{Name: "wear_depth_bore", Quantity: mm(0.5*play, 0.001)},
			{Name: "offset_direction", Quantity: uncert.Combine(12, "deg", uncert.Budget{{Name: "edge noise", U: 0.5}})},
		},
		Growth:  record.Figures{{Name: "joint_growth", Quantity: mm(play-0.05, 0.002)}, {Name: "elongation", Quantity: percent(100*(play-0.05)/9.525, 0.02)}},
		Profile: record.NewProfile(bins),
		Checks:  []check.Check{check.AtMost("focus", 1.7, 5), check.AtMost("tilt", 4, 3), check.AtLeast("rims_seen", 0.98, 0.3)},
		Notes:   []string{"if every joint is like this one, the chain is within the limit of 1 %", "the bush leans"},
	}
	r.Batch = &record.Batch{
		Task: "ab12", Levels: levels, Settings: settings, Files: []record.File{{Path: photo, SHA256: sum64}}, Pictures: pictures,
		Meaning: fmt.Sprintf("The joint rocks %.3f mm along the line of pull; new it was 0.05 mm.", play), Budgets: record.NewBudgets(r.Figures()),
	}
	return r
}

func span(photo string, levels record.Levels, pictures ...string) record.Record {
	r := record.Record{
		Kind: record.Span, Photo: record.Photo{Path: photo, SHA256: sum64}, Version: "0.1.0", Scale: scale(), Reference: "pin to pin",
		Results: record.Figures{{Name: "span", Quantity: mm(76.5, 0.02)}, {Name: "mean_pitch", Quantity: mm(9.56, 0.003)}, {Name: "elongation", Quantity: percent(0.37, 0.03)}},
		Checks:  []check.Check{check.AtMost("sag", 0.1, 1)}, Notes: []string{"the span is tight"},
	}
	for i := range 8 {
		link, length := geom.OuterLink, 9.525
		if i%2 == 1 {
			link, length = geom.InnerLink, 9.595
		}
		r.Pitches = append(r.Pitches, record.Pitch{Index: i, Link: link, Length: mm(length, 0.004)})
	}
	r.Batch = &record.Batch{Task: "cd34", Levels: levels, Settings: map[string]string{"division": "1mm", "same-plane": "true"}, Files: []record.File{{Path: photo, SHA256: sum64}}, Pictures: pictures}
	return r
}

func play(a, b string, levels record.Levels, pictures ...string) record.Record {
	no := false
	q := mm(0.0002, 0.0003)
	q.Lower = 0
	r := record.Record{
		Kind: record.Play, Photo: record.Photo{Path: a, SHA256: sum64}, Version: "0.1.0", Scale: scale(), Distinct: &no,
		Photos:  []record.StatePhoto{{Path: a, SHA256: sum64, State: record.Together}, {Path: b, SHA256: sum64, State: record.Apart}},
		Results: record.Figures{{Name: "play", Quantity: q}, {Name: "pull_direction", Quantity: uncert.Combine(3, "deg", uncert.Budget{{Name: "noise", U: 100}})}},
		Notes:   []string{"no play was seen"},
	}
	r.Batch = &record.Batch{Task: "ef56", Levels: levels, Settings: map[string]string{"division": "0.5mm"}, Files: []record.File{{Path: a, SHA256: sum64}, {Path: b, SHA256: sum64}}, Pictures: pictures}
	return r
}

func refusedPhoto(photo string, levels record.Levels, pictures ...string) record.Record {
	return record.Record{
		Kind: record.Joint, Photo: record.Photo{Path: photo}, Refused: check.Refuse(check.NoScale, "no rule was seen"),
		Batch: &record.Batch{Task: "0a", Levels: levels, Settings: settings, Files: []record.File{{Path: photo}}, Pictures: pictures},
	}
}

// stretch is a whole chain held against a limit of 0.5 %.
func stretch(levels record.Levels, value, u float64, verdict wear.Verdict) record.Stretch {
	s := record.Stretch{
		Version: "0.1.0", Source: "photos", Chain: "06B",
		Results:  record.Figures{{Name: "play_mean_joint", Quantity: mm(0.09, 0.002)}, {Name: "play_new", Quantity: mm(0.05, 0.002)}},
		Growth:   record.Figures{{Name: "joint_growth", Quantity: mm(value*0.09525, u*0.09525)}, {Name: "elongation", Quantity: percent(value, u)}},
		Limit:    &record.Limit{Name: "maker's limit", Value: 0.5, Unit: "%", Source: "as stated", Provenance: "given"},
		Decision: &record.Decision{Verdict: verdict, PastLeast: 0.2, PastMost: 0.4},
		Notes:    []string{"the strand is tight"},
		Batch:    &record.Batch{Task: "77", Levels: levels, Settings: map[string]string{"limit": "0.5"}},
	}
	if verdict == wear.TooClose {
		s.Decision.MoreJoints, s.Decision.Settles = 6, "6 more joints like these"
	}
	return s
}

// sample has a chain of everything and one of nearly nothing.
func sample(t testing.TB) Input {
	t.Helper()
	at := func(inspection string, km float64, joint string) record.Levels {
		return record.Levels{Specimen: "filler drive", Revision: "B", Chain: "cam", Inspection: inspection, DistanceKM: km, Joint: joint}
	}
	var in Input
	add := func(v any) { in.Lines = append(in.Lines, read(t, v)) }
	for i, km := range []float64{120000, 40000, 80000} { // not in their order
		name := []string{"third", "first", "second"}[i]
		s := stretch(at(name, km, ""), []float64{0.49, 0.09, 0.3}[i], 0.02, []wear.Verdict{wear.TooClose, wear.Within, wear.Within}[i])
		if i == 0 {
			s.Forecast = record.Figures{
				{Name: "running_in", Quantity: percent(-0.1, 0.05)},
				{Name: "growth_rate", Quantity: uncert.Combine(5e-6, "%/km", uncert.Budget{{Name: "scatter", U: 4e-7}})},
				{Name: "limit_met_at", Quantity: uncert.Combine(121000, "km", uncert.Budget{{Name: "scatter", U: 6000}})},
			}
			s.Cams = []record.Cam{
				{Name: "inlet", Teeth: 38, PitchDiameter: 115.3, Strand: 32.6, ToothCam: 9.47, ToothCrank: 18.9, Figures: record.Figures{{Name: "strand_growth", Quantity: mm(0.66, 0.07)}, {Name: "lag_cam", Quantity: uncert.Combine(0.65, "deg", uncert.Budget{{U: 0.07}})}, {Name: "lag_crank", Quantity: uncert.Combine(1.3, "deg", uncert.Budget{{U: 0.15}})}}},
				{Name: "exhaust", Teeth: 38, PitchDiameter: 115.3, Strand: 23.6, ToothCam: 9.47, ToothCrank: 18.9, Figures: record.Figures{{Name: "strand_growth", Quantity: mm(0.48, 0.05)}, {Name: "lag_cam", Quantity: uncert.Combine(0.47, "deg", uncert.Budget{{U: 0.05}})}, {Name: "lag_crank", Quantity: uncert.Combine(0.95, "deg", uncert.Budget{{U: 0.1}})}}},
			}
			s.Drive = record.Figures{{Name: "slack", Quantity: mm(1.67, 0.37)}}
			s.CrossCheck = &record.CrossCheck{Agreement: wear.SpansGrewMore, Difference: mm(-0.02, 0.004), Missing: []string{"plates stretched"}}
			s.Cautions = []string{"interference engine: with the chain off, turn neither crank nor cam"}
		}
		add(s)
	}
	for i, p := range []float64{0.12, 0.07, 0.09, 0.06} {
		n := fmt.Sprint([]int{2, 3, 7, 9}[i])
		add(joint("photos/j"+n+".jpg", p, at("third", 120000, n), "j"+n+"-overlay.png"))
	}
	add(refusedPhoto("photos/j5.jpg", at("third", 120000, "5"), "j5-overlay.png"))
	add(span("photos/span.jpg", at("third", 120000, ""), "span-overlay.png"))
	other := record.Levels{Chain: "spare", Joint: "1"}
	add(play("photos/a.jpg", "photos/b.jpg", other, "a-overlay.png", "a-motion.gif"))
	add(record.Record{
		Kind: record.Ruler, Photo: record.Photo{Path: "photos/rule.jpg", SHA256: sum64}, Version: "0.1.0", Scale: scale(),
		Results: record.Figures{{Name: "mm_per_px", Quantity: uncert.Combine(0.006001, "mm/px", uncert.Budget{{Name: "rule", U: 2e-6}})}},
		Batch:   &record.Batch{Task: "9", Levels: record.Levels{Chain: "spare"}, Settings: map[string]string{"division": "0.1mm"}, Pictures: []string{"gone.png"}},
	})
	for _, v := range fleet() {
		add(v)
	}
	pictures := fstest.MapFS{}
	for i, name := range []string{"j2", "j3", "j7", "j9", "j5", "span", "a"} {
		pictures[name+"-overlay.png"] = &fstest.MapFile{Data: grain(t, 640, 480, uint64(i))}
	}
	pictures["a-motion.gif"] = &fstest.MapFile{Data: blink(t)}
	in.Title, in.Source, in.Version, in.Pictures = "Filler drive", "results.jsonl", "0.1.0", pictures
	in.Made = time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC)
	in.Problems = []string{"line 7: not JSON"}
	return in
}

// fleet are more chains of the sample, so that revisions can be compared: two
// more of revision B and three of A, each at two distances, the later with more
// joints and a span. Two people photographed the joints of one chain twice.
func fleet() []any {
	var all []any
	scatter := rand.New(rand.NewPCG(6, 27))
	for i, c := range []struct {
		revision, chain string
		grown           float64 // per 1000 km
	}{{"A", "old 1", 0.0011}, {"A", "old 2", 0.0012}, {"A", "old 3", 0.00105}, {"B", "cam 2", 0.0004}, {"B", "cam 3", 0.0005}} {
		for round, km := range []float64{60000, 120000} {
			for j := range 2 + round {
				at := record.Levels{Specimen: "filler drive", Revision: c.revision, Chain: c.chain, Inspection: fmt.Sprintf("%g km", km), DistanceKM: km, Joint: fmt.Sprint(j + 1)}
				grown := 0.05 + c.grown*km/1000*(1+0.08*scatter.NormFloat64())
				if c.chain != "cam 2" || round == 0 {
					all = append(all, joint(fmt.Sprintf("more/%d-%g-%d.jpg", i, km, j+1), grown, at))
					continue
				}
				for repeat := range 4 {
					at.By, at.Repeat = []string{"early shift", "late shift"}[repeat/2], repeat%2+1
					all = append(all, joint(fmt.Sprintf("more/%d-%g-%d%c.jpg", i, km, j+1, 'a'+repeat), grown+0.0008*scatter.NormFloat64(), at))
				}
			}
		}
		all = append(all, span(fmt.Sprintf("more/%d-span.jpg", i), record.Levels{Specimen: "filler drive", Revision: c.revision, Chain: c.chain, Inspection: "120000 km", DistanceKM: 120000}))
	}
	return all
}

// grain is a picture like a photo of metal: grey, with grain.
func grain(t testing.TB, w, h int, seed uint64) []byte {
	t.Helper()
	noise := rand.New(rand.NewPCG(seed, 1))
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := 120 + 40*math.Sin(float64(x)/40) + 12*noise.NormFloat64()
			img.SetNRGBA(x, y, color.NRGBA{uint8(v), uint8(v), uint8(v * 0.95), 255})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// blink is an animation of two states; the second frame covers a part only.
func blink(t testing.TB) []byte {
	t.Helper()
	palette := color.Palette{color.Gray{0}, color.Gray{255}}
	first := image.NewPaletted(image.Rect(0, 0, 80, 60), palette)
	second := image.NewPaletted(image.Rect(20, 20, 40, 40), palette)
	for i := range second.Pix {
		second.Pix[i] = 1
	}
	var b bytes.Buffer
	if err := gif.EncodeAll(&b, &gif.GIF{Image: []*image.Paletted{first, second}, Delay: []int{80, 80}, Config: image.Config{Width: 80, Height: 60, ColorModel: palette}}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// many is a chain of n joints, each with its picture.
func many(t testing.TB, n int) Input {
	t.Helper()
	in := Input{Title: "Many joints", Source: "results.jsonl", Version: "0.1.0", Made: time.Unix(0, 0)}
	pictures := fstest.MapFS{}
	spread := rand.New(rand.NewPCG(4, 2))
	data := grain(t, 480, 360, 1)
	for i := range n {
		name := fmt.Sprintf("j%03d", i+1)
		pictures[name+".png"] = &fstest.MapFile{Data: data}
		in.Lines = append(in.Lines, read(t, joint(name+".jpg", 0.09+0.01*spread.NormFloat64(), record.Levels{Chain: "A", Joint: fmt.Sprint(i + 1)}, name+".png")))
	}
	in.Lines = append(in.Lines, read(t, stretch(record.Levels{Chain: "A"}, 0.62, 0.02, wear.Past)))
	in.Pictures = pictures
	return in
}

// hostileNames want to be more than text.
var hostileNames = []string{
	"=cmd|' /C calc'!A0.jpg", "<script>window.pwned=1</script>.jpg", `"><img src=x onerror="window.pwned=1">.jpg`, "javascript:window.pwned=1",
	"</title><script>window.pwned=1</script>", "--><svg onload=window.pwned=1>", "{{.Title}} fill:#010101.jpg", "\xff\xfe.jpg", "a\u202egpj.exe", "ü µ 鎖.jpg",
	strings.Repeat("long-", 999) + "end.jpg",
}

// kept is what JSON keeps of a text: no broken UTF-8.
func kept(text string) string {
	var back string
	data, _ := json.Marshal(text)
	_ = json.Unmarshal(data, &back)
	return back
}

// asShown is a text as the page has it: what cannot be printed is quoted.
func asShown(text string) string { return record.SafeName(kept(text)) }

// hostile has such names wherever a name may stand, each told from the others,
// and lists them.
func hostile(t testing.TB) (Input, []string) {
	t.Helper()
	var all []string
	in := Input{Title: hostileNames[1], Source: hostileNames[2], Version: "0.1.0", Made: time.Unix(0, 0), Pictures: fstest.MapFS{}}
	for i, name := range hostileNames {
		mark := func(place string) string {
			text := fmt.Sprintf("%s%d-%s", place, i, name)
			all = append(all, asShown(text))
			return text
		}
		levels := record.Levels{
			Specimen: mark("specimen"), Revision: mark("revision"), Chain: mark("chain"), Inspection: mark("inspection"),
			Joint: mark("joint"), By: mark("by"), Oil: mark("oil"),
		}
		r := joint(mark("photo"), 0.1, levels, mark("picture"))
		r.Notes = []string{mark("Note")}
		r.Batch.Meaning = mark("meaning")
		r.Batch.Settings = map[string]string{"scale-file": fmt.Sprintf("setting%d-%s", i, name)}
		all = append(all, quoted("--scale-file="+kept(r.Batch.Settings["scale-file"]))) // to be copied, so not made safe
		r.Batch.Files[0].Path = mark("file")
		r.Checks[0].Name = mark("check")
		in.Lines = append(in.Lines, read(t, r))
		s := stretch(levels, 0.3, 0.01, wear.Within)
		s.Source, s.Cautions, s.Limit.Name, s.Limit.Source = mark("source"), []string{mark("Caution")}, mark("limit"), mark("limit source")
		s.Cams = []record.Cam{{Name: mark("cam"), Teeth: 30, PitchDiameter: 90, Strand: 10, ToothCam: 12, ToothCrank: 24, Figures: record.Figures{{Name: "lag_crank", Quantity: uncert.Combine(1, "deg", uncert.Budget{{Name: "noise", U: 0.1}})}}}}
		s.Readings = []record.Reading{{Name: mark("reading"), Growth: s.Growth}, {Name: "other", Growth: s.Growth}}
		in.Lines = append(in.Lines, read(t, s))
		refusal := refusedPhoto(mark("refused"), levels)
		refusal.Refused.Message = mark("Message")
		in.Lines = append(in.Lines, read(t, refusal))
		in.Problems = append(in.Problems, kept(mark("problem")))
	}
	return in, all
}
