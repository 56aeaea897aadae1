package compare

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// million makes a million joints in two thousand chains of two revisions.
func million() []Joint {
	r := rand.New(rand.NewPCG(8, 1))
	joints := make([]Joint, 0, 1_000_000)
	for c := range 2000 {
		revision, of := "A", 0.1+0.01*r.NormFloat64()
		if c >= 1000 {
			revision, of = "B", of+0.002
		}
		chain := fmt.Sprint("chain ", c)
		for range 500 {
			joints = append(joints, Joint{Revision: revision, Chain: chain, Value: of + 0.02*r.NormFloat64(), U: 0.005, Distance: 20000})
		}
	}
	return joints
}

// A million joints are taken in and compared, Welch and mixed model included.
func BenchmarkMillionJoints(b *testing.B) {
	joints := million()
	b.ReportAllocs()
	for b.Loop() {
		compareAll(b, joints)
	}
}

// The same with every joint named, so that photos of one would be averaged.
func BenchmarkMillionNamedJoints(b *testing.B) {
	joints := million()
	for i := range joints {
		joints[i].Joint = fmt.Sprint(i % 500)
	}
	b.ReportAllocs()
	for b.Loop() {
		compareAll(b, joints)
	}
}

func compareAll(b *testing.B, joints []Joint) {
	s := study(b, joints...)
	c := compared(b, s, 0)
	if c.Model == nil || c.Differences[0].ByModel == nil || c.Revisions[0].Joints != 500_000 {
		b.Fatalf("%+v", c.Model)
	}
}
