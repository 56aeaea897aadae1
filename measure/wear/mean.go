package wear

import "pinlash/measure/uncert"

// MeanReading returns the mean of one figure of a chain, such as its growth in
// percent, found in several spans of it. Parts named in shared have one cause
// in all and do not shrink. Where the figures scatter more than their own
// uncertainties make them, the scatter counts.
func MeanReading(figures []uncert.Quantity, shared ...string) (uncert.Quantity, error) {
	if err := atLeast("number of readings", len(figures), 1); err != nil {
		return uncert.Quantity{}, err
	}
	for _, q := range figures {
		if err := usable("reading", q, figures[0].Unit); err != nil {
			return uncert.Quantity{}, err
		}
	}
	return meanOf(figures, shared, "places differ"), nil
}
