package wear

import "pinlash/measure/uncert"

// GrowthOfJoint returns what a joint seen end-on adds to the length of the
// tight chain, in mm. The photo tells the clearance of the unworn circles
// apart from the wear on the loaded flanks, so the share of the added play
// that lengthens the chain is known. With the chain tight the pin lies against
// the loaded flank, half the clearance plus the wear from the bore's centre;
// when new it lay half the new play away:
//
//	growth = clearance/2 + (play - clearance) - new play/2
//
// which is f (play - new play) with f = 1/2 for a joint that has opened all
// round and f = 1 for one whose unworn circles still have the new clearance.
// Play and clearance come from one photo: parts of one name have one cause.
// The new play is independent of them.
func GrowthOfJoint(play, clearance, newPlay uncert.Quantity) (Growth, error) {
	for _, f := range []struct {
		name string
		q    uncert.Quantity
	}{{"play", play}, {"clearance", clearance}, {"new play", newPlay}} {
		if err := usable(f.name, f.q, "mm"); err != nil {
			return Growth{}, err
		}
	}
	var shared []string
	for _, t := range partsOf(clearance) {
		shared = append(shared, t.Name)
	}
	unworn := uncert.Sum(clearance, newPlay).Scaled(0.5, "mm")
	return Figure(difference(play, unworn, shared)), nil
}
