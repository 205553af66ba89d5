// Command rondeau is the one binary of the suite: it serves the services, together or one by one, and it is the client
// of the people who use them.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"rondeau.internal/services/rondeau/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	status := cli.Main(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}
