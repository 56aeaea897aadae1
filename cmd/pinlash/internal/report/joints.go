package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// jointRow is a photo of a joint in the chain's table.
type jointRow struct {
	Joint      string
	JointSort  float64 // the joint's number
	Inspection string
	Photo      *photo
	Play       *figure
	Growth     *figure
	Elongation *figure
	WearPin    *figure
	WearBore   *figure
	Failed     int
	Refused    string
	Unseen     bool // no play could be told from none
}

// ofJoint says whether a record is about one joint.
func ofJoint(r *record.Record) bool { return r.Kind == record.Joint || r.Kind == record.Play }

// joints lists every photo of a joint, measured or not, by the joint's number.
func (b *builder) joints(c *chain) []jointRow {
	var rows []jointRow
	for _, in := range c.Inspections {
		for _, p := range in.photos {
			r := p.record
			if !ofJoint(r) {
				continue
			}
			row := jointRow{Joint: jointLabel(p), JointSort: jointNumber(p.levels.Joint), Inspection: in.Short, Photo: p}
			if r.Refused != nil {
				row.Refused = string(r.Refused.Code)
			}
			for _, want := range []struct {
				to   **figure
				from record.Figures
				name string
			}{
				{&row.Play, r.Results, "play"},
				{&row.WearPin, r.Results, "wear_depth_pin"},
				{&row.WearBore, r.Results, "wear_depth_bore"},
				{&row.Growth, r.Growth, "joint_growth"},
				{&row.Elongation, r.Growth, "elongation"},
			} {
				if q, ok := want.from.Find(want.name); ok {
					f := b.figure(want.name, q)
					*want.to = &f
				}
			}
			row.Failed = len(p.Failed)
			row.Unseen = r.Distinct != nil && !*r.Distinct
			rows = append(rows, row)
		}
	}
	slices.SortStableFunc(rows, func(x, y jointRow) int {
		return cmp.Or(cmp.Compare(x.JointSort, y.JointSort), cmp.Compare(x.Photo.levels.Joint, y.Photo.levels.Joint))
	})
	return rows
}

// jointLabel is the joint's number, or its photo's where there is none.
func jointLabel(p *photo) string {
	if p.levels.Joint != "" {
		return shorten(p.levels.Joint, 24)
	}
	return ""
}

const noNumber = 1e9 // stands behind all joints that have one

// jointNumber reads the number in a joint's name, like 12 or J012.
func jointNumber(joint string) float64 {
	digits := strings.TrimLeft(joint, "jJ-_# ")
	n, err := strconv.ParseUint(digits, 10, 20)
	if err != nil {
		return noNumber
	}
	return float64(n)
}

// chainMap is the chain as a strip of joints in their order.
type chainMap struct {
	Cells    []cell
	Numbered bool
	Caption  string
}

// cell is a joint of the map, or a gap in it.
type cell struct {
	Label   string
	Value   string
	Full    string // all of it in words
	R       string // radius of the mark, in the drawing's unit
	Link    string // id of the photo
	Gap     bool
	Refused bool
	Unseen  bool
	Largest bool
}

const (
	smallestMark = 3.0
	largestMark  = 15.0
	longestMap   = 600 // joints; a gap before or behind is not drawn beyond
)

