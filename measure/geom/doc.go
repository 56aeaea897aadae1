// Package geom has the shapes found in a photo and their fits.
//
// Everything here is in pixels, in the convention of package raster. It holds
// no limits and no policy: whoever calls a fit decides what is good enough.
package geom
