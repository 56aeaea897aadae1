//go:build !front

package cli

import "github.com/spf13/cobra"

// photoCommands are those that measure photos.
func photoCommands(streams Streams) []*cobra.Command {
	return []*cobra.Command{
		newJoint(streams), newPlay(streams), newSpan(streams), newScale(streams), newBatch(streams), newDemo(streams), newMan(streams),
	}
}
