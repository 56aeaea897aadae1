package subpixel

import (
	"errors"
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"pinlash/measure/geom"
)

// ErrNoTexture says that the tiles show too little to tell where they went.
var ErrNoTexture = errors.New("subpixel: too little texture to register")

// Registration is a movement fitted to the light of many tiles.
type Registration struct {
	Motion geom.Similarity
	Tiles  []TileFit
	// DF is the number of degrees of freedom of the covariance.
	DF float64
	// Skew is what more than a movement there is; its U is 0 if that is not
	// known.
	Skew Skew
}

// TileFit is what one tile of the first photo says of a movement.
type TileFit struct {
	Rect image.Rectangle
	// Stray is how far the movement is off for the tile, in standard
	// deviations: the length of a standard normal vector when it is right.
	Stray float64
	// Off is the same in pixels, where the tile shows most of a movement.
	Off float64
	// Match is the correlation of the light in both photos, -1 to 1.
	Match  float64
	Weight float64 // 0 rejected to 1
	Seen   bool    // enough of the tile is in both photos and free of glare
}

const (
	registerPasses = 18
	roughPasses    = 9    // when a step of roughStep pixels is short enough:
	roughStep      = 0.02 // the next registration goes on from there
	plainPasses    = 2    // passes in which all tiles count
	farPasses      = 6    // for so many passes the movement may still be far off,
	farStep        = 0.03 // as long as a step is longer than this, pixels
	minTiles       = 6
	// huberCut is where the pull of a pixel stops growing, in standard
	// deviations: 95 % efficient on normal errors.
	huberCut = 1.345
)

// Register finds the movement of the tiles of photo a to photo b, by inverse
// compositional Gauss-Newton steps (Baker and Matthews 2004) from start.
//
// Each tile has its own gain and bias of light, found along with the movement,
// so a lamp that stays behind while the links move does little harm. Pixels
// beside glare take no part; a pixel's pull is limited after Huber, a tile's
// after Tukey. Tiles count by the inverse variance of their own residual.
//
// The fit ends when a step is shorter than done, pixels.
//
// The light between the pixels is that of the cubic B-spline with the pixels
// as coefficients, which smooths by 0.58 px: interpolation leaves no steps at
// whole pixels. The curvature that turns light into pixels is the product of
// the gradients of both photos, in whose mean the noise of neither remains.
// The covariance is that of the tiles' own scatter (a cluster sandwich, with
// the tiles as clusters), so noise that JPEG or smoothing spread over
// neighbouring pixels, and errors of the lighting, are in it.
func Register(a, b Lit, tiles []image.Rectangle, start geom.Similarity, done float64) (Registration, error) {
	return NewTemplate(a, tiles).Register(b, start, done)
}

// Template is a set of tiles of one photo, read once to be found in many.
type Template struct {
	patches []patch
	rows    [2]tileRows // one for each half of the patches
}

// NewTemplate reads tiles of a photo, 3 to 64 pixels wide; others, and those at
// its border, are left out.
func NewTemplate(a Lit, tiles []image.Rectangle) *Template {
	t := &Template{patches: make([]patch, len(tiles))}
	read := make([]bool, len(tiles))
	InHalves(len(tiles), func(_, i int) { t.patches[i], read[i] = newPatch(a, tiles[i]) })
	n := 0
	for i, ok := range read {
		if ok {
			t.patches[n] = t.patches[i]
			n++
		}
	}
	t.patches = t.patches[:n]
	return t
}

// Of returns the template of some of the tiles, without reading the photo
// again. Tiles that the template does not have are left out.
func (t *Template) Of(tiles []image.Rectangle) *Template {
	wanted := make(map[image.Rectangle]bool, len(tiles))
	for _, r := range tiles {
		wanted[r] = true
	}
	part := &Template{patches: make([]patch, 0, len(tiles))}
	for _, p := range t.patches {
		if wanted[p.rect] {
			part.patches = append(part.patches, p)
		}
	}
	return part
}

