package cli

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

// BenchmarkCompareMillionJoints compares a million joints in two thousand
// chains, from lines as long as a batch writes them without profiles, and says
// how much processor time that takes against reading the lines of the file and
// nothing else (x-reading), and against decoding them whole (x-decoding, of a
// twentieth). All read from the memory in which the system keeps the file;
// processor time because other work on the machine stretches a long run more
// than a short one.
func BenchmarkCompareMillionJoints(b *testing.B) {
	path := filepath.Join(b.TempDir(), "results.jsonl")
	size := writeMillion(b, path)
	b.SetBytes(size)
	var reading, comparing time.Duration
	peak := peakHeap(func() {
		for b.Loop() {
			start := processorTime(b)
			readAlone(b, path)
			reading += processorTime(b) - start
			start = processorTime(b)
			if status := Main(b.Context(), []string{"compare", path, "--json"}, Streams{Out: io.Discard, Err: os.Stderr}); status != statusOK {
				b.Fatal(status)
			}
			comparing += processorTime(b) - start
		}
	})
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	start := processorTime(b)
	if err := record.Read(io.LimitReader(f, size/20), func(record.Line, []byte) error { return nil }); err == nil {
		b.Fatal("a part of a line was read")
	}
	decoding := 20 * (processorTime(b) - start)
	runs := float64(b.N)
	b.ReportMetric(comparing.Seconds()/reading.Seconds(), "x-reading")
	b.ReportMetric(comparing.Seconds()/runs/decoding.Seconds(), "x-decoding")
	b.ReportMetric(float64(peak)/1e6, "MB-heap")
	b.ReportMetric(comparing.Seconds()/runs, "cpu-s/compare")
}

// processorTime is what this process has used so far, garbage collection
// included.
func processorTime(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

func readAlone(b *testing.B, path string) {
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	lines, n := bufio.NewScanner(f), 0
	lines.Buffer(make([]byte, 0, 64<<10), 1<<20)
	for lines.Scan() {
		n++
	}
	if n != 1_000_000 || lines.Err() != nil {
		b.Fatal(n, lines.Err())
	}
}

// writeMillion writes a million joints that differ in their levels and growth,
// and returns the size of the file.
func writeMillion(b *testing.B, path string) int64 {
	var l resultLines
	l.joint(record.Levels{Revision: "REVISION", Chain: "CHAIN", Joint: "JOINT", DistanceKM: 20000}, 0.0777)
	line := l.text.String()
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	out := bufio.NewWriterSize(f, 1<<20)
	r := rand.New(rand.NewPCG(9, 61))
	at := bytes.Split([]byte(line), []byte("0.0777,"))
	for chain := range 2000 {
		revision, of := "A", 0.1+0.01*r.NormFloat64()
		if chain >= 1000 {
			revision, of = "B", of+0.002
		}
		for joint := range 500 {
			parts := bytes.Join(at, fmt.Appendf(nil, "%.9f,", of+0.02*r.NormFloat64()))
			parts = bytes.Replace(parts, []byte("REVISION"), []byte(revision), 1)
			parts = bytes.Replace(parts, []byte("CHAIN"), fmt.Appendf(nil, "chain %d", chain), 1)
			parts = bytes.Replace(parts, []byte("JOINT"), fmt.Appendf(nil, "%d", joint), 1)
			out.Write(parts)
		}
	}
	if err := out.Flush(); err != nil {
		b.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		b.Fatal(err)
	}
	return info.Size()
}

// peakHeap returns the most heap in use while do runs, seen every 50 ms.
func peakHeap(do func()) uint64 {
	done, most := make(chan struct{}), make(chan uint64)
	go func() {
		peak := uint64(0)
		var m runtime.MemStats
		for {
			select {
			case <-done:
				most <- peak
				return
			case <-time.After(50 * time.Millisecond):
				runtime.ReadMemStats(&m)
				peak = max(peak, m.HeapInuse)
			}
		}
	}()
	do()
	close(done)
	return <-most
}
