//go:build !front

package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/pflag"

	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/jobcard"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// batching is a batch on its way.
type batching struct {
	batchCommand
	study   jobcard.Study
	streams Streams
	line    settings // of the command line
	tasks   []*task
	work    []batch.Work
	cards   map[inspected]chainCard
	chains  []record.Stretch
	said    sync.Mutex // workers speak one at a time
	status  int        // of what is wrong with the folder itself
}

// plan works out every task and refuses settings that make no sense, before
// any photo is opened.
func (b *batching) plan(flags *pflag.FlagSet) error {
	b.line = settings{}
	flags.Visit(func(f *pflag.Flag) {
		if !ofBatch[f.Name] {
			b.line[f.Name] = f.Value.String()
		}
	})
	kept := map[string]*keptScale{}
	b.cards = map[inspected]chainCard{}
	var wrong []error
	for _, t := range b.study.Tasks {
		made, err := newTask(t, b.folder, b.line, kept)
		if err != nil {
			wrong = append(wrong, err)
			continue
		}
		if t.SaveScale != "" {
			kept[t.SaveScale] = &keptScale{task: made}
		}
		b.tasks = append(b.tasks, made)
		b.work = append(b.work, made.work())
		i := inspectedOf(record.Levels(t.Levels))
		if _, known := b.cards[i]; !known && t.Kind != jobcard.Scale {
			b.cards[i] = chainCard{made.ofChain(b.line), b.driveFor(made.name())}
		}
	}
	for i, c := range b.cards {
		if _, err := c.typed(); err != nil {
			wrong = append(wrong, fmt.Errorf("%s: %w", i.words(), err))
		}
	}
	const most = 10
	if len(wrong) > most {
		wrong = append(wrong[:most], fmt.Errorf("and %d more like these", len(wrong)-most))
	}
	if err := errors.Join(wrong...); err != nil {
		return &UsageError{err}
	}
	if len(b.tasks) == 0 && len(b.study.Problems) == 0 {
		return usageErrorf("%s holds no photo", record.SafeName(b.folder))
	}
	return nil
}

// driveFor returns the drive stated by the nearest card above a photo.
func (b *batching) driveFor(photo string) []byte {
	var drive []byte
	nearest := -1
	for _, c := range b.study.Cards {
		folder := path.Dir(c.Path)
		if folder == "." {
			folder = ""
		}
		if len(c.Drive) > 0 && len(folder) > nearest && (folder == "" || strings.HasPrefix(photo, folder+"/")) {
			drive, nearest = c.Drive, len(folder)
		}
	}
	return drive
}

// part returns the part of the work to do: what was asked for, or what the
// scheduler that runs us says.
func (b *batching) part(given changed) (batch.Shard, error) {
	if given("join") {
		return batch.Shard{}, nil
	}
	if given("shard") {
		s, err := batch.ParseShard(b.shard)
		if err != nil {
			return s, &UsageError{err}
		}
		return s, nil
	}
	s, from, ok, err := batch.ShardFromEnv(os.Getenv)
	if err != nil {
		return s, &UsageError{err}
	}
	if ok {
		b.say("part %d of %d, as %s says; --shard 1/1 does all", s.K, s.N, from)
	}
	return s, nil
}

// say is for people, and not for those who want it quiet.
func (b *batching) say(format string, args ...any) {
	if !b.quiet {
		b.streams.message(format, args...)
	}
}

// measure measures a task, leaves its pictures and returns its line.
func (b *batching) measure(ctx context.Context, i int, key string) ([]byte, int) {
	t := b.tasks[i]
	var result outcome
	err := guarded(func() (err error) {
		result, err = t.measure(ctx)
		return err
	})
	if ctx.Err() != nil {
		return nil, statusInterrupted
	}
	status := statusOf(err)
	r := &result.record
	refused := (*check.Refusal)(nil)
	switch {
	case errors.As(err, &refused):
		r.Refused = refused
	case status == statusFile:
		r.Refused = check.Refuse(check.Unreadable, cause(err))
	case status == statusUsage: // only this photo shows that its settings make no sense
		r.Refused = check.Refuse(check.ScaleUnclear, err.Error())
		r.Refused.Remedy = "put right what the job card or the flags say of this photo"
	case err != nil:
		b.complain("%s", fault(t.name(), err))
		return nil, status
	}
	if at := slices.Index(t.paths(t.files()), r.Photo.Path); at > 0 && refused != nil {
		// The line is that of the first photo, the fault that of another.
		named := *refused
		named.Message = record.SafeName(t.files()[at]) + ": " + named.Message
		r.Refused = &named
	}
	r.Photo.Path = t.name()
	if r.Refused == nil {
		for j, name := range t.files() {
			if j < len(r.Photos) {
				r.Photos[j].Path = name
			}
		}
	}
	r.Notes = append(r.Notes, t.Notes...)
	r.Batch = &record.Batch{
		Task: key, Levels: record.Levels(t.Levels), Settings: t.settings,
		Files: hashed(t), Meaning: r.Meaning.String(), Budgets: record.NewBudgets(r.Figures()),
	}
	var failed error
	r.Batch.Pictures, failed = b.pictures(t, result)
	if failed != nil {
		b.complain("overlay: %s", fault(t.name(), failed))
		return nil, worse(status, statusOf(failed))
	}
	line, err := json.Marshal(r)
	if err != nil {
		b.complain("%s: %v", record.SafeName(t.name()), err)
		return nil, statusInternal
	}
	if r.Refused != nil {
		b.complain("%s: refused (%s): %s", record.SafeName(t.name()), r.Refused.Code, r.Refused.Message)
	}
	return line, status
}

