//go:build !front

package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"sync"

	"github.com/spf13/pflag"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/batch"
	"pinlash/cmd/pinlash/internal/jobcard"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// settings are flags by name, as they would stand on the command line.
type settings map[string]string

// settingsOf returns the flags that say what a job card says.
func settingsOf(s jobcard.Settings) settings {
	out := settings{}
	length := func(name string, l calib.Length) {
		if l != 0 {
			out[name] = l.String()
		}
	}
	length("division", s.Division)
	length("division-tolerance", s.DivisionTolerance)
	length("gauge", s.Gauge)
	length("distance", s.Distance)
	length("working-distance", s.WorkingDistance)
	length("pitch", s.Pitch)
	for name, text := range map[string]string{
		"scale-file": s.ScaleFile, "points": s.Points, "chain": s.ChainName, "moving": s.Moving, "fixed": s.Fixed,
	} {
		if text != "" {
			out[name] = text
		}
	}
	if s.PlaneOffset != nil {
		out["plane-offset"] = s.PlaneOffset.String()
	}
	if s.SamePlane != nil && *s.SamePlane {
		out["same-plane"] = "true"
	}
	if s.Temperature != nil {
		out["temperature"] = strconv.FormatFloat(*s.Temperature, 'g', -1, 64)
	}
	if s.NewPlay != nil {
		out["new-play"] = s.NewPlay.String()
	}
	if s.Pitches != 0 {
		out["pitches"] = strconv.Itoa(s.Pitches)
	}
	if s.Limit != 0 {
		out["limit"] = strconv.FormatFloat(s.Limit, 'g', -1, 64)
	}
	return out
}

// instead are flags of which one takes the place of all others: a card that
// states one is not to be mixed with the command line that states another.
var instead = [][]string{
	{"division", "gauge", "points", "distance", "scale-file", "division-tolerance"},
	{"plane-offset", "working-distance", "same-plane"},
	{"chain", "pitch"},
}

// over returns these settings with those of the command line where they are
// silent.
func (s settings) over(line settings) settings {
	out := settings{}
	for name, value := range line {
		out[name] = value
	}
	for _, group := range instead {
		for _, name := range group {
			if _, stated := s[name]; stated {
				for _, other := range group {
					delete(out, other)
				}
				break
			}
		}
	}
	for name, value := range s {
		out[name] = value
	}
	return out
}

// task is one piece of a batch.
type task struct {
	jobcard.Task
	folder    string // that the paths are relative to
	settings  settings
	scaleFile string     // where the scale-file of the settings can be opened, unless it is kept
	kept      *keptScale // that the task is measured with, nil for none
	way       photoWay   // nil until a kept scale is known
}

// newTask checks what is said of a task. The scale of another task, whose
// SaveScale it names, is taken from there. A scale file in the folder is named
// from there in the settings, as photos are, so that no line depends on where
// the folder lies.
func newTask(t jobcard.Task, folder string, line settings, kept map[string]*keptScale) (*task, error) {
	out := &task{Task: t, folder: folder, settings: settingsOf(t.Settings).over(line)}
	if file := t.Settings.ScaleFile; file != "" {
		if out.kept = kept[file]; out.kept == nil {
			out.scaleFile = filepath.Join(folder, filepath.FromSlash(file))
		}
	} else if file := out.settings["scale-file"]; file != "" {
		out.scaleFile, out.settings["scale-file"] = file, fromFolder(folder, file)
	}
	var saved *calib.Scale
	if out.kept != nil {
		saved = &calib.Scale{} // to check the other settings with
	}
	way, err := out.bind(saved)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", record.SafeName(out.name()), err)
	}
	if out.kept == nil {
		out.way = way
	}
	return out, nil
}

// fromFolder names a file from the folder if it lies in it, else as it was named.
func fromFolder(folder, file string) string {
	base, err1 := filepath.Abs(folder)
	at, err2 := filepath.Abs(file)
	if err1 != nil || err2 != nil {
		return file
	}
	if name, err := filepath.Rel(base, at); err == nil && filepath.IsLocal(name) {
		return filepath.ToSlash(name)
	}
	return file
}

// measuring is a command that measures photos, without its output.
type measuring interface {
	addSettings(*pflag.FlagSet)
	way(changed) (photoWay, error)
}

