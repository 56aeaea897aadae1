// Package jobcard says what the photos in a folder are: by the job card that
// lies in it, or by the names of files and folders where there is none.
//
// # The card
//
// A job card is a file jobcard.toml beside the photos. All of it may be left
// out; what it does not say is taken from the names, or is not known. This is
// a full one:
//
//	# Which chain this is. Numbers need no quotes.
//	specimen   = "engine 4711"
//	revision   = "B"             # of the part
//	chain      = "left"          # this very chain, not its type
//	inspection = "2026-05"       # which visit to the workshop
//	km         = 12_000          # run by then; or hours = 350
//	by         = "A. Fitter"     # who took the photos
//	oil        = "5W-30"
//
//	# How the scale of the photos is known. Lengths take mm, um and in.
//	[scale]
//	division           = "0.1mm"   # between neighbouring small marks of the rule
//	division_tolerance = "0.005mm" # how far off the rule may be over the photo
//	# gauge    = "5mm"             # or a round gauge of this diameter
//	# file     = "x40.scale"       # or a kept scale in this folder
//	# points   = "102,400,1802,398" # or two points in pixels
//	# distance = "10mm"            #   and how far they lie apart
//	plane_offset     = "-1.3mm"    # height of what is measured over the scale
//	working_distance = "160mm"     # from the lens to the scale
//	# same_plane = true            # or: both lie level
//	temperature = 23.5             # degC of photo, scale and chain
//
//	# The chain as it was when new.
//	[new_chain]
//	type    = "06B"                # in pinlash chains; or pitch = "9.525mm"
//	pitches = 114                  # of the whole chain
//	play    = "0.05mm"             # of a new joint of the same make
//
//	# The limit, the drive and earlier inspections have the keys of the file
//	# of pinlash stretch.
//	[limit]
//	percent = 1.0
//
//	[[drive.wheel]]
//	kind    = "driver"
//	teeth   = 21
//	to_next = 20.5
//
//	# Which file is what. * stands for any letters, ? for one, [ab] for one of
//	# these. Several files of one joint are its repeats, in the order given.
//	[[joint]]
//	joint = 7
//	files = ["a1.jpg", "a2.jpg", "a3.jpg"]
//
//	# Without joint, each name says which one it is: joint-8b.jpg is joint 8,
//	# repeat b. A name that says none, like IMG_0042.jpg, stands for a joint
//	# of its own.
//	[[joint]]
//	files = ["joint-*.jpg"]
//	by    = "B. Apprentice"        # what is said here goes before what is said above
//
//	[[play]]
//	joint    = 9
//	together = ["c-together*.jpg"] # the links pushed together
//	apart    = ["c-apart*.jpg"]    # and pulled apart
//	moving   = "100,200,640,480"   # where the moving link lies: x,y,w,h in pixels
//
//	[[play]]
//	joint = 10
//	clip  = "rocking.avi"
//
//	[[span]]
//	files = ["chain-?.jpg"]
//	scale = { division = "1mm", same_plane = true }
//
//	# A rule alone. With save, other photos can name the file: scale.file.
//	[[scale_photo]]
//	files = ["micrometer.jpg"]
//	save  = "x40.scale"
//	scale = { division = "10um" }
//
//	[[joint]]
//	files = ["x40/*.jpg"]
//	scale = { file = "x40.scale" }
//
// A card whose entries name photos has to name all photos beside it. Folders
// below are read by their own card, by the entries above that name their
// photos, or by names.
//
// # Cards within cards
//
// A card in a folder below takes over what the card above states, and states
// otherwise what it likes, key by key; so does an entry. What can be known in
// one way only is replaced as a whole: division, gauge, file or points; type or
// pitch, with the play and pitches of that chain; km and hours with the
// inspection. The tables [drive], [limit] and [forecast] are handed on as they
// stand, and only limit.percent is taken over.
//
// # Names
//
// A name that begins with joint, pin, bore or bush shows a joint; with play,
// pair or rock a play; with span, chain or strand a span; with scale, rule or
// micrometer a scale. One that ends in together or pushed, apart or pulled is
// half of a play, whose other half has the same name before that. A film is a
// play. Then comes the joint, and last which repeat it is: pin-7b, pin-7-2,
// pin-7_2, pin 7 (2), pin-7-repeat. Whatever else stands there belongs to the
// joint: pin-7-left is joint "7-left".
//
// The folders are chain/photo, revision/chain/photo or
// revision/chain/inspection/photo, and further ones above name the specimen. A
// folder named by what was run or a date, like "12000km", "350h" or "2026-05
// 12000km", is an inspection. What a card states goes before the names.
//
// A scale that no card speaks of is measured, but never used for other photos:
// the name does not tell whether they were taken at the same setting.
package jobcard
