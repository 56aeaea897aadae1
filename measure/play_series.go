package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
)

// Limits of a clip, from the design's section on clips where not marked (L),
// judgement.
const (
	minStopFrames = 3   // frames at each end
	minReversals  = 2   // ways from one end to the other
	trimStops     = 0.2 // share of the frames at either side of an end that is trimmed
	// stopsApart is how far the two ends must lie apart, in standard deviations
	// of a frame, to be two: halves of pure noise lie 2.7 apart (L).
	stopsApart = 5.0
	// trimmedLoss is the variance of a mean trimmed by 20 % at either side over
	// that which the scatter of the frames left suggests, for normal errors:
	// (0.412/0.36) / (0.2145/0.6), from the moments of the normal distribution
	// cut at its 20 % points.
	trimmedLoss = 3.2
	slowShare   = 0.05 // of the range, by which a frame at rest may move (L)
)

// PlaySeries is Play for repeated photos of both states, or for a clip of the
// joint being rocked. The play is the distance of the means of both states,
// and its uncertainty comes from how well the photos of one state agree.
//
// In a clip the two states are the two ends at which the link rests: the
// frames at rest fall into two groups along the line of pull, and of each the
// middle 60 % are averaged. The largest minus the smallest would grow with the
// number of frames.
//
// The error is a *check.Refusal when a clip does not show both ends often
// enough.
func PlaySeries(s geom.Series, scale calib.Scale, o PlayOptions) (PlayResult, error) {
	p, err := newPlayed(s.Motion, scale, o)
	if err != nil {
		return PlayResult{}, err
	}
	frames := s.Used()
	for i := range frames {
		frames[i].Way = p.levelled(frames[i].Way, frames[i].Shift)
	}
	clip := !slices.ContainsFunc(frames, func(f geom.Frame) bool { return f.State != geom.Unknown })
	apart := true
	if clip {
		apart = stops(frames, r2.Sub(s.Moving.Motion.Center, s.Joint))
	}
	together, pulled := meanOf(frames, geom.Together), meanOf(frames, geom.Apart)
	reversals := turns(frames)
	least := 1
	if clip {
		least = minStopFrames
	}
	if n := min(together.n, pulled.n); n < least || clip && apart && reversals < minReversals {
		refused := check.Refuse(check.NotFound, fmt.Sprintf("the joint was seen at rest in %d frames at one end and %d at the other, and went over %d times: at least %d, %d and %d are needed",
			together.n, pulled.n, reversals, least, least, minReversals))
		refused.Remedy = "rock the joint to both ends at least twice, and pause at each"
		return PlayResult{}, refused
	}
	p.way = r2.Sub(pulled.way, together.way)
	p.turn = pulled.turn - together.turn
	p.moved(scale, r2.Sub(pulled.shift, together.shift))
	p.scatter(together, pulled)
	if clip {
		for i := range 2 {
			for j := range 2 {
				p.light[i][j] *= trimmedLoss
			}
		}
	}
	if !apart {
		// No two ends were told apart: how far the halves of the noise lie
		// apart is all that can be said.
		d := r2.Norm2(p.way)
		p.light[0][0] += d
		p.light[1][1] += d
	}
	r := p.result(scale)
	r.Photos = [2]int{together.n, pulled.n}
	if clip {
		r.Reversals = reversals
		r.Track = p.track(s, frames, together.way, scale)
		r.Checks = append(r.Checks,
			check.AtLeast("frames at each end", float64(min(together.n, pulled.n)), minStopFrames))
	}
	return r, nil
}

// mean is a state's photos averaged.
type mean struct {
	n           int
	way, shift  r2.Vec
	turn, turn2 float64       // mean, and sum of squares about it
	squares     [2][2]float64 // of the way about its mean
	own         [2][2]float64 // mean covariance of one photo
}

func meanOf(frames []geom.Frame, state geom.State) mean {
	var m mean
	for _, f := range frames {
		if f.State != state {
			continue
		}
		m.n++
		m.way, m.shift, m.turn = r2.Add(m.way, f.Way), r2.Add(m.shift, f.Shift), m.turn+f.Turn
		for i := range 2 {
			for j := range 2 {
				m.own[i][j] += f.Cov[i][j]
			}
		}
	}
	k := 1 / float64(max(m.n, 1))
	m.way, m.shift, m.turn = r2.Scale(k, m.way), r2.Scale(k, m.shift), k*m.turn
	for i := range 2 {
		for j := range 2 {
			m.own[i][j] *= k
		}
	}
	for _, f := range frames {
		if f.State != state {
			continue
		}
		d := r2.Sub(f.Way, m.way)
		m.squares[0][0] += d.X * d.X
		m.squares[0][1] += d.X * d.Y
		m.squares[1][0] += d.X * d.Y
		m.squares[1][1] += d.Y * d.Y
		m.turn2 += (f.Turn - m.turn) * (f.Turn - m.turn)
	}
	return m
}

