// Package compare tells what figures of many joints say about revisions of a
// chain, about people who measure, and about ways of measuring.
//
// # Levels
//
// Joints lie in chains, chains in revisions, and a chain may be inspected at
// several running distances. Joints of one chain were made, lubricated and run
// together: they are not independent samples of the revision. Whoever takes
// them so finds differences that are not there, the more of them the more
// joints are photographed. Here a revision is only ever known through its
// chains: [Compare] tests chain means ([Difference].Value, Welch) and, where
// there are chains enough, fits the mixed model
//
//	figure = revision + chain + joint + measuring
//
// by restricted maximum likelihood ([Model]).
//
// A [Study] is fed one figure at a time and keeps counts, means and sums of
// squares. [Study.At] gives the chains' figures at an inspection and
// [Study.Rates] those per running distance; Compare takes either.
//
// # Other questions
//
// [Repeatability] finds what measuring itself adds to the spread, [Plan] how
// many chains and joints a question needs, [Agree] whether two ways of
// measuring may stand for each other.
//
// All functions are pure: figures in, figures out. An error means input that
// cannot be used. What the data cannot say is not an error: the figure is left
// out and a note says why. An error common to all photos, such as one wrong
// scale, shows in no spread and is in no interval here.
package compare
