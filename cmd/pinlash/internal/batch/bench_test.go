package batch

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"testing"
)

// BenchmarkWorkers measures photos that cost nothing but computing, about
// 20 ms each.
func BenchmarkWorkers(b *testing.B) {
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprint(workers), func(b *testing.B) {
			const photos = 40
			f := newBench(b, photos)
			block := bytes.Repeat([]byte{1}, 1<<20)
			for b.Loop() {
				b.StopTimer()
				os.Remove(f.folder + "/" + Results)
				b.StartTimer()
				_, err := Run(context.Background(), f.folder, f.works, Options{Workers: workers}, func(ctx context.Context, i int, task string) ([]byte, int) {
					for range 20 {
						sha256.Sum256(block)
					}
					return f.measure(ctx, i, task)
				}, f.finish)
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(photos*float64(b.N)/b.Elapsed().Seconds(), "photos/s")
		})
	}
}

// BenchmarkNothingNew is a second run: photos of 4 MB, each read once.
func BenchmarkNothingNew(b *testing.B) {
	const photos, size = 50, 4 << 20
	f := newBench(b, photos)
	for i, w := range f.works {
		f.photo(b, w.Name, string(bytes.Repeat([]byte{byte(i)}, size)))
	}
	f.mustRun(b, Options{Workers: 2})
	b.SetBytes(photos * size)
	for b.Loop() {
		if s := f.mustRun(b, Options{Workers: 2}); s.Changed || s.Measured > 0 {
			b.Fatal(s)
		}
	}
	b.ReportMetric(photos*float64(b.N)/b.Elapsed().Seconds(), "photos/s")
}
