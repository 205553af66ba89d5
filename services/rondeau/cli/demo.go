package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/services/rondeau/demo"
	"rondeau.internal/services/rondeau/suite"
)

func (a *app) demoCommand() *cobra.Command {
	var days int
	var seed uint64
	var start string
	var keep bool
	var t telemetryFlags
	command := &cobra.Command{
		Use: "demo", Short: "Cook an invented kitchen's week in simulated time and report", Args: cobra.NoArgs,
		Long: `Cook a week of the invented Quayside Central Kitchen through the public API, in simulated time, with temperatures and weights
computed from physics plus noise: a delivery that is too warm, a kettle that fails, a chill that goes wrong. The data folder must
be empty; afterwards ` + "`rondeau up`" + ` serves it.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			first, err := demoStart(start, days)
			if err != nil {
				return err
			}
			if !keep {
				_, err = os.Stat(suite.DatabaseFile(a.data, "planning"))
				if err == nil {
					return usagef("%s is in use already; name an empty folder with --data, or cook another week in it with --again", a.data)
				}
			}
			logger, stop, err := t.start(cmd.Context(), a, "rondeau")
			if err != nil {
				return err
			}
			defer stop()
			return a.runDemo(cmd.Context(), logger, first, days, seed)
		},
	}
	command.Flags().IntVar(&days, "days", 7, "days to cook")
	command.Flags().Uint64Var(&seed, "seed", 1, "seed of everything that is left to chance")
	command.Flags().StringVar(&start, "start", "", "first day, a Monday (so that the week has just ended when empty)")
	command.Flags().BoolVar(&keep, "again", false, "cook in a data folder that is in use already")
	t.add(command)
	t.quiet(command, "error")
	return command
}

// demoStart is the Monday of the week that has just ended, unless a day is given.
func demoStart(text string, days int) (time.Time, error) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		return time.Time{}, fmt.Errorf("time zone: %w", err)
	}
	if text != "" {
		day, err := time.ParseInLocation(time.DateOnly, text, zone)
		if err != nil || day.Weekday() != time.Monday {
			return time.Time{}, usagef("--start %s: give a Monday such as 2027-03-01", text)
		}
		return day.Add(4 * time.Hour), nil
	}
	now := time.Now().In(zone)
	day := time.Date(now.Year(), now.Month(), now.Day(), 4, 0, 0, 0, zone).AddDate(0, 0, -days-2)
	for day.Weekday() != time.Monday {
		day = day.AddDate(0, 0, -1)
	}
	return day, nil
}

// runDemo cooks the week on a suite of its own in this process, then checks what must always hold.
func (a *app) runDemo(ctx context.Context, logger *slog.Logger, first time.Time, days int, seed uint64) error {
	now := clock.NewFake(first)
	s, err := suite.Start(ctx, suite.Options{Data: a.data, Clock: now, Logger: logger})
	if err != nil {
		return err
	}
	options := demo.Options{
		Start: first, Days: days, Seed: seed,
		SetTime: func(t time.Time) error { now.Set(t); return nil },
		Conns: func(p auth.Principal) func(string) grpc.ClientConnInterface {
			return func(string) grpc.ClientConnInterface {
				conn, err := s.Conn(p)
				if err != nil {
					return failing{err}
				}
				return conn
			}
		},
		Progress: func(line string) {
			if a.onTerminal() {
				fmt.Fprintf(a.err, "\r\033[K%s", line)
			}
		},
	}
	report, err := demo.Run(ctx, options)
	if a.onTerminal() {
		fmt.Fprint(a.err, "\r\033[K")
	}
	if err != nil {
		return errors.Join(err, s.Close())
	}
	broken, err := demo.Invariants(ctx, options)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	if a.output == "json" {
		encoder := json.NewEncoder(a.out)
		encoder.SetIndent("", "  ")
		err = encoder.Encode(report)
	} else {
		err = report.Write(a.out)
	}
	if len(broken) > 0 {
		err = errors.Join(err, fmt.Errorf("what must always hold does not:\n  %s", strings.Join(broken, "\n  ")))
	}
	err = errors.Join(err, s.Close())
	if err == nil && a.output != "json" {
		fmt.Fprintf(a.out, "\nThe week lies in %s. Look around in it: rondeau up --data %s\n", a.data, a.data)
	}
	return err
}
