package cli

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// run runs the tool within the test.
func run(t *testing.T, ctx context.Context, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, messages bytes.Buffer
	status = Main(ctx, args, Streams{Out: &out, Err: &messages})
	return status, out.String(), messages.String()
}

// TestWrongUse wants status 2, a message that names what is wrong, and nothing
// on the output, before any photo is opened: gone.jpg does not exist.
func TestWrongUse(t *testing.T) {
	for _, c := range []struct{ args, message string }{
		{"nonsense", `unknown command "nonsense"`},
		{"help nonsense", "no help on"},
		{"--nonsense", "unknown flag: --nonsense"},
		{"chains all", "takes no arguments"},
		{"chains --nonsense", "unknown flag"},
		{"joint", "at least one photo"},
		{"scale", "at least one photo"},
		{"joint gone.jpg --division", "needs an argument"},
		{"joint gone.jpg --division nonsense", "invalid argument"},
		{"joint gone.jpg --division 0", "above zero"},
		{"joint gone.jpg --division -1mm", "above zero"},
		{"joint gone.jpg --division 1km", "unit"},
		{"joint gone.jpg --points 1,2,3 --distance 1", "four numbers"},
		{"joint gone.jpg --points 1,2,1,2 --distance 1", "the two points are one"},
		{"joint gone.jpg --points 1,2,NaN,2 --distance 1", "four numbers"},
		{"joint gone.jpg --points 1,2,3,4", "--points needs --distance"},
		{"joint gone.jpg --distance 1", "--distance needs --points"},
		{"joint gone.jpg --points 1,2,3,4 --distance 0", "above zero"},
		{"joint gone.jpg --points 1,2,3,4 --distance 1 --division 1", "only one of --division, --points"},
		{"joint gone.jpg --points 1,2,3,4 --distance 1 --scale-file gone", "only one of --scale-file, --points"},
		{"joint gone.jpg --plane-offset 1mm", "--plane-offset needs --working-distance"},
		{"joint gone.jpg --working-distance 100mm", "--working-distance needs --plane-offset"},
		{"joint gone.jpg --plane-offset 80mm --working-distance 100mm", "more than half the working distance"},
		{"joint gone.jpg --chain nonsense", "is not in the table"},
		{"joint gone.jpg --chain 06B --pitch 9.525", "only one of --chain, --pitch"},
		{"joint gone.jpg --pitch 0", "above zero"},
		{"joint gone.jpg --new-play -0.1", "must not be below zero"},
		{"joint gone.jpg --pitches 0", "at least 1"},
		{"joint gone.jpg --pitches many", "invalid argument"},
		{"joint gone.jpg --limit 0 --chain 06B", "must lie above 0"},
		{"joint gone.jpg --limit NaN --chain 06B", "must lie above 0"},
		{"joint gone.jpg --limit 1", "needs --chain or --pitch"},
		{"joint gone.jpg --limit 1 --pitch 8", "needs the play of a new joint"},
		{"joint gone.jpg --json --quiet", "--json goes neither"},
		{"joint gone.jpg --json --explain", "--json goes neither"},
		{"joint gone.jpg --overlay=", "wants a folder"},
		{"scale gone.jpg other.jpg --save x", "keeps the scale of one photo"},
		{"scale gone.jpg --save=", "wants a file"},
		{"scale gone.jpg --scale-file x", "unknown flag"},
		{"demo a b", "wants one folder"},
		{"completion", "wants one of bash, zsh, fish, powershell"},
		{"completion nonsense", "wants one of bash, zsh, fish, powershell"},
		{"completion bash zsh", "wants one of bash, zsh, fish, powershell"},
		{"man", "wants one folder, got 0"},
		{"man a b", "wants one folder, got 2"},
		{"joint gone.jpg --division 1 --division-tolerance 0", "above zero"},
		{"joint gone.jpg --division-tolerance 1um", "--division-tolerance needs --division"},
		{"joint gone.jpg --division 1 --temperature 900", "is not between"},
		{"joint gone.jpg --division 1 --temperature NaN", "not a usable number"},
		{"scale gone.jpg --division 1 --temperature warm", "not a usable number"},
		{"scale gone.jpg --same-plane", "unknown flag"},
		{"joint gone.jpg --division 1 --same-plane --plane-offset 1 --working-distance 90", "only one of --same-plane, --plane-offset"},
		{"joint gone.jpg --scale-file gone --same-plane", "shows none"},
		{"joint gone.jpg --scale-file gone --temperature 30", "shows none"},
		{"play", "wants two photos, TOGETHER and APART, got 0"},
		{"play gone.jpg", "got 1"},
		{"play gone.jpg b.jpg c.jpg", "for more name them with --together and --apart"},
		{"play --together gone.jpg", "--together needs --apart"},
		{"play --apart gone.jpg", "--apart needs --together"},
		{"play a.jpg --together gone.jpg --apart b.jpg", "either in the order"},
		{"play --clip gone.avi a.jpg b.jpg", "--clip stands instead of photos"},
		{"play --clip gone.avi --together a.jpg", "--clip stands instead of photos"},
		{"play --clip=", "--clip wants a file"},
		{"play usage_test.go usage_test.go", "is named twice"},
		{"play gone.jpg b.jpg --moving 1,2,3", "four numbers"},
		{"play gone.jpg b.jpg --moving 1,2,0,3", "the rectangle is empty"},
		{"play gone.jpg b.jpg --fixed 1,2,3,x", "four numbers"},
		{"play gone.jpg b.jpg --plane-offset 1mm", "--plane-offset needs --working-distance"},
		{"play gone.jpg b.jpg --same-plane --plane-offset 1 --working-distance 90", "only one of --same-plane, --plane-offset"},
		{"play gone.jpg b.jpg --limit 1 --pitch 8", "needs the play of a new joint"},
		{"play gone.jpg b.jpg --json --quiet", "--json goes neither"},
		{"span", "at least one photo"},
		{"span gone.jpg --division 1 --new-play 0.05", "unknown flag"},
		{"span gone.jpg --division 1 --limit 1", "needs --chain or --pitch"},
		{"span gone.jpg --division 1 --same-plane --plane-offset 1 --working-distance 90", "only one of --same-plane, --plane-offset"},
		{"span gone.jpg --scale-file gone --same-plane", "shows none"},
		{"stretch", "nothing was read"},
		{"stretch reading", "takes no arguments"},
		{"stretch --chain 06B --pins 15", "no reading of the span"},
		{"stretch --chain 06B --outside 136.9 --over pins", "one of pins, links and pitches"},
		{"stretch --chain 06B --pins 15 --links 14 --edges 133.5", "one of pins, links and pitches"},
		{"stretch --pins 1 --edges 133.5 --pitch 9", "at least 2"},
		{"stretch --pins 0 --edges 133.5", "must be at least 1"},
		{"stretch --pins many --edges 133.5", "not a usable whole number"},
		{"stretch --pins 15 --edges 133.5", "give the chain or its pitch"},
		{"stretch --pins 15 --edges x", "no number"},
		{"stretch --pins 15 --edges 1,,2", "no number"},
		{"stretch --pins 15 --edges 0 --pitch 9", "more than zero"},
		{"stretch --pins 15 --edges -3 --pitch 9", "more than zero"},
		{"stretch --pins 15 --edges 1200 --pitch 25.4", "state the uncertainty"},
		{"stretch --pins 15 --edges 133 --pitch 9.525 --u -1", "below zero"},
		{"stretch --pins 15 --edges 133 --pitch 9.525 --u 0.1 --step 0.01", "give one"},
		{"stretch --pins 15 --edges 133 --centres 133 --pitch 9.525", "two ways"},
		{"stretch --pins 15 --outside 137 --chain 06B", "say what the outside jaws touched"},
		{"stretch --pins 15 --outside 137 --over teeth --chain 06B", "want one of pins, rollers"},
		{"stretch --pins 15 --outside 137 --over pins --pitch 9.525", "not in the chain table"},
		{"stretch --pins 15 --outside 137,137 --inside 126 --chain 06B", "one of each at every place"},
		{"stretch --pins 15 --outside 126 --inside 137 --chain 06B", "not above inside"},
		{"stretch --pins 15 --new-outside 137 --chain 06B", "was not read"},
		{"stretch --pins 15 --length 137 --pitch 9.525", "faces are not stated"},
		{"stretch --pins 2 --edges 9.6 --pitch 9.525", "measure two or more pitches"},
		{"stretch --links 8 --grown 0.3 --temperature 60", "their difference"},
		{"stretch --links 8 --edges 77 --pitch 9.525 --temperature 900", "want -100 to 300"},
		{"stretch --links 8 --edges 77 --chain 06B --pull -1", "below zero"},
		{"stretch --links 8 --edges 77 --chain 06B --limit 0", "must lie above 0"},
		{"stretch --links 8 --edges 77 --chain 06B --limit NaN", "not a usable number"},
		{"stretch --links 8 --edges 77 --chain 06B --limit 1 --longest 78", "not both"},
		{"stretch --links 8 --grown 1 --longest 78", "needs one reading"},
		{"stretch --links 8 --outside 82 --inside 70 --chain 06B --longest 80", "needs one reading"},
		{"stretch --links 8 --grown 1 --limit 1", "needs the chain or its pitch"},
		{"stretch --links 8 --grown 1 --chain 06B --pitch 9", "not both"},
		{"stretch --links 8 --grown 1 --chain nonsense", "is not in the table"},
		{"stretch --links 8 --grown 1 --pitch 0", "above zero"},
		{"stretch --links 8 --grown 1 --json --quiet", "--json goes neither"},
		{"stretch --links 8 --grown 1 --overlay x", "unknown flag"},
		{"compare", "wants files of results or their folders"},
		{"compare gone --figure=", "--figure wants a name"},
		{"compare gone --inspection=", "--inspection wants a name"},
		{"compare gone --from camera", "want one of joint, play, span"},
		{"compare gone --rate miles", "want one of km, hours"},
		{"compare gone --margin nonsense", "invalid argument"},
		{"compare gone --margin 0", "above zero"},
		{"compare gone --plan -1um", "above zero"},
		{"compare gone --limit 1mm", "--limit needs --repeat"},
		{"compare gone --power 0.8", "--power needs --plan"},
		{"compare gone --plan 1um --power 0.3", "want 0.5 to 0.99"},
		{"compare gone --plan 1um --power NaN", "want 0.5 to 0.99"},
		{"compare gone --repeat --agree joint,play", "only one of --repeat, --agree"},
		{"compare gone --repeat --rate km", "only one of --repeat, --rate"},
		{"compare gone --repeat --margin 1um", "only one of --repeat, --margin"},
		{"compare gone --plan 1um --margin 1um", "only one of --plan, --margin"},
		{"compare gone --agree joint", "want two of joint, play, span"},
		{"compare gone --agree joint,joint", "want two of joint, play, span"},
		{"compare gone --agree joint,eye", "want one of joint, play, span"},
		{"compare gone --agree joint,play --from play", "only one of --agree, --from"},
		{"compare gone --rate km --inspection x", "only one of --rate, --inspection"},
		{"compare gone --out figures.xls", "neither in .csv nor in .parquet"},
		{"compare gone --json --quiet", "--json goes neither"},
		{"compare gone --explain", "unknown flag"},
	} {
		status, stdout, stderr := run(t, t.Context(), strings.Fields(c.args)...)
		if status != statusUsage || stdout != "" || !strings.Contains(stderr, c.message) {
			t.Errorf("pinlash %s: status %d, output %q, message %q; want status 2 and %q", c.args, status, stdout, stderr, c.message)
		}
		for line := range strings.Lines(stderr) {
			if !strings.HasPrefix(line, "pinlash: ") {
				t.Errorf("pinlash %s: message without the program's name: %q", c.args, line)
			}
		}
	}
}

func TestHelp(t *testing.T) {
	for _, args := range []string{"", "--help", "help", "help joint", "joint --help", "scale -h", "play --help", "span --help", "stretch --help", "compare --help", "chains --help", "demo --help", "completion --help", "man --help", "--version"} {
		status, stdout, stderr := run(t, t.Context(), strings.Fields(args)...)
		if status != statusOK || stdout == "" || stderr != "" {
			t.Errorf("pinlash %s: status %d, output %.40q, message %q", args, status, stdout, stderr)
		}
	}
	for _, command := range []string{"joint", "play", "span", "scale", "stretch", "batch", "compare", "report", "chains", "demo", "completion", "man"} {
		if _, stdout, _ := run(t, t.Context(), "help", command); !strings.Contains(stdout, "Exit status: 0 ") {
			t.Errorf("help %s does not tell the exit statuses", command)
		}
	}
}
