package compare

import "math"

// fit is the mixed model
//
//	y = mean of the group + c + e,  c ~ N(0, ratio residual), e ~ N(0, residual)
//
// with one c for all values of a chain, fitted by restricted maximum
// likelihood.
type fit struct {
	ratio     float64 // variance between chains over that within
	residual  float64 // variance within chains
	criterion float64 // -2 log of the restricted likelihood, constants included
	means     []float64
	// weight of each group: residual/weight is the variance of its mean.
	weight  []float64
	freedom float64 // chains less groups, that of the differences of means
}

// chainVariance returns the variance between chains.
func (f fit) chainVariance() float64 { return f.ratio * f.residual }

// variance returns that of the difference of two groups' means.
func (f fit) variance(a, b int) float64 { return f.residual * (1/f.weight[a] + 1/f.weight[b]) }

// profile is the restricted likelihood with everything but the ratio solved
// for (Searle, Casella and McCulloch, Variance Components, 6.6, for data
// nested in one level). With N values in chains of n values each, weights
// w = n/(1 + n ratio) and p groups,
//
//	-2 l = (N-p) (1 + log(2 pi RSS/(N-p))) + sum log(1 + n ratio) + sum over groups of log(sum w)
//	RSS  = squares within chains + sum w (chain mean - group mean)²
//
// so that chains enter by count, mean and squares only.
type profile struct {
	groups  [][]sample
	within  float64
	freedom float64 // N - p
}

// sums returns what a group adds at a ratio: the sums of w, w², w d² and w² d²,
// d the distance of a chain's mean from the group's, which comes along.
func sums(group []sample, ratio float64) (w, ww, wdd, wwdd, mean float64) {
	for _, c := range group {
		wc := c.n / (1 + c.n*ratio)
		w += wc
		mean += wc * c.mean
	}
	mean /= w
	for _, c := range group {
		wc := c.n / (1 + c.n*ratio)
		d := c.mean - mean
		ww += wc * wc
		wdd += wc * d * d
		wwdd += wc * wc * d * d
	}
	return w, ww, wdd, wwdd, mean
}

// at returns -2 l and its derivative at a ratio.
func (p profile) at(ratio float64) (criterion, slope float64) {
	rss, squares := p.within, 0.0
	for _, g := range p.groups {
		w, ww, wdd, wwdd, _ := sums(g, ratio)
		rss += wdd
		squares += wwdd
		criterion += math.Log(w)
		slope += w - ww/w
		for _, c := range g {
			criterion += math.Log1p(c.n * ratio)
		}
	}
	criterion += p.freedom * (1 + math.Log(2*math.Pi*rss/p.freedom))
	return criterion, slope - p.freedom*squares/rss
}

// slope returns the derivative of -2 l.
func (p profile) slope(ratio float64) float64 {
	_, slope := p.at(ratio)
	return slope
}

// fitREML fits the model to groups of chains; every chain has at least one
// value. It fails where values within chains do not scatter or where there is
// no chain to spare.
func fitREML(groups [][]sample) (fit, bool) {
	p := profile{groups: groups, freedom: -float64(len(groups))}
	chains := 0.0
	for _, g := range groups {
		for _, c := range g {
			p.within += c.ss
			p.freedom += c.n
			chains++
		}
	}
	freedom := chains - float64(len(groups))
	values := p.freedom + float64(len(groups))
	if p.within <= 0 || freedom < 1 || values <= chains {
		return fit{}, false
	}

	// The likelihood can have two tops, so the whole range is looked through
	// before the best is closed in on: nothing, then from chains that hardly
	// differ to chains beside which joints hardly do.
	const perDecade, from, to = 3, -3, 9
	ratios := []float64{0}
	for i := range perDecade*(to-from) + 1 {
		ratios = append(ratios, math.Pow(10, float64(i)/perDecade+from)*chains/values)
	}
	best, least := 0, math.Inf(1)
	for i, r := range ratios {
		if c, _ := p.at(r); c < least {
			best, least = i, c
		}
	}
	if best == len(ratios)-1 {
		return fit{}, false
	}
	// Near its top the likelihood is flat to rounding; its slope is not, and
	// says on which side the top lies.
	below, above := max(best-1, 0), best+1
	for below > 0 && p.slope(ratios[below]) > 0 {
		below--
	}
	for above < len(ratios)-1 && p.slope(ratios[above]) < 0 {
		above++
	}
	low, high := ratios[below], ratios[above]
	if below == 0 && p.slope(0) >= 0 {
		high = 0
	}
	for high-low > 1e-14*high {
		mid := low + (high-low)/2
		if mid == low || mid == high {
			break
		}
		if p.slope(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}

	if high < 1e-10*chains/values {
		high = 0 // the slope at zero was rounding
	}
	f := fit{ratio: high, freedom: freedom}
	f.criterion, _ = p.at(f.ratio)
	rss := p.within
	for _, g := range groups {
		w, _, wdd, _, mean := sums(g, f.ratio)
		rss += wdd
		f.means = append(f.means, mean)
		f.weight = append(f.weight, w)
	}
	f.residual = rss / p.freedom
	return f, true
}