// chainMap draws the joints of the latest inspection. Photos of one joint
// count as their mean.
func (b *builder) chainMap(c *chain) chainMap {
	last := c.last()
	type joint struct {
		label  string
		number float64
		photos []*photo
	}
	var all []*joint
	byName := map[string]*joint{}
	for _, p := range last.photos {
		if !ofJoint(p.record) {
			continue
		}
		key := p.levels.Joint
		if key == "" {
			key = "\x00" + p.ID
		}
		j := byName[key]
		if j == nil {
			j = &joint{label: jointLabel(p), number: jointNumber(p.levels.Joint)}
			byName[key] = j
			all = append(all, j)
		}
		j.photos = append(j.photos, p)
	}
	if len(all) == 0 {
		return chainMap{}
	}
	slices.SortStableFunc(all, func(x, y *joint) int { return cmp.Compare(x.number, y.number) })
	m := chainMap{Numbered: all[0].number < noNumber}

	var cells []cell
	var plays []float64
	next := 1.0
	for i, j := range all {
		if j.number < noNumber {
			if gap := gapCell(next, j.number-1); gap != nil && (i > 0 || j.number <= longestMap) {
				cells, plays = append(cells, *gap), append(plays, 0)
			}
			next = j.number + 1
		}
		cl := cell{Label: j.label}
		if cl.Label == "" {
			cl.Label = shorten(stem(j.photos[0].record.Photo.Path), 12)
		}
		var sum, n float64
		var unit, words string
		for _, p := range j.photos {
			q, ok := p.record.Results.Find("play")
			if !ok || p.record.Refused != nil {
				continue
			}
			q = b.of(q)
			if n == 0 {
				cl.Link, cl.Value, unit, words = p.ID, q.Printed().Value, q.Unit, b.words(q)
			}
			cl.Unseen = p.record.Distinct != nil && !*p.record.Distinct
			sum += q.Value
			n++
		}
		switch {
		case n == 0:
			cl.Refused, cl.Link, cl.Value = true, j.photos[0].ID, "refused"
			cl.Full = "refused: " + string(j.photos[0].record.Refused.Code)
		case n == 1:
			cl.Full = "play " + words
		default:
			// The spread of the photos is in the table; the map shows where to look.
			cl.Value = trimmed(sum/n, cl.Value)
			cl.Full = fmt.Sprintf("play %s %s, mean of %d photos", cl.Value, unit, int(n))
		}
		if cl.Unseen {
			cl.Full += ", not told from none"
		}
		cells = append(cells, cl)
		if n > 0 {
			plays = append(plays, max(0, sum/n))
		} else {
			plays = append(plays, 0)
		}
	}
	if m.Numbered {
		if total := b.jointsOf(c); total > 0 {
			if gap := gapCell(next, float64(total)); gap != nil {
				cells, plays = append(cells, *gap), append(plays, 0)
			}
		}
	}
	most := slices.Max(plays)
	for i := range cells {
		share := 0.0
		if most > 0 {
			share = plays[i] / most
		}
		cells[i].R = strconv.FormatFloat(smallestMark+(largestMark-smallestMark)*share, 'f', 1, 64)
		cells[i].Largest = most > 0 && plays[i] == most && len(all) > 1
	}
	m.Cells = cells
	_, unit := b.length(1)
	m.Caption = fmt.Sprintf("Play of every joint in %s, in the order of the chain. The larger the mark, the larger the play.", unit)
	if !m.Numbered {
		m.Caption = fmt.Sprintf("Play in every photo in %s. The joints' numbers are not in the results, so the photos stand in their own order. The larger the mark, the larger the play.", unit)
	}
	if last.Label != "" {
		m.Caption += " " + capital(last.Label) + "."
	}
	return m
}

// gapCell stands for joints that were not measured, nil if there are none.
func gapCell(from, to float64) *cell {
	switch n := to - from + 1; {
	case n < 1:
		return nil
	case n == 1:
		return &cell{Gap: true, Label: fmt.Sprintf("%.0f", from), Full: "not measured"}
	default:
		return &cell{Gap: true, Label: fmt.Sprintf("%.0f–%.0f", from, to), Full: "not measured"}
	}
}

// trimmed prints v with as many decimals as like has.
func trimmed(v float64, like string) string {
	places := 0
	if i := strings.IndexByte(like, '.'); i >= 0 {
		places = len(like) - i - 1
	}
	return strconv.FormatFloat(v, 'f', places, 64)
}

func stem(path string) string {
	path = path[strings.LastIndexAny(path, `/\`)+1:]
	if i := strings.LastIndexByte(path, '.'); i > 0 {
		path = path[:i]
	}
	return path
}

// jointsOf is the number of joints of the whole chain as the settings state
// it, 0 if they do not.
func (b *builder) jointsOf(c *chain) int {
	for _, in := range c.Inspections {
		for _, p := range in.photos {
			if n, err := strconv.Atoi(setting(p.record.Batch, "pitches")); err == nil && n > 0 && n <= longestMap {
				return n
			}
		}
	}
	return 0
}

// setting returns a flag's value, "" if it was not given.
func setting(batch *record.Batch, flag string) string {
	if batch == nil {
		return ""
	}
	if v, ok := batch.Settings[flag]; ok {
		return v
	}
	return batch.Settings["--"+flag]
}

// plays returns the plays of the latest inspection with their labels.
func (c *chain) plays() (labels []string, plays []uncert.Quantity) {
	for _, row := range c.Joints {
		p := row.Photo
		if p.at != c.last() || p.record.Refused != nil {
			continue
		}
		if q, ok := p.record.Results.Find("play"); ok && drawable(q.Value, q.Lower, q.Upper) {
			text := row.Joint
			if text == "" {
				text = shorten(stem(p.record.Photo.Path), 14)
			}
			labels, plays = append(labels, text), append(plays, q)
		}
	}
	return labels, plays
}

// spread returns the least and the most of the plays.
func spread(plays []uncert.Quantity) (least, most uncert.Quantity) {
	least, most = plays[0], plays[0]
	for _, q := range plays {
		if q.Value < least.Value {
			least = q
		}
		if q.Value > most.Value {
			most = q
		}
	}
	return least, most
}

// median is the middle of the values, of which there is at least one.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