// InHalves calls do for 0 to n-1, the first and the second half of them at the
// same time. It says in which half it is. A panic in either is one of its own.
func InHalves(n int, do func(half, i int)) {
	done := make(chan any, 1)
	go func() {
		defer func() { done <- recover() }()
		for i := n / 2; i < n; i++ {
			do(1, i)
		}
	}()
	for i := range n / 2 {
		do(0, i)
	}
	if fault := <-done; fault != nil {
		panic(fault)
	}
}

// Register is the function Register for the template's tiles. It must not run
// twice at a time for one template.
func (t *Template) Register(b Lit, start geom.Similarity, done float64) (Registration, error) {
	return t.register(b, start, done, 4)
}

// RegisterShift is Register for bodies so small, or so poor in texture, that
// only their shift can be found: zoom and turn stay those of start.
func (t *Template) RegisterShift(b Lit, start geom.Similarity, done float64) (Registration, error) {
	return t.register(b, start, done, 2)
}

// compare holds all tiles against the second photo and returns how many were
// seen.
func (t *Template) compare(b Lit, m geom.Similarity, near, renew bool) (seen int) {
	InHalves(len(t.patches), func(half, i int) { t.patches[i].compare(b, m, near, renew, &t.rows[half]) })
	for i := range t.patches {
		if t.patches[i].seen {
			seen++
		}
	}
	return seen
}

func (t *Template) register(b Lit, start geom.Similarity, done float64, free int) (Registration, error) {
	patches := t.patches
	r := Registration{Motion: start.About(middleOf(patches, start.Center))}
	r.Motion.Cov = [4][4]float64{}
	if len(patches) < minTiles || !followable(r.Motion) {
		return r, ErrNoTexture
	}
	near, renew := false, false
	passes := registerPasses
	if done >= roughStep {
		passes = roughPasses
	}
	for pass := range passes {
		if seen := t.compare(b, r.Motion, near, renew); seen < minTiles {
			return r, ErrNoTexture
		}
		weigh(patches, pass, near)
		step, ok := solve(patches, r.Motion.Center, free)
		switch {
		case ok:
		case near:
			// Too far off for both photos' gradients to agree.
			near, renew = false, false
			continue
		default:
			return r, ErrNoTexture
		}
		r.Motion = stepped(r.Motion, step)
		if !followable(r.Motion) {
			return r, ErrNoTexture
		}
		moved := math.Hypot(step[0], step[1]) + math.Hypot(step[2], step[3])*spreadOf(patches, r.Motion.Center)
		if near && moved < done {
			break
		}
		renew = !near && (moved < farStep || pass+1 >= farPasses)
		near = near || renew
	}
	if !near {
		t.compare(b, r.Motion, true, true)
		weigh(patches, registerPasses, true)
	}
	var ok bool
	if r.Motion.Cov, r.DF, ok = sandwich(patches, r.Motion.Center, free); !ok {
		return r, ErrNoTexture
	}
	r.Skew, _ = skewOf(patches, r.Motion.Center)
	r.Tiles = fits(patches)
	return r, nil
}

// Compare returns what each of the template's tiles says of a movement, without
// changing it.
func (t *Template) Compare(b Lit, m geom.Similarity) []TileFit {
	if followable(m) {
		t.compare(b, m, false, false)
	} else {
		for i := range t.patches {
			t.patches[i].seen = false
		}
	}
	return fits(t.patches)
}

func fits(patches []patch) []TileFit {
	out := make([]TileFit, len(patches))
	for i, p := range patches {
		out[i] = TileFit{Rect: p.rect, Seen: p.seen, Weight: p.weight, Match: p.match}
		if p.seen {
			out[i].Stray, out[i].Off = p.stray, p.off
		}
	}
	return out
}

// followable says whether a movement is small enough for tiles to look alike
// before and after; a fit that runs away is not.
func followable(m geom.Similarity) bool {
	const mostTurned, farthest = 0.5, 1e6
	return math.Hypot(m.Zoom, m.Turn) < mostTurned && r2.Norm(m.Shift) < farthest
}

