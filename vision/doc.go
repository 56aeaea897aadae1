// Package vision opens photos and finds things in them: rules, pins, bushes,
// heads, and how they moved from one photo to the next. It is the only package
// that knows OpenCV (through gocv). No OpenCV type leaves it: pictures come out
// as raster.Gray in Go memory, findings as the plain types of package geom in
// pixels, doubts as package check's.
//
// # Opening a photo
//
// A photo is a file from anywhere, and an exception or a crash inside the C++
// library ends the whole process, which no recover can prevent. So a file
// earns its way:
//
//   - The first bytes say what it is. Only JPEG, PNG and TIFF are opened; other
//     kinds are named and refused.
//   - Size in bytes and, from the header, in pixels are held against Limits
//     before anything is decoded.
//   - PNG and TIFF are decoded by Go. Their codecs in Go hold every checksum
//     the file has, keep 16 bits, and cannot crash the process.
//   - JPEG is decoded by OpenCV, five times faster than in Go. Its markers are
//     walked first, from the start to the end mark, and only the tables, frame
//     and scans are handed over: a truncated file is refused, and neither EXIF
//     nor colour profiles ever reach C code.
//   - EXIF is read in Go, with tight limits. What is broken in it is ignored.
//
// A JPEG has no checksum: a changed bit inside the coded picture that leaves
// the markers in order cannot be noticed here.
//
// # What comes out
//
// The picture is turned as its orientation tag says, for all three kinds of
// file, so pixel positions are those a viewer shows. Colours become one grey
// value by the weights of Rec. 601, as in the luma channel of a JPEG, alpha is
// ignored, and the tone curve is undone: Photo.Light is linear light and
// Photo.Curve says which curve was assumed.
package vision
