// Package synth makes pictures of chain joints and rules whose truth is known.
//
// A Scene is a plain value: the shapes of a joint seen end-on, a rule beside
// it, and the camera that looks at them. It is turned into a picture in three
// steps, each of which can be had alone:
//
//	Light   what falls on the sensor, in linear light, free of noise
//	Sensor  the same with glare, noise and clipping, not yet counted
//	Gray8   the bytes a camera stores: tone curve, sharpening, 8 bits, JPEG
//
// # Exactness
//
// Every outline is a closed contour, and its blurred picture is found without
// a finer grid. With the aperture k of one pixel (a unit square blurred by the
// Gaussian of standard deviation Blur) and its running integral K, Green's
// theorem gives the light let through at pixel (i, j) by the region inside a
// contour as
//
//	c(i, j) = closed integral of K(i - x) k(j - y) dy
//
// which is summed over pieces of at most 0.25 px. The edge of a disc lies where
// it should within 0.001 px; the tests hold it to that. The
// edge spread that a fit finds is sqrt(Blur^2 + 1/12), since the pixel itself
// is part of the blur.
//
// Rims that lie inside each other (pin, bore, bush) are added, not painted
// over each other, so that a gap narrower than the blur is right as well.
// Finish (the brushed look of a face) is a factor on the light of its face
// and is not blurred across its edge.
//
// # Conventions
//
// Lengths are pixels in the convention of package raster, light is linear
// with 1 the level at which the sensor clips. All chance comes from
// Scene.Seed: equal scenes give equal pictures.
package synth
