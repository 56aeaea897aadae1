// Package overlay draws on a photo what was found in it: the fitted circles,
// the edge points behind them, the marks of the scale, and the figures. Of a
// joint that was rocked it shows both ends in turn.
//
// A photo is turned upright by the EXIF orientation that package vision found,
// so that pixel positions mean the same. Lines differ in dash as well as
// in colour, for prints in grey and for eyes that do not tell colours apart.
package overlay
