// Package samples has the folder of photos that the demo measures. They are
// rendered pictures, not photographs, and the chains they stand for are
// invented.
package samples

import "embed"

// Files holds Folder: a study for pinlash batch, with its job cards.
//
//go:embed filler-drive
var Files embed.FS

// Folder is the study's folder in Files.
const Folder = "filler-drive"

// ToBeRefused says whether the photo of that path in the study is there to
// show a refusal.
func ToBeRefused(path string) bool { return path == "plain-pins/chain-2/1200h/joint-5.jpg" }