// weigh gives every tile its weight by how far it strays from where the
// movement puts it. At first all count, then Huber's weights leave none out:
// the tiles that know best where they are stray most while the movement is
// still off. Near the end it is Tukey's, against the other tiles, and a tile
// on another body is left out.
func weigh(patches []patch, pass int, near bool) {
	var stray []float64
	for i := range patches {
		if patches[i].seen {
			stray = append(stray, patches[i].stray)
		}
	}
	// The median of the length of a standard normal vector in two dimensions
	// is sqrt(2 ln 2). A scale below one is not believed: the tiles' own
	// covariances leave out what neighbouring pixels share.
	scale := 1.0
	if len(stray) > 0 {
		slices.Sort(stray)
		scale = max(1, stray[len(stray)/2]/math.Sqrt(2*math.Ln2))
	}
	for i := range patches {
		p := &patches[i]
		p.weight = 0
		switch u := p.stray / (tukeyCut * scale); {
		case !p.seen:
		case pass < plainPasses:
			p.weight = 1
		case !near:
			p.weight = min(1, huberCut/max(p.stray, 1e-9))
		case u < 1:
			p.weight = (1 - u*u) * (1 - u*u)
		}
	}
}

// lever returns the derivatives of a tile's shift to the four parameters.
func lever(p patch, c r2.Vec) [2][4]float64 {
	dx, dy := p.mid.X-c.X, p.mid.Y-c.Y
	return [2][4]float64{{1, 0, dx, -dy}, {0, 1, dy, dx}}
}

// solve returns the step by which the movement is wrong.
func solve(patches []patch, c r2.Vec, free int) (step [4]float64, ok bool) {
	var h [4][4]float64
	var s [4]float64
	for _, p := range patches {
		if p.weight == 0 {
			continue
		}
		l := lever(p, c)
		for i := range free {
			for k := range 2 {
				s[i] += p.weight * l[k][i] * p.score[k]
				for m := range 2 {
					for j := range free {
						h[i][j] += p.weight * l[k][i] * p.info[k][m] * l[m][j]
					}
				}
			}
		}
	}
	inv, ok := invert(h, free)
	if !ok {
		return step, false
	}
	for i := range free {
		for j := range free {
			step[i] += inv[i][j] * s[j]
		}
	}
	return step, true
}

// sandwich returns the covariance of the movement from the scatter of the
// tiles' scores about it, and its degrees of freedom.
func sandwich(patches []patch, c r2.Vec, free int) (cov [4][4]float64, df float64, ok bool) {
	var h, mid [4][4]float64
	for _, p := range patches {
		if p.weight == 0 {
			continue
		}
		// A tile's pull w t grows with its stray t by w across and by w + t w'
		// along it: with Tukey's w = (1-u²)² on average by (1-u²)(1-3u²). A
		// tile on its way out, where that is negative, counts as out.
		u2 := 1 - math.Sqrt(p.weight)
		pull := max(0, (1-u2)*(1-3*u2))
		l := lever(p, c)
		var s [4]float64
		for i := range free {
			for k := range 2 {
				s[i] += p.weight * l[k][i] * p.score[k]
				for m := range 2 {
					for j := range free {
						h[i][j] += pull * l[k][i] * p.info[k][m] * l[m][j]
					}
				}
			}
		}
		for i := range free {
			for j := range free {
				mid[i][j] += s[i] * s[j]
			}
		}
	}
	inv, ok := invert(h, free)
	if !ok {
		return cov, 0, false
	}
	n := equalTiles(patches, c, inv, free)
	df = n - float64(free)/2
	if !(df >= 1) {
		return cov, 0, false
	}
	for i := range free {
		for j := range free {
			for k := range free {
				for m := range free {
					cov[i][j] += inv[i][k] * mid[k][m] * inv[m][j] * n / df
				}
			}
		}
	}
	return cov, df, true
}