// scatter sets the covariance of the way from how well the photos of each
// state agree. With one photo of each it is that of their registrations.
func (p *played) scatter(a, b mean) {
	each := 1/float64(a.n) + 1/float64(b.n)
	df := float64(a.n + b.n - 2)
	if df < 1 {
		p.df = lightDF(p.m)
		for i := range 2 {
			for j := range 2 {
				p.light[i][j] = a.own[i][j] + b.own[i][j]
			}
		}
		p.turnU = math.Sqrt(max(p.m.Relative().Cov[3][3], 0))
		return
	}
	p.df = df
	for i := range 2 {
		for j := range 2 {
			p.light[i][j] = (a.squares[i][j] + b.squares[i][j]) / df * each
		}
	}
	p.turnU = math.Sqrt((a.turn2 + b.turn2) / df * each)
}

// stops gives the frames at rest at either end their state, the end nearer to
// toward being Apart, and says whether there are two ends.
func stops(frames []geom.Frame, toward r2.Vec) (apart bool) {
	if len(frames) < 4 {
		return true
	}
	axis := mainAxis(frames)
	if r2.Dot(axis, toward) < 0 {
		axis = r2.Scale(-1, axis)
	}
	along := make([]float64, len(frames))
	for i, f := range frames {
		along[i] = r2.Dot(f.Way, axis)
	}
	sorted := slices.Sorted(slices.Values(along))
	lo, hi := sorted[len(sorted)/20], sorted[len(sorted)-1-len(sorted)/20]
	// A frame rests when it hardly moves to the next, against the range and
	// against what the registration itself scatters.
	noise := 0.0
	for _, f := range frames {
		noise += axis.X*axis.X*f.Cov[0][0] + 2*axis.X*axis.Y*f.Cov[0][1] + axis.Y*axis.Y*f.Cov[1][1]
	}
	noise = math.Sqrt(noise / float64(len(frames)))
	slow := max(slowShare*(hi-lo), 4*noise)
	var low, high []int
	middle := twoMeans(along, lo, hi)
	for i := range frames {
		rests := true
		for _, k := range []int{i - 1, i + 1} {
			if k >= 0 && k < len(frames) && frames[k].Index-frames[i].Index == k-i {
				rests = rests && math.Abs(along[k]-along[i]) <= slow
			}
		}
		switch {
		case !rests:
		case along[i] < middle:
			low = append(low, i)
		default:
			high = append(high, i)
		}
	}
	var within, n float64
	for s, group := range [][]int{low, high} {
		slices.SortFunc(group, func(i, j int) int { return cmp.Compare(along[i], along[j]) })
		trim := int(trimStops * float64(len(group)))
		for _, i := range group[trim : len(group)-trim] {
			frames[i].State = geom.State(int(geom.Together) + s)
		}
		if len(group) == 0 {
			continue
		}
		centre := along[group[len(group)/2]]
		for _, i := range group {
			within += math.Abs(along[i] - centre)
			n++
		}
	}
	if len(low) == 0 || len(high) == 0 || n == 0 {
		return true
	}
	// Mean size of a normal deviation to its standard deviation.
	sd := max(within/n*math.Sqrt(math.Pi/2), noise)
	gap := along[high[len(high)/2]] - along[low[len(low)/2]]
	return gap > stopsApart*sd
}

// mainAxis returns the unit vector along which the ways vary most.
func mainAxis(frames []geom.Frame) r2.Vec {
	var mid r2.Vec
	for _, f := range frames {
		mid = r2.Add(mid, r2.Scale(1/float64(len(frames)), f.Way))
	}
	var xx, xy, yy float64
	for _, f := range frames {
		d := r2.Sub(f.Way, mid)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	return r2.Vec{X: cos, Y: sin}
}

// twoMeans returns the border between the two groups that values fall into,
// starting from lo and hi.
func twoMeans(v []float64, lo, hi float64) float64 {
	for range 20 {
		var sum, n [2]float64
		for _, x := range v {
			k := 0
			if x > (lo+hi)/2 {
				k = 1
			}
			sum[k] += x
			n[k]++
		}
		if n[0] == 0 || n[1] == 0 {
			break
		}
		lo, hi = sum[0]/n[0], sum[1]/n[1]
	}
	return (lo + hi) / 2
}

// turns counts how often the frames go from one end to the other.
func turns(frames []geom.Frame) int {
	n, last := 0, geom.Unknown
	for _, f := range frames {
		if f.State == geom.Unknown {
			continue
		}
		if last != geom.Unknown && f.State != last {
			n++
		}
		last = f.State
	}
	return n
}

// track returns where the link was along the pull, frame by frame.
func (p played) track(s geom.Series, used []geom.Frame, from r2.Vec, scale calib.Scale) []TrackPoint {
	line := p.way
	if r2.Norm(line) == 0 {
		line = r2.Vec{X: 1}
	}
	line = r2.Unit(line)
	mm := p.perPx(scale, line, 0).Value
	state := map[int]geom.State{}
	for _, f := range used {
		state[f.Index] = f.State
	}
	var out []TrackPoint
	for _, f := range s.Frames {
		t := TrackPoint{Frame: f.Index, State: state[f.Index], Left: f.Left}
		if f.Left == "" {
			t.AlongMM = mm * r2.Dot(r2.Sub(p.levelled(f.Way, f.Shift), from), line)
		}
		out = append(out, t)
	}
	return out
}
