package cli

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"hash/crc32"
	"image/jpeg"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/uncert"
)

// The whole corpus of damaged photos writes what became of them to
// testdata/sweep:
//
//	go test -count 1 -run DamagedPhotos -v ./cmd/pinlash/internal/cli -damage 1
//
// The part of it that belongs to every test run takes every tenth.
var wholeDamage = flag.Int("damage", 0, "1 for the whole corpus of damaged photos, or so many times its damage by chance")

// damage is a way in which the bytes of a photo come to harm.
type damage struct {
	name  string
	times int // how often it is done to each kind of file
	// do returns other bytes, made of a photo file and one of another joint
	// of the same kind; i counts from 0.
	do func(r *rand.Rand, f, other photoFile, i int) []byte
}

var damages = []damage{
	{"cut off", 99, func(_ *rand.Rand, f, _ photoFile, i int) []byte {
		return f.data[:len(f.data)*(i+1)/100]
	}},
	{"bits flipped", 50, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		return flipped(r, f.data, 0, len(f.data), 1+r.IntN(8))
	}},
	{"bit flipped within", 50, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		return flipped(r, f.data, len(f.data)/5, len(f.data)*19/20, 1)
	}},
	{"bytes overwritten", 20, func(r *rand.Rand, f, _ photoFile, i int) []byte {
		out := slices.Clone(f.data)
		from, n := piece(r, f.data)
		for k := range out[from : from+n] {
			out[from+k] = []byte{0, 0xff, byte(r.Uint32())}[i%3]
		}
		return out
	}},
	{"piece lost", 20, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		from, n := piece(r, f.data)
		return slices.Concat(f.data[:from], f.data[from+n:])
	}},
	{"piece doubled", 10, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		from, n := piece(r, f.data)
		return slices.Concat(f.data[:from+n], f.data[from:])
	}},
	{"pieces swapped", 20, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		out := slices.Clone(f.data)
		n := 1 + r.IntN(len(out)/8)
		a, b := r.IntN(len(out)/2-n), len(out)/2+r.IntN(len(out)/2-n)
		copy(out[a:], f.data[b:b+n])
		copy(out[b:], f.data[a:a+n])
		return out
	}},
	{"chunks swapped", 10, func(r *rand.Rand, f, _ photoFile, _ int) []byte {
		head, chunks := chunksOf(f)
		a, b := r.IntN(len(chunks)), r.IntN(len(chunks))
		chunks[a], chunks[b] = chunks[b], chunks[a]
		return slices.Concat(head, slices.Concat(chunks...))
	}},
	{"absurd size", 16, func(r *rand.Rand, f, _ photoFile, i int) []byte { return resized(r, f, i) }},
	{"end of another", 20, func(r *rand.Rand, f, other photoFile, _ int) []byte {
		at := r.Float64()
		return slices.Concat(f.data[:int(at*float64(len(f.data)))], other.data[int(at*float64(len(other.data))):])
	}},
}

// flipped returns data with n bits changed between two places.
func flipped(r *rand.Rand, data []byte, from, to, n int) []byte {
	out := slices.Clone(data)
	for range n {
		out[from+r.IntN(to-from)] ^= 1 << r.IntN(8)
	}
	return out
}

// piece chooses a piece of data, up to a disk's sector.
func piece(r *rand.Rand, data []byte) (from, n int) {
	n = 1 + r.IntN(512)
	return r.IntN(len(data) - n), n
}

// chunksOf cuts a file in the parts it is made of: the chunks of a PNG, the
// segments of a JPEG, the last one with the data, or eighths of any other.
func chunksOf(f photoFile) (head []byte, chunks [][]byte) {
	switch {
	case strings.HasPrefix(f.name, "PNG"):
		return []byte(pngMagic), pngChunks(f.data)
	case strings.HasPrefix(f.name, "JPEG"):
		rest := f.data[2:]
		for rest[1] != 0xda {
			n := 2 + int(binary.BigEndian.Uint16(rest[2:]))
			chunks, rest = append(chunks, rest[:n]), rest[n:]
		}
		return f.data[:2], append(chunks, rest)
	}
	return nil, slices.Collect(slices.Chunk(f.data, len(f.data)/8+1))
}

