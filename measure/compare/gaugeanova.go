package compare

import "math"

// sumsOfSquares is the two-way analysis of variance with repeats.
type sumsOfSquares struct {
	people, joints, interaction, repeat float64
	peopleN, jointsN, times             float64
	interactionFreedom, photoFreedom    float64 // degrees of freedom
}

// poolAbove is the chance above which an interaction is taken for repeat
// scatter (Bancroft 1964, Biometrics 20:427, on preliminary tests).
const poolAbove = 0.25

func (c crossed) anova() sumsOfSquares {
	p, n, r := float64(len(c)), float64(len(c[0])), float64(len(c[0][0]))
	s := sumsOfSquares{peopleN: p, jointsN: n, times: r, interactionFreedom: (p - 1) * (n - 1), photoFreedom: p * n * (r - 1)}
	byPerson, byJoint := make([]sample, len(c)), make([]sample, len(c[0]))
	for i := range c {
		for j := range c[i] {
			photo := sampleOf(c[i][j])
			s.repeat += photo.ss
			byPerson[i].add(photo.mean)
			byJoint[j].add(photo.mean)
		}
	}
	var persons, joints sample
	for _, m := range byPerson {
		persons.add(m.mean)
	}
	for _, m := range byJoint {
		joints.add(m.mean)
	}
	for i := range c {
		for j := range c[i] {
			d := sampleOf(c[i][j]).mean - byPerson[i].mean - byJoint[j].mean + joints.mean
			s.interaction += r * d * d
		}
	}
	s.people, s.joints = n*r*persons.ss, p*r*joints.ss
	return s
}

// interactionF returns the ratio of interaction to repeat scatter and its
// chance; 0 and 1 with one person.
func (s sumsOfSquares) interactionF() (ratio, chance float64) {
	if s.interactionFreedom == 0 {
		return 0, 1
	}
	ratio = s.interaction / s.interactionFreedom / (s.repeat / s.photoFreedom)
	return ratio, fBeyond(ratio, s.interactionFreedom, s.photoFreedom)
}

// repeatFreedom is that of the repeatability.
func (s sumsOfSquares) repeatFreedom() float64 {
	if _, chance := s.interactionF(); chance > poolAbove {
		return s.photoFreedom + s.interactionFreedom
	}
	return s.photoFreedom
}

// gauge solves the expected mean squares (AIAG, Measurement Systems Analysis,
// appendix A).
func (s sumsOfSquares) gauge(limit float64) (Gauge, float64) {
	repeat := s.repeat / s.photoFreedom
	var against, interaction float64
	_, chance := s.interactionF()
	if chance > poolAbove {
		repeat = (s.repeat + s.interaction) / (s.photoFreedom + s.interactionFreedom)
		against = repeat
	} else {
		against = s.interaction / s.interactionFreedom
		interaction = max(against-repeat, 0) / s.times
	}
	people := 0.0
	if s.peopleN > 1 {
		people = max(s.people/(s.peopleN-1)-against, 0)/(s.jointsN*s.times) + interaction
	}
	joints := max(s.joints/(s.jointsN-1)-against, 0) / (s.peopleN * s.times)
	return Gauge{
		Repeatability:   math.Sqrt(repeat),
		Reproducibility: math.Sqrt(people),
		Joints:          math.Sqrt(joints),
	}.finished(limit), chance
}
