// Package raster holds pictures in linear light and the ways of sampling them.
//
// Pixel convention, used by every package of pinlash: the centre of the first
// pixel is (0, 0), x grows to the right, y grows downwards, and angles grow
// from +x towards +y (clockwise on a screen). A picture of W x H pixels thus
// covers -0.5 <= x < W-0.5 and -0.5 <= y < H-0.5.
//
// Light is linear: 0 is black and 1 is the level at which the sensor or the
// file format clips. A measured edge is only where it seems to be when the
// light on both sides of it is averaged as light, not as encoded numbers.
package raster
