package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/jobcard"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/check"
)

// The exit statuses, part of the printed contract.
const (
	statusOK          = 0
	statusInternal    = 1 // our own fault
	statusUsage       = 2 // wrong use
	statusRefused     = 3 // at least one photo refused
	statusFile        = 4 // a file or folder could not be read or written
	statusInterrupted = 130
)

// exitHelp ends the long help of every command that looks at photos.
const exitHelp = `
Exit status: 0 all photos measured; 1 our own fault; 2 wrong use; 3 at least
one photo refused, the others still measured; 4 a file or folder could not be
read or written; 130 interrupted, the results so far are printed. Of several
the one that comes first in 130, 1, 2, 4, 3 counts.`

// caution ends the long help of every command whose figures may lead to a
// decision on a chain.
const caution = `
The figures advise. The maker's procedure and limit govern, and the decision is
for someone licensed to take it. With the chain of an engine off, turn neither
crank nor cam; wear eye protection when cutting or grinding pins, and do not
refit a link that was cut open or pulled on test.`

// UsageError is a command line that makes no sense.
type UsageError struct {
	Err error
}

func (e *UsageError) Error() string { return e.Err.Error() }
func (e *UsageError) Unwrap() error { return e.Err }

func usageErrorf(format string, args ...any) error {
	return &UsageError{fmt.Errorf(format, args...)}
}

// internalError is a fault of the program itself.
type internalError struct {
	cause any
	stack []byte
}

func (e *internalError) Error() string {
	return fmt.Sprintf("internal fault, please report it: %v\n%s", e.cause, e.stack)
}

// fault says what went wrong with a file: the one the error names, or else
// path.
func fault(path string, err error) string {
	var at *fs.PathError
	if errors.As(err, &at) {
		return fmt.Sprintf("%s: %s: %v", record.SafeName(at.Path), at.Op, at.Err)
	}
	return fmt.Sprintf("%s: %v", record.SafeName(path), err)
}

// errPartly ends a command whose photos have had their own messages.
type errPartly struct {
	status int
}

func (e *errPartly) Error() string { return fmt.Sprintf("status %d", e.status) }

// statusOf returns the exit status of a command, or of one photo, that ended
// with err. An error of a kind that nobody expects is our own fault.
func statusOf(err error) int {
	var (
		partly  *errPartly
		usage   *UsageError
		refusal *check.Refusal
	)
	switch {
	case err == nil:
		return statusOK
	case errors.As(err, &partly):
		return partly.status
	case errors.As(err, &usage):
		return statusUsage
	case errors.Is(err, context.Canceled):
		return statusInterrupted
	case errors.As(err, &refusal):
		return statusRefused
	case isFileError(err):
		return statusFile
	}
	return statusInternal
}

func isFileError(err error) bool {
	var (
		path   *fs.PathError
		link   *os.LinkError
		system *os.SyscallError
		saved  *calib.FileError
		typed  *typedFileError
		card   *jobcard.FileError
	)
	return errors.As(err, &path) || errors.As(err, &link) || errors.As(err, &system) || errors.As(err, &saved) || errors.As(err, &typed) || errors.As(err, &card)
}

// worse returns which of two photos' statuses the command ends with. Results
// cut short outweigh a fault of ours, that a lost file, that a refused photo.
func worse(a, b int) int {
	for _, s := range []int{statusInterrupted, statusInternal, statusUsage, statusFile, statusRefused} {
		if a == s || b == s {
			return s
		}
	}
	return statusOK
}
