package compare

import (
	"math"
	"slices"
)

// ranges is the average-and-range method (AIAG, Measurement Systems
// Analysis): standard deviations are ranges over the d2 of so many values for
// repeats, and over the d2* of one group for people and joints.
func (c crossed) ranges() Gauge {
	people, joints, times := len(c), len(c[0]), len(c[0][0])
	repeatRange := 0.0
	byPerson, byJoint := make([]float64, people), make([]float64, joints)
	for i := range c {
		for j, photos := range c[i] {
			repeatRange += (slices.Max(photos) - slices.Min(photos)) / float64(people*joints)
			mean := sampleOf(photos).mean
			byPerson[i] += mean / float64(joints)
			byJoint[j] += mean / float64(people)
		}
	}
	d2, _ := rangeMoments(times)
	_, ofJoints := rangeMoments(joints)
	g := Gauge{
		Repeatability: repeatRange / d2,
		Joints:        (slices.Max(byJoint) - slices.Min(byJoint)) / ofJoints,
	}
	if people > 1 {
		_, ofPeople := rangeMoments(people)
		seen := (slices.Max(byPerson) - slices.Min(byPerson)) / ofPeople
		g.Reproducibility = math.Sqrt(max(seen*seen-g.Repeatability*g.Repeatability/float64(joints*times), 0))
	}
	return g
}
