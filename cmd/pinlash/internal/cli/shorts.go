package cli

// photoShorts say in a line what each command does that measures photos.
var photoShorts = map[string]string{
	"joint": "measure a pin standing in its bush, seen end-on",
	"play":  "measure the play of a joint from two photos, or from a clip of it being rocked",
	"span":  "measure the pitches along a tight chain, seen from the side",
	"scale": "read the scale of a photo, and keep it",
	"batch": "measure a folder of photos, as its job card or its file names say",
	"demo":  "measure the sample photos and write their report, to see what the tool does",
}