// cause is why a file could not be read, without its path: that depends on
// where the batch was started.
func cause(err error) string {
	if at := (*fs.PathError)(nil); errors.As(err, &at) {
		return fmt.Sprintf("%s: %v", at.Op, at.Err)
	}
	return err.Error()
}

func (b *batching) complain(format string, args ...any) {
	b.said.Lock()
	defer b.said.Unlock()
	b.streams.message(format, args...)
}

// hashed lists the task's files with their contents' hashes.
func hashed(t *task) []record.File {
	var out []record.File
	for i, at := range t.paths(t.files()) {
		hash, err := record.HashFile(at)
		if err != nil {
			hash = "" // it could not be read to be measured either
		}
		out = append(out, record.File{Path: t.files()[i], SHA256: hash})
	}
	return out
}

// pictures writes what was found, drawn on the photo, and the animated picture
// of a play, and returns their names in the folder of the results. A photo that
// cannot be drawn on has none.
func (b *batching) pictures(t *task, result outcome) ([]string, error) {
	if result.photo.W == 0 {
		return nil, nil // it could not be opened
	}
	stem := filepath.Join(b.overlay, pictureStem(t.name()))
	if err := os.MkdirAll(b.overlay, 0o755); err != nil {
		return nil, err
	}
	paths := []string{stem + ".jpg"}
	if err := guarded(func() error { return writeOverlay(paths[0], result) }); err != nil {
		return nil, err
	}
	if result.second != nil && result.record.Refused == nil {
		paths = append(paths, stem+"-motion.gif")
		if err := guarded(func() error { return writeMotion(paths[1], result) }); err != nil {
			return nil, err
		}
	}
	for i, p := range paths {
		name, err := filepath.Rel(b.results, p)
		if err != nil {
			return nil, err
		}
		paths[i] = filepath.ToSlash(name)
	}
	return paths, nil
}

// longestStem leaves room in a file name, which may have 255 bytes, for what
// follows.
const longestStem = 80

// pictureStem is the name of a photo's pictures without their endings: it can
// be told by eye, and is another for every photo.
func pictureStem(photo string) string {
	sum := sha256.Sum256([]byte(photo))
	name := strings.Map(func(r rune) rune {
		if r < 128 && (r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return r
		}
		return '-'
	}, strings.TrimSuffix(photo, path.Ext(photo)))
	if len(name) > longestStem {
		name = name[len(name)-longestStem:]
	}
	return strings.Trim(name, "-") + "-" + hex.EncodeToString(sum[:4])
}

// missing says what a join lacks.
func (b *batching) missing(m *batch.MissingError) int {
	b.streams.message("%v", m)
	return statusFile
}

// tell says what came of it, and returns the error that ends the command.
func (b *batching) tell(s batch.Summary) error {
	status := b.status
	for _, f := range s.Faults {
		b.streams.message("%s: %v", record.SafeName(f.Name), f)
	}
	for _, of := range s.Statuses {
		status = worse(status, of)
	}
	if s.Refused > 0 {
		status = worse(status, statusRefused)
	}
	if err := b.print(s); err != nil {
		return err
	}
	if status != statusOK {
		return &errPartly{status}
	}
	return nil
}

// print writes the summary, or with --json the lines themselves.
func (b *batching) print(s batch.Summary) error {
	if b.json {
		return copyFile(b.streams.Out, s.Files[0])
	}
	for _, c := range b.chains {
		if err := record.WriteStretch(b.streams.Out, c, record.Style{Quiet: b.quiet, Units: b.units}); err != nil {
			return err
		}
	}
	if b.quiet {
		return nil
	}
	out := b.streams.Out
	fmt.Fprintf(out, "Of %d to measure: %d measured, %d refused, %d not finished", s.Works, s.Kept+s.Measured-s.Refused, s.Refused, s.Missing)
	if s.Kept > 0 {
		fmt.Fprintf(out, "; %d of them were there from before", s.Kept)
	}
	fmt.Fprintln(out, ".")
	if s.Missing > 0 {
		fmt.Fprintln(out, "The same command again does what is not finished.")
	}
	for _, file := range s.Files {
		fmt.Fprintf(out, "  %s\n", record.SafeName(file))
	}
	return nil
}

// copyFile writes a file's content to w.
func copyFile(w io.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	_, err = io.Copy(w, f)
	return err
}
