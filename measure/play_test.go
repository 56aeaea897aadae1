package measure

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/calib"
	"pinlash/measure/check"
	"pinlash/measure/geom"
	"pinlash/measure/uncert"
)

// playScale is 9 µm a pixel, exact, without tilt or distortion.
func playScale() calib.Scale {
	return calib.Scale{MMPerPx: uncert.Combine(0.009, "mm/px", nil), W: 1600, H: 1200}
}

// twoLinks is a motion by way, with the camera moved by shift and the moving
// link seen 500 px beside the joint.
func twoLinks(way, shift r2.Vec) geom.Motion {
	body := func(at, by r2.Vec) geom.Body {
		b := geom.Body{DF: 100, Spread: 200}
		b.Motion.Center, b.Motion.Shift = at, by
		b.Motion.Cov[0][0], b.Motion.Cov[1][1] = 1e-4, 1e-4
		b.Motion.Cov[2][2], b.Motion.Cov[3][3] = 1e-10, 1e-10
		return b
	}
	return geom.Motion{
		Fixed:  body(r2.Vec{X: 700, Y: 600}, shift),
		Moving: body(r2.Vec{X: 1200, Y: 500}, r2.Add(shift, way)),
		Joint:  r2.Vec{X: 700, Y: 500}, JointU: 2, JointR: 150, W: 1600, H: 1200,
	}
}

func mustPlay(t *testing.T, m geom.Motion, o PlayOptions) PlayResult {
	t.Helper()
	r, err := Play(m, playScale(), o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestPlay(t *testing.T) {
	r := mustPlay(t, twoLinks(r2.Vec{X: 12, Y: 5}, r2.Vec{}), PlayOptions{SamePlane: true})
	if want := 13 * 0.009; math.Abs(r.Play.Value-want) > 1e-4*want || !r.Distinct || r.Swapped {
		t.Errorf("play %v, distinct %v, swapped %v, want %v", r.Play.Value, r.Distinct, r.Swapped, want)
	}
	if want := math.Atan2(5, 12) * 180 / math.Pi; math.Abs(r.PullDirection.Value-want) > 1e-6 {
		t.Errorf("direction %v, want %v", r.PullDirection.Value, want)
	}
	// The same photos the other way round say the same.
	back := mustPlay(t, twoLinks(r2.Vec{X: -12, Y: -5}, r2.Vec{}), PlayOptions{SamePlane: true})
	if !back.Swapped || math.Abs(back.Play.Value-r.Play.Value) > 1e-9 || math.Abs(back.PullDirection.Value-r.PullDirection.Value) > 1e-6 {
		t.Errorf("swapped %v: play %v, direction %v", back.Swapped, back.Play.Value, back.PullDirection.Value)
	}
}

func TestZeroPlay(t *testing.T) {
	r := mustPlay(t, twoLinks(r2.Vec{X: 0.02, Y: -0.01}, r2.Vec{}), PlayOptions{SamePlane: true})
	if r.Distinct || r.Play.Lower != 0 || r.Play.Upper <= 0 || len(r.Notes) == 0 {
		t.Errorf("%+v", r)
	}
}

// A link 1.3 mm below the scale at 160 mm looks 160/161.3 as large and follows
// the camera's shift that much less.
// Of two links one of which is known ten times worse, that one's degrees of
// freedom count; of two alike, those of both (JCGM 100, G.4.1).
func TestDegreesOfFreedomOfPlay(t *testing.T) {
	m := twoLinks(r2.Vec{X: 3}, r2.Vec{})
	m.Fixed.DF, m.Moving.DF = 6, 6
	m.Moving.Motion.Center = m.Fixed.Motion.Center
	if df := lightDF(m); math.Abs(df-12) > 1e-9 {
		t.Errorf("two links alike, 6 each: %v, want 12", df)
	}
	for i := range 4 {
		for j := range 4 {
			m.Moving.Motion.Cov[i][j] *= 100
		}
	}
	// (1+100)^2 / (1/6 + 100^2/6)
	if df := lightDF(m); math.Abs(df-6*101*101/10001.) > 1e-9 {
		t.Errorf("one link ten times worse: %v, want 6.12", df)
	}
}

func TestPlayPlane(t *testing.T) {
	plane := calib.Plane{Offset: -1.3, WorkingDistance: 160}
	shift := r2.Vec{X: 4, Y: -3}
	true3 := r2.Vec{X: 20, Y: 0} // in the plane of the scale
	seen := r2.Add(r2.Scale(160/161.3, true3), r2.Scale(-1.3/161.3, shift))
	r := mustPlay(t, twoLinks(seen, shift), PlayOptions{Plane: plane})
	if want := 20 * 0.009; math.Abs(r.Play.Value-want) > 1e-4*want {
		t.Errorf("play %v, want %v", r.Play.Value, want)
	}
	unknown := mustPlay(t, twoLinks(seen, shift), PlayOptions{})
	if want := 20 * 0.009; unknown.Play.Lower > want || unknown.Play.Upper < want || unknown.Play.U < 2*r.Play.U {
		t.Errorf("plane not known: %v to %v, u %v; known: u %v", unknown.Play.Lower, unknown.Play.Upper, unknown.Play.U, r.Play.U)
	}
	if _, err := Play(twoLinks(seen, shift), playScale(), PlayOptions{Plane: calib.Plane{Offset: 100, WorkingDistance: 160}}); err == nil {
		t.Error("a link 100 mm above the scale at 160 mm was taken")
	}
}

// The claim of zero play must fail once in a thousand times, and the interval
// hold in at least 93 % of them at any play: 4000 normal motions each; the
// bounds allow three standard deviations of the count.
func TestPlayCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	const trials = 4000
	for _, play := range []float64{0, 0.05, 0.3, 5} {
		held, distinct := 0, 0
		for range trials {
			// Standard deviation per axis: 0.01 px of each body's light, and
			// motionFloor.
			sd := math.Sqrt(2e-4 + motionFloor*motionFloor)
			way := r2.Vec{X: play + sd*r.NormFloat64(), Y: sd * r.NormFloat64()}
			m := twoLinks(way, r2.Vec{})
			got, err := Play(m, playScale(), PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}})
			if err != nil {
				t.Fatal(err)
			}
			if want := play * 0.009; got.Play.Lower <= want && want <= got.Play.Upper {
				held++
			}
			if got.Distinct {
				distinct++
			}
		}
		share := float64(held) / trials
		t.Logf("play %v px: interval holds in %.3f, distinct in %.4f", play, share, float64(distinct)/trials)
		if share < 0.93 {
			t.Errorf("play %v px: interval holds in %.3f of the trials", play, share)
		}
		if play >= 0.3 && share > 0.97 {
			t.Errorf("play %v px: interval holds in %.3f of the trials, too wide", play, share)
		}
		if play == 0 && float64(distinct)/trials > distinctAt+3*math.Sqrt(distinctAt/trials) {
			t.Errorf("zero play called distinct in %d of %d", distinct, trials)
		}
	}
}