// resized writes another size into the header of a file: nothing, the most a
// header can say, or a little or much more or less than there is.
func resized(r *rand.Rand, f photoFile, i int) []byte {
	out := slices.Clone(f.data)
	change := func(size, most uint32) uint32 {
		switch i / 4 {
		case 0:
			return []uint32{0, 1, most, most / 2}[i%4]
		case 1:
			return size + []uint32{1, 8, 64, size}[i%4]
		case 2:
			return size - []uint32{1, 8, 64, size / 2}[i%4]
		}
		return r.Uint32N(most)
	}
	which := 1 + r.IntN(3) // width, height or both
	switch {
	case strings.HasPrefix(f.name, "PNG"):
		for k, at := range []int{16, 20} {
			if which>>k&1 != 0 {
				binary.BigEndian.PutUint32(out[at:], change(binary.BigEndian.Uint32(out[at:]), 1<<31-1))
			}
		}
		binary.BigEndian.PutUint32(out[29:], crc32.ChecksumIEEE(out[12:29]))
	case strings.HasPrefix(f.name, "TIFF"):
		at := int(binary.LittleEndian.Uint32(out[4:]))
		for k := range int(binary.LittleEndian.Uint16(out[at:])) {
			entry := out[at+2+12*k:]
			tag, short := binary.LittleEndian.Uint16(entry), binary.LittleEndian.Uint16(entry[2:]) == 3
			if tag != 256 && tag != 257 || which>>(tag-256)&1 == 0 {
				continue
			}
			size := uint32(binary.LittleEndian.Uint16(entry[8:]))
			if !short {
				size = binary.LittleEndian.Uint32(entry[8:])
			}
			binary.LittleEndian.PutUint16(entry[2:], 4)
			binary.LittleEndian.PutUint32(entry[8:], change(size, 1<<32-1))
		}
	case strings.HasPrefix(f.name, "JPEG"):
		at := max(bytes.Index(out, []byte{0xff, 0xc0, 0}), bytes.Index(out, []byte{0xff, 0xc2, 0}))
		for k, at := range []int{at + 7, at + 5} {
			if which>>k&1 != 0 {
				binary.BigEndian.PutUint16(out[at:], uint16(change(uint32(binary.BigEndian.Uint16(out[at:])), 1<<16-1)))
			}
		}
	default: // GIF
		for k, at := range []int{6, 8} {
			if which>>k&1 != 0 {
				binary.LittleEndian.PutUint16(out[at:], uint16(change(uint32(binary.LittleEndian.Uint16(out[at:])), 1<<16-1)))
			}
		}
	}
	return out
}

// harmed is a damaged photo, and what a true figure of it would be.
type harmed struct {
	kind, damage string
	truths       []map[string]float64 // mm by figure
}

// harm writes the corpus into a folder and returns what is in it by name.
func harm(t *testing.T, folder string) map[string]harmed {
	t.Helper()
	const clearance, ofOther = 9, 15
	truth := func(clearance float64) map[string]float64 {
		s := ruled(clearance, true).Truth()
		return map[string]float64{
			"clearance":     s.Clearance * 0.1 / ruledPeriod,
			"bore_diameter": s.BoreDiameter * 0.1 / ruledPeriod,
			"pin_diameter":  s.PinDiameter * 0.1 / ruledPeriod,
		}
	}
	files, others := everyKind(t, ruled(clearance, true)), everyKind(t, ruled(ofOther, true))
	corpus := map[string]harmed{}
	for k, f := range files {
		for d, damage := range damages {
			times, step := damage.times, 1
			switch {
			case *wholeDamage == 0:
				step = 18
			case damage.name != "cut off" && damage.name != "absurd size":
				times *= *wholeDamage
			}
			for i := 0; i < times; i += step {
				r := rand.New(rand.NewPCG(uint64(k<<8|d), uint64(i)))
				data := damage.do(r, f, others[k], i)
				h := harmed{f.name, damage.name, []map[string]float64{truth(clearance)}}
				if damage.name == "end of another" { // it may be all of the other that can be seen
					h.truths = append(h.truths, truth(ofOther))
				}
				name := fmt.Sprintf("joint-%d.%s", len(corpus)+1, f.ext)
				writeIn(t, folder, name, data)
				corpus[name] = h
			}
		}
	}
	return corpus
}

// fate is what became of damaged photos of one kind.
type fate struct {
	refused              map[string]int // by code
	right, doubled, lost int            // truth within the intervals; within twice their width; outside
	trials               int
}

