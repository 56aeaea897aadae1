package cli

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"pinlash": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
			defer stop()
			os.Exit(Main(ctx, os.Args[1:], Streams{Out: os.Stdout, Err: os.Stderr}))
		},
		"pinlash-trial": serveTrial,
	})
}

// TestScript runs the tool as its users do. $SAMPLES is the folder of the
// demo's photos, $SPANS that of the span photos, $PAIRS that of the pairs; "status N command..." wants exactly
// that exit status, "draw KIND FILE" draws a photo of a gauge, "teardown FOLDER N"
// photos of N joints, "study FOLDER NAME" results of an invented study.
func TestScript(t *testing.T) {
	samples, err := filepath.Abs("../../../../samples")
	if err != nil {
		t.Fatal(err)
	}
	spans, err := filepath.Abs(spanFolder)
	if err != nil {
		t.Fatal(err)
	}
	pairs, err := filepath.Abs(pairFolder)
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                "testdata/script",
		RequireUniqueNames: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("SAMPLES", samples)
			env.Setenv("SPANS", spans)
			env.Setenv("PAIRS", pairs)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"status": status, "draw": draw, "teardown": drawTeardown, "study": writeStudy},
	})
}

func status(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N command...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		exit := (*exec.ExitError)(nil)
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}
