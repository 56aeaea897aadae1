// Command pinlash measures the play in chain joints from microscope photos.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"pinlash/cmd/pinlash/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once
	os.Exit(cli.Main(ctx, os.Args[1:], cli.Streams{Out: os.Stdout, Err: os.Stderr}))
}
