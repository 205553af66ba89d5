package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
)

// scheduleCommands give a plan's batches vessels, people and times.
func (a *app) scheduleCommands(schedule *cobra.Command) {
	schedule.AddCommand(a.scheduleSolveCommand(), a.schedulePublishCommand(), a.scheduleBoardCommand(), a.scheduleOutlookCommand())
	for _, show := range schedule.Commands() {
		if show.Name() == "show" {
			a.pictureToo(show)
		}
	}
}

// pictureToo lets `schedule show` draw the schedule.
func (a *app) pictureToo(show *cobra.Command) {
	var svg string
	details := show.RunE
	show.Flags().StringVar(&svg, "svg", "", "draw it as a picture, into this file")
	show.RunE = func(cmd *cobra.Command, args []string) error {
		if svg == "" {
			return details(cmd, args)
		}
		to, err := newPicture(svg)
		if err != nil {
			return err
		}
		defer to.discard()
		ctx, cancel := a.call(cmd)
		defer cancel()
		found, err := a.schedule(ctx, args)
		if err != nil {
			return err
		}
		if err := a.draw(ctx, found, to); err != nil {
			return err
		}
		return details(cmd, args)
	}
}

// schedule reads the schedule that an argument names, or the published one.
func (a *app) schedule(ctx context.Context, args []string) (*schedulingpb.Schedule, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	name := ""
	if len(args) == 1 {
		if name, err = a.name("schedules/{schedule}", args[0]); err != nil {
			return nil, err
		}
	} else {
		published, err := client.ListSchedules(ctx, &schedulingpb.ListSchedulesRequest{Parent: a.siteName(), Filter: "state = PUBLISHED", PageSize: 1})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		if len(published.GetSchedules()) == 0 {
			return nil, usagef("no schedule is published; make one with: rondeau schedule solve")
		}
		name = published.GetSchedules()[0].GetName()
	}
	found, err := client.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: name})
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	return found, nil
}

func (a *app) scheduleSolveCommand() *cobra.Command {
	var from, reference, svg string
	var iterations int32
	var seconds float64
	var seed int64
	command := &cobra.Command{
		Use: "solve [PLAN]", Short: "Find vessel, crew and time for every step; started runs stay", Args: cobra.MaximumNArgs(1),
		Long: `Find vessel, crew and time for every step of a released plan's batches (of all released batches when no plan is named).
What has started stays; with a published schedule the search also keeps the changes small. The result is a draft until
it is published. It searches for 10 s (--seconds), less when the best schedule is proved or nothing better was found for
long; with --iterations it tries so many plans instead, and the same data, seed and number give the same schedule on every
machine. Ctrl-C ends the search early and keeps the best schedule found so far.

While it searches a line tells the time, how many batches are late in the best schedule so far and by how much in all,
its lateness in weighted hours (or when no batch can be earlier its cost), the proved bound below which no schedule
lies, the gap between them, and the plans tried.`,
		ValidArgsFunction: a.completeIDs(resourceByWord("plan")),
		RunE: func(cmd *cobra.Command, args []string) error {
			request := &schedulingpb.SolveScheduleRequest{Parent: a.siteName(), IterationBudget: iterations, Seed: seed, RequestId: a.requestID()}
			var err error
			if len(args) == 1 {
				if request.Plan, err = a.name("plans/{plan}", args[0]); err != nil {
					return err
				}
			}
			if reference != "" {
				if request.ReferenceSchedule, err = a.name("schedules/{schedule}", reference); err != nil {
					return err
				}
			}
			if seconds != 0 {
				request.MaxDuration = durationpb.New(time.Duration(seconds * float64(time.Second)))
			}
			if request.StartTime, err = moment(from, a.style(cmd.Context()).Zone); err != nil {
				return err
			}
			to, err := newPicture(svg)
			if err != nil {
				return err
			}
			defer to.discard()
			solved, err := a.solve(cmd.Context(), request)
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(context.WithoutCancel(cmd.Context()), a.timeout) // also after Ctrl-C
			defer cancel()
			if solved.Outlook, err = a.awaitOutlook(ctx, solved); err != nil {
				return err
			}
			return a.showBoard(ctx, solved, to)
		},
	}
	command.Flags().StringVar(&from, "from", "", "no unstarted step begins before (now when empty)")
	command.Flags().StringVar(&reference, "reference", "", "schedule to stay close to (the published one when empty)")
	command.Flags().Int32Var(&iterations, "iterations", 0, "try so many plans, 1 to 1000000, instead of searching for a time: the same seed and number give the same schedule")
	command.Flags().Float64Var(&seconds, "seconds", 0, "search for at most so many seconds, 1 to 3600 (10 when 0, with --iterations 3600)")
	command.Flags().StringVar(&svg, "svg", "", "draw the schedule as a picture as well, into this file")
	command.Flags().Int64Var(&seed, "seed", 1, "seed of the search")
	return command
}

func (a *app) schedulePublishCommand() *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use: "publish SCHEDULE", Short: "Put a schedule into force after it has been checked once more", Args: exactly(1, "SCHEDULE"),
		ValidArgsFunction: a.completeIDs(resourceByWord("schedule")),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("schedules/{schedule}", args[0])
			if err != nil {
				return err
			}
			client, err := a.scheduling()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			published, err := client.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: name, ValidateOnly: preview, RequestId: a.requestID()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			if published.Outlook, err = a.awaitOutlook(ctx, published); err != nil {
				return err
			}
			return a.showBoard(ctx, published, nil)
		},
	}
	command.Flags().BoolVar(&preview, "preview", false, "check without publishing")
	return command
}

func (a *app) scheduleBoardCommand() *cobra.Command {
	var svg string
	command := &cobra.Command{
		Use: "board [SCHEDULE]", Short: "Show a schedule vessel by vessel (the published one when none is named)", Args: cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeIDs(resourceByWord("schedule")),
		RunE: func(cmd *cobra.Command, args []string) error {
			to, err := newPicture(svg)
			if err != nil {
				return err
			}
			defer to.discard()
			ctx, cancel := a.call(cmd)
			defer cancel()
			found, err := a.schedule(ctx, args)
			if err != nil {
				return err
			}
			return a.showBoard(ctx, found, to)
		},
	}
	command.Flags().StringVar(&svg, "svg", "", "draw it as a picture as well, into this file")
	return command
}
