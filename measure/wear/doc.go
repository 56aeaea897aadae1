// Package wear carries the wear of chain joints through to what a workshop
// asks: growth in length, timing of the cams, slack, and whether and when the
// chain is past its limit.
//
// All functions are pure: figures in, figures out, no files and no state.
// Lengths are millimetres, angles degrees, elongation percent of the new
// length. Figures given to one function are taken as independent of each other
// unless the function says how it treats a part they share. Errors mean input
// that cannot be used; they come back before anything is computed.
//
// One convention runs through the package. A joint is one pin in one bush, and
// joint growth is what one joint adds to the length of the tight chain: a
// chain of N joints grows N times the mean joint growth, and the mean pitch
// grows by one joint growth. Seen from the pins, the outer links keep their
// length and each inner link grows twice; seen from the bushes or rollers it
// is the other way round.
package wear
