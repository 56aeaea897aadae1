package compare

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// crossed has the readings by person, joint and repeat.
type crossed [][][]float64

// cross sorts readings into a full cross of people and joints, both in the
// order of their names.
func cross(readings []Reading) (crossed, []string, error) {
	values := map[[2]string][]float64{}
	var people, joints []string
	for _, r := range readings {
		if !slices.Contains(people, r.Person) {
			people = append(people, r.Person)
		}
		key := [2]string{r.Person, r.Joint}
		if _, seen := values[key]; !seen {
			joints = append(joints, r.Joint)
		}
		values[key] = append(values[key], orZero(r.Value))
	}
	slices.Sort(people)
	slices.Sort(joints)
	joints = slices.Compact(joints)

	// A joint that somebody has not repeated tells nothing here.
	times, kept := 0, []string(nil)
	for _, j := range joints {
		fewest := math.MaxInt
		for _, p := range people {
			fewest = min(fewest, len(values[[2]string{p, j}]))
		}
		if fewest < 2 {
			continue
		}
		if len(kept) == 0 || fewest < times {
			times = fewest
		}
		kept = append(kept, j)
	}
	if len(kept) < 2 {
		return nil, nil, errors.New("a repeatability study needs two joints at least that every person has measured twice")
	}
	c := make(crossed, len(people))
	for i, p := range people {
		for _, j := range kept {
			c[i] = append(c[i], values[[2]string{p, j}][:times])
		}
	}
	if used := len(people) * len(kept) * times; used < len(readings) {
		return c, []string{fmt.Sprintf("%d of %d readings used: every person has to have every joint equally often", used, len(readings))}, nil
	}
	return c, nil, nil
}