// rocked is a clip: the link rests at either end, creeps over between them and
// is seen with noise sd, pixels.
func rocked(r *rand.Rand, play, sd float64, ways, rest int) geom.Series {
	s := geom.Series{Motion: twoLinks(r2.Vec{X: play}, r2.Vec{})}
	add := func(x float64) {
		f := geom.Frame{Index: len(s.Frames), Way: r2.Vec{X: x + sd*r.NormFloat64(), Y: sd * r.NormFloat64()}}
		f.Cov[0][0], f.Cov[1][1] = sd*sd, sd*sd
		s.Frames = append(s.Frames, f)
	}
	for w := range ways + 1 {
		from := play * float64(w%2)
		for range rest {
			add(from)
		}
		for k := 1; k <= 4 && w < ways; k++ {
			add(from + (play-2*from)*float64(k)/5)
		}
	}
	return s
}

func TestPlayOfClip(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 3))
	for _, play := range []float64{0.5, 5, 20} {
		held := 0
		const trials = 200
		for range trials {
			s := rocked(r, play, 0.03, 5, 8)
			got, err := PlaySeries(s, playScale(), PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}})
			if err != nil {
				t.Fatal(err)
			}
			if got.Reversals != 5 || !got.Distinct {
				t.Fatalf("play %v: %d reversals, distinct %v", play, got.Reversals, got.Distinct)
			}
			if math.Abs(got.Play.Value/0.009-play) > 0.1 {
				t.Fatalf("play %v: got %v px", play, got.Play.Value/0.009)
			}
			if got.Play.Lower <= play*0.009 && play*0.009 <= got.Play.Upper {
				held++
			}
		}
		if held < trials*93/100 {
			t.Errorf("play %v: interval holds in %d of %d", play, held, trials)
		}
	}
	still := rocked(r, 0, 0.03, 5, 8)
	got, err := PlaySeries(still, playScale(), PlayOptions{SamePlane: true})
	if err != nil || got.Distinct || got.Play.Lower != 0 {
		t.Errorf("no play: %v, %v", got.Play, err)
	}
	once := rocked(r, 5, 0.03, 1, 8)
	var refused *check.Refusal
	if _, err := PlaySeries(once, playScale(), PlayOptions{SamePlane: true}); !errors.As(err, &refused) {
		t.Errorf("rocked only once: %v", err)
	}
}

// Five photos of each state, of which one agrees badly with the others, have
// the repeatability in the budget.
func TestPlayOfRepeats(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 3))
	const trials, play, sd = 400, 4.0, 0.3
	held := 0
	for range trials {
		s := geom.Series{Motion: twoLinks(r2.Vec{X: play}, r2.Vec{})}
		for i := range 10 {
			f := geom.Frame{Index: i, State: geom.Together, Way: r2.Vec{X: sd * r.NormFloat64(), Y: sd * r.NormFloat64()}}
			if i >= 5 {
				f.State = geom.Apart
				f.Way.X += play
			}
			s.Frames = append(s.Frames, f)
		}
		got, err := PlaySeries(s, playScale(), PlayOptions{Plane: calib.Plane{WorkingDistance: 1e5}})
		if err != nil {
			t.Fatal(err)
		}
		if got.Play.Lower <= play*0.009 && play*0.009 <= got.Play.Upper {
			held++
		}
	}
	// 95 % of 400 with three standard deviations of the count.
	if held < 367 || held > 393 {
		t.Errorf("interval holds in %d of %d", held, trials)
	}
}