// bind lets the settings go through the flags of the task's own command, those
// that it has, and returns its way.
func (t *task) bind(saved *calib.Scale) (photoWay, error) {
	scale := scaleOptions{saved: saved}
	var command measuring
	switch t.Kind {
	case jobcard.Joint:
		command = &jointCommand{scale: scale}
	case jobcard.Span:
		command = &spanCommand{scale: scale}
	case jobcard.Play:
		o := &playCommand{scale: scale, together: t.paths(t.Together), apart: t.paths(t.Apart)}
		if t.Clip != "" {
			o.clip = t.paths([]string{t.Clip})[0]
		}
		command = o
	case jobcard.Scale:
		o := &scaleCommand{}
		if t.SaveScale != "" {
			o.save = filepath.Join(t.folder, filepath.FromSlash(t.SaveScale))
		}
		command = o
	default:
		return nil, fmt.Errorf("a photo of kind %q cannot be measured", t.Kind)
	}
	flags := pflag.NewFlagSet("", pflag.ContinueOnError)
	command.addSettings(flags)
	for name, value := range t.settings {
		if name == "scale-file" && t.scaleFile != "" {
			value = t.scaleFile
		}
		if flags.Lookup(name) == nil {
			delete(t.settings, name) // meant for photos of other kinds
		} else if err := flags.Set(name, value); err != nil {
			return nil, usageErrorf("%s of %q: %w", name, value, err)
		}
	}
	t.dropLimit(flags)
	return command.way(flags.Changed)
}

// dropLimit leaves out a limit that this photo cannot be held against: the
// whole chain may be.
func (t *task) dropLimit(flags *pflag.FlagSet) {
	limit := flags.Lookup("limit")
	if limit == nil || !limit.Changed {
		return
	}
	if flags.Changed("chain") || flags.Changed("pitch") && (t.Kind == jobcard.Span || flags.Changed("new-play")) {
		return
	}
	limit.Changed = false
	_ = limit.Value.Set("0") // a number it takes
	delete(t.settings, "limit")
}

// ofChain are those settings that say what the new chain is, also those that
// this kind of photo has no use for.
func (t *task) ofChain(line settings) settings {
	all := settingsOf(t.Settings).over(line)
	out := settings{}
	for _, name := range []string{"chain", "pitch", "pitches", "new-play", "limit"} {
		if value, stated := all[name]; stated {
			out[name] = value
		}
	}
	return out
}

// paths returns where the files can be opened.
func (t *task) paths(names []string) []string {
	var out []string
	for _, name := range names {
		out = append(out, filepath.Join(t.folder, filepath.FromSlash(name)))
	}
	return out
}

// files are all photos, or the clip.
func (t *task) files() []string {
	switch {
	case t.Clip != "":
		return []string{t.Clip}
	case t.Kind == jobcard.Play:
		return append(append([]string{}, t.Together...), t.Apart...)
	}
	return t.Photos
}

// name is the first photo.
func (t *task) name() string { return t.files()[0] }

// work is the task as the batch keeps account of it. With the scale of another
// photo it depends on that as well.
func (t *task) work() batch.Work {
	w := batch.Work{Name: t.name(), Inputs: t.paths(t.files())}
	says := struct {
		Version   string
		Task      jobcard.Task
		Settings  settings
		ScaleFrom settings
	}{Version, t.Task, t.settings, nil}
	if t.kept != nil {
		from := t.kept.task
		w.Inputs = append(w.Inputs, from.paths(from.files())...)
		says.ScaleFrom = from.settings
	} else if t.settings["scale-file"] != "" {
		w.Inputs = append(w.Inputs, t.scaleFile)
	}
	text, err := json.Marshal(says)
	if err != nil {
		panic(fmt.Sprintf("cli: settings of a task: %v", err)) // text, numbers and truth values only
	}
	w.Settings = string(text)
	return w
}

// measure takes the task its whole way.
func (t *task) measure(ctx context.Context) (outcome, error) {
	result := outcome{record: record.Record{Kind: record.Kind(t.Kind), Photo: record.Photo{Path: t.name()}, Version: Version}}
	way := t.way
	if t.kept != nil {
		scale, err := t.kept.get(ctx)
		if err != nil {
			return result, err
		}
		if way, err = t.bind(&scale); err != nil {
			return result, err
		}
	}
	measured, err := way(ctx, t.paths(t.files())[0])
	if measured.record.Kind == "" {
		measured.record.Kind = result.record.Kind
	}
	return measured, err
}

// keptScale is the scale of a photo that others are measured with. It is
// read once, by whoever needs it first.
type keptScale struct {
	task  *task
	mu    sync.Mutex
	known bool
	scale calib.Scale
	err   error
}

func (k *keptScale) get(ctx context.Context) (calib.Scale, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.known {
		return k.scale, k.err
	}
	result, err := k.task.measure(ctx)
	if ctx.Err() != nil {
		return calib.Scale{}, ctx.Err()
	}
	k.known, k.scale, k.err = true, result.scale, err
	if refused := (*check.Refusal)(nil); errors.As(err, &refused) {
		k.err = check.Refuse(check.NoScale, fmt.Sprintf("its scale is that of %s, which was refused (%s): %s",
			record.SafeName(k.task.name()), refused.Code, refused.Message))
	}
	return k.scale, k.err
}
