package synth

import (
	"math/rand/v2"
	"testing"
)

func benchmarkGray8(b *testing.B, s Scene) {
	b.SetBytes(int64(s.W * s.H))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Gray8(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRing100(b *testing.B) { benchmarkGray8(b, Ring(100, 12, 1, 0)) }
func BenchmarkRing300(b *testing.B) { benchmarkGray8(b, Ring(300, 12, 1, 0)) }

func BenchmarkDefocus300(b *testing.B) {
	s := Ring(300, 12, 1, 0)
	s.Camera.Defocus = 4
	benchmarkGray8(b, s)
}

func BenchmarkRule(b *testing.B) { benchmarkGray8(b, Draw(rand.New(rand.NewPCG(1, 1)), "rule")) }

func BenchmarkPhoto(b *testing.B) { benchmarkGray8(b, Draw(rand.New(rand.NewPCG(1, 1)), "photo")) }
