// Package subpixel fits models of light to the pixels of an edge.
//
// Nothing here looks for anything: each fit starts from a place good to a few
// pixels, found elsewhere, and returns the place of the edge with its
// covariance. Lengths are pixels in the convention of package raster.
package subpixel
