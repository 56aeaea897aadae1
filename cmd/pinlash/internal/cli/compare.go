package cli

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
)

type compareCommand struct {
	results    []string // files or folders
	figure     string   // empty to choose
	from       wayWord
	inspection string
	rate       rateWord
	margin     amount

	repeat bool
	limit  amount
	plan   amount
	power  float64
	agree  wayPair

	out    string
	output outputOptions
}

func newCompare(streams Streams) *cobra.Command {
	var opts compareCommand
	cmd := &cobra.Command{
		Use:   "compare RESULTS...",
		Short: "revisions of a chain against each other; repeatability",
		Long: `compare holds revisions of a chain against each other, by the results that
pinlash batch has left: files of lines, or the folders they are in. Revision and
chain of every photo come from the job card or from the names of the folders.

Joints of one chain were made, lubricated and run together. They tell much about
that chain and little about its revision, so compare goes by chains: ten joints
of one chain are one sample. With one chain of a revision it makes no statement
about the revision. A difference that is not shown is not one that is not there;
--margin asks whether it is smaller than what would matter.

Of several inspections of a chain the last is taken, or the one of --inspection,
or with --rate all of them, as wear per 1000 km or hours.

Three other questions:
  --repeat  what measuring adds to the spread, from joints that one or more
            people have each photographed at least twice, set up anew
  --plan    how many chains and joints show a difference of that size, going by
            the spread in these results
  --agree   whether two ways of measuring may stand for each other: joint,play on
            the same joints; joint,span or play,span on the same chains

--out writes the figures that were compared, a row each with all that is known of
it, and beside them a dictionary of the columns.

Exit status: 0 compared; 1 our own fault; 2 wrong use, or results that cannot be
compared; 4 a file could not be read or written.
` + caution,
		Example: `  pinlash compare study
  pinlash compare 2025/results.jsonl 2026/results.jsonl --rate km
  pinlash compare study --figure play --margin 0.02mm --out play.csv
  pinlash compare study --repeat --limit 0.1mm
  pinlash compare pilot --plan 0.01mm`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageErrorf("%s wants files of results or their folders", cmd.CommandPath())
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			opts.results = args
			if err := opts.validate(cmd.Flags().Changed); err != nil {
				return err
			}
			return opts.run(streams)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opts.figure, "figure", "", "`name` of the figure, as in the results; joint_growth if all have it, else play")
	f.Var(&opts.from, "from", "kind of results to take the figure from; if not stated that with most of them, spans last")
	f.StringVar(&opts.inspection, "inspection", "", "`name` of the inspection to compare; each chain's last if not stated")
	f.Var(&opts.rate, "rate", "compare per 1000 km or hours")
	f.Var(&opts.margin, "margin", "`length` of a difference that would not matter, or number in the unit of the figure")
	f.BoolVar(&opts.repeat, "repeat", false, "what measuring adds to the spread")
	f.Var(&opts.limit, "limit", "with --repeat: `length` that the figure is held against, such as the growth allowed, or number in its unit")
	f.Var(&opts.plan, "plan", "how many chains and joints show a difference of this `length`, or number in the unit of the figure")
	f.Float64Var(&opts.power, "power", 0.9, "with --plan: `chance` of finding it, 0.5 to 0.99")
	f.Var(&opts.agree, "agree", "two `ways` of measuring, like joint,play")
	f.StringVar(&opts.out, "out", "", "`file` for the figures compared, .csv or .parquet")
	f.BoolVar(&opts.output.json, "json", false, "print one JSON object a line")
	f.BoolVar(&opts.output.quiet, "quiet", false, "print the figures only, without heads, sentences and notes")
	inchFlag(f, &opts.output.units)
	return cmd
}