// equalTiles returns how many tiles of equal weight would know a movement as
// well as these do, in the direction of shift, or of turn, in which the fewest
// of them tell: on a brushed face most know nothing along the brush.
//
// A tile's score of covariance J moves the shift along u by g'J g in variance,
// with g = L inv u. Of a sum of such parts v the number is (sum v)² / sum v²
// (Satterthwaite; Bell and McCaffrey 2002).
func equalTiles(patches []patch, c r2.Vec, inv [4][4]float64, free int) float64 {
	sin, cos := math.Sincos(math.Atan2(2*inv[0][1], inv[0][0]-inv[1][1]) / 2)
	fewest := math.Inf(1)
	for _, u := range [][4]float64{{cos, sin}, {-sin, cos}, {3: 1}} {
		var moves [4]float64
		for i := range free {
			for j := range free {
				moves[i] += inv[i][j] * u[j]
			}
		}
		sum, sum2 := 0.0, 0.0
		for _, p := range patches {
			l := lever(p, c)
			var g [2]float64
			for k := range 2 {
				for i := range free {
					g[k] += p.weight * l[k][i] * moves[i]
				}
			}
			v := g[0]*g[0]*p.info[0][0] + 2*g[0]*g[1]*p.info[0][1] + g[1]*g[1]*p.info[1][1]
			sum, sum2 = sum+v, sum2+v*v
		}
		if sum2 > 0 { // not the turn, where it is not free
			fewest = min(fewest, sum*sum/sum2)
		}
	}
	return fewest
}

// stepped takes the step back from the movement: photo b at m(x) shows what
// photo a shows at x + step(x).
func stepped(m geom.Similarity, s [4]float64) geom.Similarity {
	a, b := 1+m.Zoom, m.Turn
	m.Shift.X -= a*s[0] - b*s[1]
	m.Shift.Y -= a*s[1] + b*s[0]
	m.Zoom, m.Turn = a-(a*s[2]-b*s[3])-1, b-(a*s[3]+b*s[2])
	return m
}

func middleOf(patches []patch, otherwise r2.Vec) r2.Vec {
	if len(patches) == 0 {
		return otherwise
	}
	var c r2.Vec
	for _, p := range patches {
		c = r2.Add(c, p.mid)
	}
	return r2.Scale(1/float64(len(patches)), c)
}

func spreadOf(patches []patch, c r2.Vec) float64 {
	sum := 0.0
	for _, p := range patches {
		sum += r2.Norm2(r2.Sub(p.mid, c))
	}
	return math.Sqrt(sum / float64(max(len(patches), 1)))
}

// invert returns the inverse of the first n rows and columns of a symmetric
// positive matrix, by Cholesky. ok is false if it is not positive.
func invert(m [4][4]float64, n int) (inv [4][4]float64, ok bool) {
	// Shifts and turns differ in size by the lever: scale to a unit diagonal.
	var d [4]float64
	for i := range n {
		if !(m[i][i] > 0) || math.IsInf(m[i][i], 0) {
			return inv, false
		}
		d[i] = 1 / math.Sqrt(m[i][i])
	}
	var l [4][4]float64
	for i := range n {
		for j := 0; j <= i; j++ {
			v := (m[i][j] + m[j][i]) / 2 * d[i] * d[j]
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			switch {
			case i != j:
				l[i][j] = v / l[j][j]
			case v < 1e-10:
				return inv, false
			default:
				l[i][i] = math.Sqrt(v)
			}
		}
	}
	for c := range n {
		var y [4]float64
		for i := range n {
			if i == c {
				y[i] = 1
			}
			for k := range i {
				y[i] -= l[i][k] * y[k]
			}
			y[i] /= l[i][i]
		}
		for i := n - 1; i >= 0; i-- {
			for k := i + 1; k < n; k++ {
				y[i] -= l[k][i] * y[k]
			}
			y[i] /= l[i][i]
		}
		for i := range n {
			inv[i][c] = y[i] * d[i] * d[c]
		}
	}
	return inv, true
}
