// Package report lays results out as one HTML page that needs nothing else: no
// script is wanted to read it and nothing is fetched, so that it can be mailed,
// printed and kept.
//
// What stands first is what was asked: is the chain past its limit. Every
// figure after it has its interval, the photo it comes from, and what it
// depends on. Nothing is told by colour alone.
package report