func (o *compareCommand) validate(given changed) error {
	for flag, of := range map[string]string{"limit": "repeat", "power": "plan"} {
		if given(flag) && !given(of) {
			return usageErrorf("--%s needs --%s", flag, of)
		}
	}
	if given("out") {
		if _, err := record.DataFormatOf(o.out); err != nil {
			return usageErrorf("--out: %w", err)
		}
	}
	switch {
	case !(o.power >= 0.5 && o.power <= 0.99):
		return usageErrorf("--power is %g, want 0.5 to 0.99", o.power)
	case given("figure") && o.figure == "":
		return usageErrorf("--figure wants a name")
	case given("inspection") && o.inspection == "":
		return usageErrorf("--inspection wants a name")
	}
	for _, exclusive := range [][]string{
		{"repeat", "plan", "agree"}, {"repeat", "plan", "margin"}, {"repeat", "agree", "rate"}, {"agree", "from"}, {"rate", "inspection"},
	} {
		if err := given.atMostOne(exclusive...); err != nil {
			return err
		}
	}
	return o.output.validate(given)
}

func (o *compareCommand) run(streams Streams) error {
	switch {
	case o.repeat:
		return o.runRepeat(streams)
	case o.agree.given():
		return o.runAgree(streams)
	default:
		return o.runRevisions(streams)
	}
}

// print writes an answer, for programs or with write for people, who are told
// where the figures are as well.
func (o *compareCommand) print(streams Streams, answer any, write func(w io.Writer, style record.Style) error) error {
	if o.output.json {
		return record.WriteLine(streams.Out, answer)
	}
	if err := write(streams.Out, record.Style{Quiet: o.output.quiet, Units: o.output.units}); err != nil {
		return err
	}
	if o.out != "" && !o.output.quiet {
		fmt.Fprintf(streams.Out, "The figures are in %s, what its columns are in %s.\n", record.SafeName(o.out), record.SafeName(record.DictionaryOf(o.out)))
	}
	return nil
}

// amount is a flag value in the unit of a figure that is not known yet: a
// length, or a plain number.
type amount struct{ text string }

func (a *amount) Set(s string) error {
	l, err := calib.ParseLength(s)
	if err != nil {
		return fmt.Errorf("%w; a number stands for the unit of the figure", err)
	}
	if l <= 0 {
		return errors.New("must be above zero")
	}
	a.text = s
	return nil
}

func (a *amount) Type() string   { return "length" }
func (a *amount) String() string { return a.text }
func (a *amount) given() bool    { return a.text != "" }

// in returns the amount in a unit, 0 if there is none.
func (a *amount) in(unit string) (float64, error) {
	if a.text == "" {
		return 0, nil
	}
	if unit == "mm" {
		l, err := calib.ParseLength(a.text)
		return float64(l), err
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(a.text), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, usageErrorf("the figure is in %s: want a plain number instead of %s", unit, a.text)
	}
	return v, nil
}

// wayWord is a kind of results.
type wayWord struct{ is string }

func (w *wayWord) Set(s string) error { return choose(&w.is, s, ways...) }
func (w *wayWord) Type() string       { return strings.Join(ways, "|") }
func (w *wayWord) String() string     { return w.is }

// ways of measuring, in the order in which they are preferred.
var ways = []string{string(record.Joint), string(record.Play), string(record.Span)}

// wayPair are two different ways.
type wayPair [2]record.Kind

func (p *wayPair) Set(s string) error {
	a, b, ok := strings.Cut(s, ",")
	if !ok || a == b {
		return fmt.Errorf("want two of %s with a comma between", strings.Join(ways, ", "))
	}
	var first, second wayWord
	if err := errors.Join(first.Set(a), second.Set(b)); err != nil {
		return err
	}
	*p = wayPair{record.Kind(a), record.Kind(b)}
	return nil
}

func (p *wayPair) Type() string { return "ways" }
func (p *wayPair) String() string {
	if !p.given() {
		return ""
	}
	return string(p[0]) + "," + string(p[1])
}
func (p *wayPair) given() bool { return p[0] != "" }

// rateWord is what rates are counted per thousand of.
type rateWord struct{ is string }

const (
	perKM    = "km"
	perHours = "hours"
)

func (r *rateWord) Set(s string) error { return choose(&r.is, s, perKM, perHours) }
func (r *rateWord) Type() string       { return perKM + "|" + perHours }
func (r *rateWord) String() string     { return r.is }
