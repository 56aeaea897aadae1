//go:build front

package cli

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"

	"github.com/spf13/cobra"
)

// photoProgram is the whole of pinlash. This program, built with the tag front,
// is the part that looks at no photo: it does not load OpenCV, which takes
// longer than all that it does, and hands over to the other where that is
// needed.
const photoProgram = "pinlash-photo"

// photoCommands stand for the commands that measure photos.
func photoCommands(Streams) []*cobra.Command {
	var all []*cobra.Command
	for name, short := range photoShorts {
		cmd := &cobra.Command{
			Use:                name,
			Short:              short,
			DisableFlagParsing: true,
			RunE:               func(_ *cobra.Command, args []string) error { return handOver(name, args) },
		}
		cmd.SetHelpFunc(func(*cobra.Command, []string) { _ = handOver(name, []string{"--help"}) })
		cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, toComplete string) ([]string, cobra.ShellCompDirective) {
			_ = handOver("__complete", append(append([]string{name}, args...), toComplete))
			return nil, cobra.ShellCompDirectiveError
		}
		all = append(all, cmd)
	}
	return append(all, &cobra.Command{ // it describes all commands
		Use: "man FOLDER", Hidden: true, DisableFlagParsing: true,
		RunE: func(_ *cobra.Command, args []string) error { return handOver("man", args) },
	})
}

// handOver lets the whole program take this one's place. It returns only if it
// cannot.
func handOver(command string, args []string) error {
	path, err := findPhotoProgram()
	if err != nil {
		return err
	}
	err = syscall.Exec(path, append([]string{"pinlash", command}, args...), os.Environ())
	return &fs.PathError{Op: "run", Path: path, Err: err}
}

// findPhotoProgram looks beside this program, then where all programs are.
func findPhotoProgram() (string, error) {
	self, err := os.Executable()
	if err == nil {
		self, err = filepath.EvalSymlinks(self)
	}
	if err != nil {
		return "", err
	}
	path := filepath.Join(filepath.Dir(self), photoProgram)
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	if path, err := exec.LookPath(photoProgram); err == nil {
		return path, nil
	}
	return "", &fs.PathError{Op: "look for", Path: path, Err: errors.New("the program that measures photos is not there; it belongs beside this one")}
}
