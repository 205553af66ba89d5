package cli

import (
	"context"
	"fmt"
	"slices"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/spf13/cobra"
	"golang.org/x/term"
	"google.golang.org/protobuf/types/known/durationpb"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// scheduleCommands give a plan's batches vessels, people and times.
func (a *app) scheduleCommands(schedule *cobra.Command) {
	schedule.AddCommand(a.scheduleSolveCommand(), a.schedulePublishCommand(), a.scheduleBoardCommand())
}

func (a *app) scheduleSolveCommand() *cobra.Command {
	var from, reference string
	var iterations int32
	var seconds float64
	var seed int64
	command := &cobra.Command{
		Use: "solve [PLAN]", Short: "Find vessel, crew and time for every step; started runs stay", Args: cobra.MaximumNArgs(1),
		Long: `Find vessel, crew and time for every step of a released plan's batches (of all released batches when no plan is named).
What has started stays; with a published schedule the search also keeps the changes small. The result is a draft until
it is published.`,
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
			if seconds > 0 {
				request.MaxDuration = durationpb.New(time.Duration(seconds * float64(time.Second)))
			}
			if request.StartTime, err = moment(from, a.style(cmd.Context()).Zone); err != nil {
				return err
			}
			solved, err := a.solve(cmd, request)
			if err != nil {
				return err
			}
			return a.showBoard(cmd.Context(), solved)
		},
	}
	command.Flags().StringVar(&from, "from", "", "no unstarted step begins before (now when empty)")
	command.Flags().StringVar(&reference, "reference", "", "schedule to stay close to (the published one when empty)")
	command.Flags().Int32Var(&iterations, "iterations", 0, "how long to search, in iterations: the same seed and number give the same schedule (the service's own when 0)")
	command.Flags().Float64Var(&seconds, "seconds", 0, "stop after so many seconds, whatever the iterations (no limit when 0)")
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
			return a.showBoard(ctx, published)
		},
	}
	command.Flags().BoolVar(&preview, "preview", false, "check without publishing")
	return command
}

func (a *app) scheduleBoardCommand() *cobra.Command {
	return &cobra.Command{
		Use: "board [SCHEDULE]", Short: "Show a schedule vessel by vessel (the published one when none is named)", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			client, err := a.scheduling()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			if len(args) == 1 {
				name, err := a.name("schedules/{schedule}", args[0])
				if err != nil {
					return err
				}
				found, err := client.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: name})
				if err != nil {
					return rpc.FromStatus(err)
				}
				return a.showBoard(ctx, found)
			}
			published, err := client.ListSchedules(ctx, &schedulingpb.ListSchedulesRequest{Parent: a.siteName(), Filter: "state = PUBLISHED", PageSize: 1})
			if err != nil {
				return rpc.FromStatus(err)
			}
			if len(published.GetSchedules()) == 0 {
				return usagef("no schedule is published; make one with: rondeau schedule solve")
			}
			found, err := client.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: published.GetSchedules()[0].GetName()})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.showBoard(ctx, found)
		},
	}
}

// solve waits for the operation, shows its progress on a terminal, and cancels it when the person interrupts: the best
// schedule so far is kept.
func (a *app) solve(cmd *cobra.Command, request *schedulingpb.SolveScheduleRequest) (*schedulingpb.Schedule, error) {
	client, err := a.scheduling()
	if err != nil {
		return nil, err
	}
	ctx := cmd.Context()
	operation, err := client.SolveSchedule(ctx, request)
	if err != nil {
		return nil, rpc.FromStatus(err)
	}
	for !operation.GetDone() {
		a.progress(operation)
		operation, err = client.WaitOperation(ctx, &longrunningpb.WaitOperationRequest{Name: operation.GetName(), Timeout: durationpb.New(time.Second)})
		if err == nil {
			continue
		}
		if ctx.Err() == nil {
			return nil, rpc.FromStatus(err)
		}
		after, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer cancel()
		_, err = client.CancelOperation(after, &longrunningpb.CancelOperationRequest{Name: operation.GetName()})
		if err != nil {
			return nil, rpc.FromStatus(err)
		}
		return nil, fmt.Errorf("search stopped; the best schedule so far is kept: see `rondeau schedule list`")
	}
	a.progress(operation)
	if a.onTerminal() {
		fmt.Fprintln(a.err)
	}
	if failure := operation.GetError(); failure != nil {
		return nil, fmt.Errorf("%s", failure.GetMessage())
	}
	solved := &schedulingpb.Schedule{}
	err = operation.GetResponse().UnmarshalTo(solved)
	if err != nil {
		return nil, fmt.Errorf("read schedule: %w", err)
	}
	return solved, nil
}