// TestDamagedPhotos measures a folder of damaged photos in one go: the process
// must live, keep under 1 GB, and leave every photo either measured or
// refused. What it still measures must be true, but for one in a hundred:
// where pieces of a JPEG's picture data have changed places, the codes can add
// up and no shade be shifted, and now and then such a patchwork is measured.
func TestDamagedPhotos(t *testing.T) {
	folder, out := t.TempDir(), t.TempDir()
	corpus := harm(t, folder)
	cmd := exec.Command("pinlash", "batch", folder, "--out", out, "--division", "0.1mm", "--quiet")
	began := time.Now()
	messages, err := cmd.CombinedOutput()
	took := time.Since(began)
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != statusRefused {
		t.Fatalf("ended with %v, want status %d\n%.5000s", err, statusRefused, messages)
	}
	if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		peak := usage.Maxrss >> 10 // of KB, as Linux counts
		t.Logf("%d photos in %.0f s, at most %d MB of memory", len(corpus), took.Seconds(), peak)
		if peak > 1000 {
			t.Errorf("%d MB of memory, at most 1000 MB", peak)
		}
	}
	f, err := os.Open(filepath.Join(out, "results.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // read only
	lines := map[string]int{}
	fates := map[[2]string]*fate{}
	wrong := 0
	err = record.Read(f, func(l record.Line, _ []byte) error {
		if l.Record == nil {
			return nil
		}
		name := l.Record.Photo.Path
		h, known := corpus[name]
		if !known {
			return fmt.Errorf("a line for %q, which is not there", name)
		}
		lines[name]++
		key := [2]string{h.kind, h.damage}
		if fates[key] == nil {
			fates[key] = &fate{refused: map[string]int{}}
		}
		what := fates[key]
		what.trials++
		if l.Record.Refused != nil {
			what.refused[string(l.Record.Refused.Code)]++
			return nil
		}
		off := 99.0
		for _, truth := range h.truths {
			off = min(off, farthest(l.Record.Results, truth))
		}
		switch {
		case off <= 1:
			what.right++
		case off <= 2:
			what.doubled++
		default:
			what.lost++
			wrong++
			t.Logf("%s (%s, %s): measured, and %.1f half intervals off", name, h.kind, h.damage, off)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for name := range corpus {
		if lines[name] != 1 {
			t.Errorf("%s has %d lines, want 1", name, lines[name])
		}
	}
	measured := 0
	for _, what := range fates {
		measured += what.right + what.doubled + what.lost
	}
	t.Logf("%d measured, %d of them wrong", measured, wrong)
	if measured == 0 || wrong*100 > measured {
		t.Errorf("%d of %d measured photos are wrong, more than one in a hundred", wrong, measured)
	}
	if *wholeDamage > 0 {
		writeFates(t, fates)
	}
}

// TestDrawnInGrey measures a photo with a segment that the drawing's decoder
// does not know.
func TestDrawnInGrey(t *testing.T) {
	jpg := everyKind(t, ruled(9, false))[0].data
	folder := t.TempDir()
	photo := writeIn(t, folder, "joint-1.jpg", slices.Concat(jpg[:2], segment(0x02, 1, 2, 3), jpg[2:]))
	if _, err := jpeg.Decode(bytes.NewReader(slices.Concat(jpg[:2], segment(0x02, 1, 2, 3), jpg[2:]))); err == nil {
		t.Fatal("the decoder knows the segment")
	}
	if status, _, messages := run(t, t.Context(), "joint", "--division", "0.1mm", "--overlay", folder, photo); status != statusOK {
		t.Errorf("status %d: %s", status, messages)
	}
	if drawn, err := filepath.Glob(filepath.Join(folder, "*.png")); err != nil || len(drawn) != 1 {
		t.Errorf("pictures drawn: %v, %v", drawn, err)
	}
}

// farthest returns how far the worst of the figures lies from its truth, in
// halves of its interval on that side.
func farthest(got record.Figures, truth map[string]float64) float64 {
	worst := 0.0
	for name, want := range truth {
		q, ok := got.Find(name)
		if !ok {
			return 99
		}
		worst = max(worst, halves(q, want))
	}
	return worst
}

func halves(q uncert.Quantity, want float64) float64 {
	if want < q.Value {
		return (q.Value - want) / (q.Value - q.Lower)
	}
	return (want - q.Value) / (q.Upper - q.Value)
}

func writeFates(t *testing.T, fates map[[2]string]*fate) {
	t.Helper()
	var b bytes.Buffer
	fmt.Fprintf(&b, "# go test -count 1 -run DamagedPhotos -v ./cmd/pinlash/internal/cli -damage %d\n", *wholeDamage)
	fmt.Fprintf(&b, "# %s. Damaged photos of a generated joint, measured in one batch. right: clearance and both diameters\n", time.Now().Format("2006-01-02"))
	b.WriteString("# have their truth within their intervals; within_2: within intervals twice as wide; wrong: outside those.\n")
	w := csv.NewWriter(&b)
	w.Write([]string{"kind", "damage", "photos", "refused", "right", "within_2", "wrong", "codes"}) //nolint:errcheck // a buffer
	for _, f := range slices.SortedFunc(maps.Keys(fates), func(a, b [2]string) int { return slices.Compare(a[:], b[:]) }) {
		what := fates[f]
		refused, codes := 0, []string{}
		for _, code := range slices.Sorted(maps.Keys(what.refused)) {
			refused += what.refused[code]
			codes = append(codes, fmt.Sprintf("%s %d", code, what.refused[code]))
		}
		row := []string{f[0], f[1]}
		for _, n := range []int{what.trials, refused, what.right, what.doubled, what.lost} {
			row = append(row, strconv.Itoa(n))
		}
		w.Write(append(row, strings.Join(codes, ", "))) //nolint:errcheck // a buffer
	}
	w.Flush()
	if err := record.WriteFile("../../../../testdata/sweep/damage.csv", b.Bytes()); err != nil {
		t.Fatal(err)
	}
}

func writeIn(t testing.TB, folder, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(folder, name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}
