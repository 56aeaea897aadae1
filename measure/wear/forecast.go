package wear

import (
	"errors"
	"fmt"
	"math"

	"pinlash/measure/uncert"
)

// Inspection is the growth of a chain at a running distance.
type Inspection struct {
	Distance float64 // km, hours or any other count of running
	Growth   uncert.Quantity
}

// Trend is a straight line through the inspections of a chain,
//
//	growth = running-in + slope x distance.
//
// Running-in is the growth the line shows at distance zero: what the first
// bedding of pins and bushes added, kept apart from the steady wear.
//
// That the line is straight is Archard's law for an even pressure: depth goes
// with the distance slid. No wear coefficient enters, the inspections give the
// slope. The contact of a worn pin and bush widens (Kauzlarich and Williams
// 2001, Proc IMechE J 215:387), the pressure sinks and the line bends: it is
// sound between inspections and not far beyond the last.
type Trend struct {
	RunningIn uncert.Quantity // in the unit of the growth
	Slope     uncert.Quantity // growth per distance
	Scatter   float64         // standard deviation of an inspection about the line
	DF        float64         // of Scatter
	Used      int             // inspections in the line
	Last      float64         // largest distance among them

	unit, distanceUnit      string
	meanX, meanY, b, spread float64 // spread is the sum of (x - mean x)^2
}

// leastInspections is the fewest a line is drawn through: two always lie on
// one and show nothing of their scatter.
const leastInspections = 3

// FitTrend draws the line by least squares through the inspections beyond the
// running-in distance; those up to it, and always one at distance zero, are
// left out, since the growth of the first hours is steeper. Fewer than three
// are refused, and so are three at only two distances.
//
// The scatter is that of the inspections about the line, or the root mean
// square of their own uncertainties where that is larger: three points may lie
// on a line by luck. An error common to all inspections, such as one scale, is
// not in it.
func FitTrend(inspections []Inspection, runningIn float64, distanceUnit string) (Trend, error) {
	if err := sane("running-in distance", runningIn); err != nil {
		return Trend{}, err
	}
	var used []Inspection
	for _, in := range inspections {
		if err := usable("growth at an inspection", in.Growth, inspections[0].Growth.Unit); err != nil {
			return Trend{}, err
		}
		if err := sane("distance at an inspection", in.Distance); err != nil {
			return Trend{}, err
		}
		if in.Distance < 0 {
			return Trend{}, fmt.Errorf("distance at an inspection is %g, want zero or more", in.Distance)
		}
		if in.Distance > max(runningIn, 0) {
			used = append(used, in)
		}
	}
	distances := map[float64]bool{}
	for _, in := range used {
		distances[in.Distance] = true
	}
	if len(distances) < leastInspections {
		return Trend{}, fmt.Errorf("a forecast needs inspections at %d distances beyond running-in, got %d", leastInspections, len(distances))
	}

	n := float64(len(used))
	t := Trend{DF: n - 2, Used: len(used), unit: used[0].Growth.Unit, distanceUnit: distanceUnit}
	for _, in := range used {
		t.meanX += in.Distance / n
		t.meanY += in.Growth.Value / n
		t.Last = max(t.Last, in.Distance)
	}
	var cross, own float64
	for _, in := range used {
		dx := in.Distance - t.meanX
		t.spread += dx * dx
		cross += dx * (in.Growth.Value - t.meanY)
		own += in.Growth.U * in.Growth.U / n
	}
	if t.spread == 0 {
		return Trend{}, errors.New("distances are too close together for a line")
	}
	t.b = cross / t.spread
	var squares float64
	for _, in := range used {
		r := in.Growth.Value - t.meanY - t.b*(in.Distance-t.meanX)
		squares += r * r
	}
	t.Scatter = math.Sqrt(max(squares/t.DF, own))
	t.Slope = uncert.Combine(t.b, t.unit+"/"+distanceUnit, t.budget(t.Scatter/math.Sqrt(t.spread)))
	t.RunningIn = uncert.Combine(t.meanY-t.b*t.meanX, t.unit, t.budget(t.Scatter*math.Sqrt(1/n+t.meanX*t.meanX/t.spread)))
	return t, nil
}

func (t Trend) budget(u float64) uncert.Budget {
	return uncert.Budget{{Name: "inspections scatter about the line", U: u, DF: t.DF}}
}

// At returns the growth on the line at a distance, and the growth one more
// inspection there would show: its 95 % interval is the prediction interval.
func (t Trend) At(distance float64) (line, inspection uncert.Quantity, err error) {
	if err := sane("distance", distance); err != nil {
		return uncert.Quantity{}, uncert.Quantity{}, err
	}
	dx := distance - t.meanX
	of := 1/float64(t.Used) + dx*dx/t.spread
	value := t.meanY + t.b*dx
	line = uncert.Combine(value, t.unit, t.budget(t.Scatter*math.Sqrt(of)))
	inspection = uncert.Combine(value, t.unit, t.budget(t.Scatter*math.Sqrt(1+of)))
	return line, inspection, nil
}

// ErrNoTrend says that growth cannot be told from none over the inspected
// distances, so that no distance can be named for a limit.
var ErrNoTrend = errors.New("growth does not yet stand out from the scatter of the inspections; inspect again after more running")

// Forecast says when a chain meets its limit.
type Forecast struct {
	// At is the distance at which the line meets the limit. Its bounds are
	// the prediction interval: between them an inspection would first show
	// the limit with 95 % probability. They are Fieller's and lie unevenly
	// about the value.
	At uncert.Quantity
	// Left is At counted from the last inspection; below zero it has passed.
	Left uncert.Quantity
}

// Meets returns the distance at which the growth meets a limit in its own
// unit: all x for which the limit lies in the prediction interval at x, which
// are, with D = x - mean x,
//
//	(b D + mean y - limit)^2 <= t^2 s^2 (1 + 1/n + D^2/Sxx)
//
// (Fieller's theorem; Draper and Smith, Applied Regression Analysis, inverse
// regression). Where the slope does not differ from zero the set has no upper
// end and ErrNoTrend is returned.
func (t Trend) Meets(limit float64) (Forecast, error) {
	if err := sane("limit", limit); err != nil {
		return Forecast{}, err
	}
	k := uncert.CoverageFactor(0.95, t.DF)
	noise := k * k * t.Scatter * t.Scatter
	a := t.b*t.b - noise/t.spread
	if t.b <= 0 || a <= 0 {
		return Forecast{}, ErrNoTrend
	}
	c := limit - t.meanY
	one := 1 + 1/float64(t.Used)
	half := math.Sqrt(noise * (a*one + c*c/t.spread))
	d := c / t.b
	at := uncert.Combine(t.meanX+d, t.distanceUnit, t.budget(t.Scatter/t.b*math.Sqrt(one+d*d/t.spread)))
	at.Lower, at.Upper = t.meanX+(t.b*c-half)/a, t.meanX+(t.b*c+half)/a
	for _, v := range []float64{at.Value, at.Lower, at.Upper} {
		if sane("distance", v) != nil {
			return Forecast{}, ErrNoTrend
		}
	}
	left := at
	left.Value, left.Lower, left.Upper = at.Value-t.Last, at.Lower-t.Last, at.Upper-t.Last
	return Forecast{At: at, Left: left}, nil
}