// onTerminal reports whether the error stream is a person's terminal.
func (a *app) onTerminal() bool {
	file, ok := a.err.(interface{ Fd() uintptr })
	return ok && term.IsTerminal(int(file.Fd()))
}

func (a *app) progress(operation *longrunningpb.Operation) {
	if !a.onTerminal() {
		return
	}
	meta := &schedulingpb.SolveScheduleMetadata{}
	if operation.GetMetadata().UnmarshalTo(meta) != nil {
		return
	}
	fmt.Fprintf(a.err, "\r\033[K%d of %d iterations, %d steps, %d late, gap %.1f %%", meta.GetIterationCount(), meta.GetIterationBudget(), meta.GetStepCount(), meta.GetLateBatchCount(), 100*meta.GetGap())
}

// showBoard prints a schedule by vessel and time, then what is late and why.
func (a *app) showBoard(ctx context.Context, schedule *schedulingpb.Schedule) error {
	if a.output == "json" {
		return a.show(ctx, schedule)
	}
	style := a.style(ctx)
	fmt.Fprintf(a.out, "Schedule %s, %s, %s\n", style.ID(schedule.GetName()), view.EnumWords(schedule.GetState().Descriptor().Values().ByNumber(schedule.GetState().Number())), schedule.GetReport().GetSummary())
	assignments := slices.Clone(schedule.GetAssignments())
	slices.SortStableFunc(assignments, func(x, y *schedulingpb.Schedule_Assignment) int {
		if x.GetVessel() != y.GetVessel() {
			if x.GetVessel() < y.GetVessel() {
				return -1
			}
			return 1
		}
		return x.GetStartTime().AsTime().Compare(y.GetStartTime().AsTime())
	})
	for first := 0; first < len(assignments); {
		last := first
		for last < len(assignments) && assignments[last].GetVessel() == assignments[first].GetVessel() {
			last++
		}
		place := style.ID(assignments[first].GetVessel())
		if place == "" {
			place = "table"
		}
		fmt.Fprintf(a.out, "\n%s\n", place)
		err := table(ctx, a, assignments[first:last], "start_time", "end_time", "batch", "step_id", "crew", "fill_liters", "mass_kg", "started")
		if err != nil {
			return err
		}
		first = last
	}
	for _, late := range schedule.GetReport().GetLateBatches() {
		fmt.Fprintf(a.out, "\nLate: %s by %s (due %s)", style.ID(late.GetBatch()), view.Duration(late.GetDelay().AsDuration()), style.Time(late.GetDueTime().AsTime()))
		for _, reason := range late.GetReasons() {
			fmt.Fprintf(a.out, "\n  %s", reason)
		}
	}
	for _, conflict := range schedule.GetReport().GetConflicts() {
		fmt.Fprintf(a.out, "\nConflict: %s", conflict.GetText())
		for _, relaxation := range conflict.GetRelaxations() {
			fmt.Fprintf(a.out, "\n  would help: %s", relaxation.GetText())
		}
	}
	if caution := schedule.GetReport().GetCaution(); caution != "" {
		fmt.Fprintf(a.out, "\n%s", caution)
	}
	_, err := fmt.Fprintln(a.out)
	return err
}
