package cli

import (
	"bytes"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/wear"
)

type chainsOptions struct {
	json bool
}

func newChains(streams Streams) *cobra.Command {
	var opts chainsOptions
	cmd := &cobra.Command{
		Use:   "chains",
		Short: "print the built-in chain table with its sources",
		Long: `chains prints the chains that --chain knows. Pin and bore are the standard's
limits, not a maker's dimensions: the play of a new joint is at least their
difference. Where a chain stands in several editions of its standard, --chain
takes the newest whose figures were seen in the published text (mark S in the
last column but one); rows marked M are from memory, cross-checked as the source
says.

Exit status: 0 printed; 2 wrong use; 4 could not be written.`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error { return runChains(opts, streams) },
	}
	cmd.Flags().BoolVar(&opts.json, "json", false, "print one JSON object a line")
	return cmd
}

func runChains(opts chainsOptions, streams Streams) error {
	if opts.json {
		for _, c := range wear.Chains() {
			if err := record.WriteLine(streams.Out, record.NewChain(c)); err != nil {
				return err
			}
		}
		return nil
	}
	rows := [][]string{{"chain", "also", "type", "pitch", "pin max", "bore min", "new play", "edition", "", "source"}}
	for _, c := range wear.Chains() {
		line := record.NewChain(c)
		also := ""
		if len(c.OtherNames) > 0 {
			also = c.OtherNames[0]
		}
		rows = append(rows, []string{
			line.Name, also, line.Type, length(line.PitchMM), length(line.PinMaxMM),
			length(line.BoreMinMM), length(line.NewPlayMM), line.Edition, line.Provenance, line.Source,
		})
	}
	var b bytes.Buffer
	fmt.Fprintln(&b, "Lengths in mm. S: seen in the published text; M: from memory.")
	for _, line := range record.Columns(rows, "lllrrrr") {
		fmt.Fprintln(&b, line)
	}
	_, err := streams.Out.Write(b.Bytes())
	return err
}

// length prints a table's length, nothing when it is not known.
func length(mm float64) string {
	if mm == 0 {
		return ""
	}
	return strconv.FormatFloat(mm, 'f', -1, 64)
}
