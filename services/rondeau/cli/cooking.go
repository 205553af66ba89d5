package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/units"
)

// nextCommand answers a cook's question: what now, at which vessel?
func (a *app) nextCommand() *cobra.Command {
	var vessel string
	var limit int
	command := &cobra.Command{
		Use: "next", Short: "What is running and what comes next at the vessels", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			client, err := a.scheduling()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			var runs []*schedulingpb.Run
			for _, state := range []string{"RUNNING", "PLANNED"} {
				filter := "state = " + state
				if vessel != "" {
					name, err := a.name("vessels/{vessel}", vessel)
					if err != nil {
						return err
					}
					filter += fmt.Sprintf(" AND vessel = %q", name)
				}
				found, err := pages(limit, func(token string) ([]*schedulingpb.Run, string, error) {
					response, err := client.ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: a.siteName() + "/batches/-", Filter: filter, PageToken: token, PageSize: 100})
					return response.GetRuns(), response.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				runs = append(runs, found...)
			}
			return table(ctx, a, runs, "name", "display_name", "state", "vessel", "planned_start_time", "planned_end_time", "forecast.expected_finish_time", "operator")
		},
	}
	command.Flags().StringVar(&vessel, "vessel", "", "only at this vessel")
	command.Flags().IntVar(&limit, "limit", 20, "at most this many of each state")
	return command
}

// runCommands record what really happens at a vessel.
func (a *app) runCommands(run *cobra.Command) {
	run.AddCommand(a.runStartCommand(), a.runRecordCommand(), a.runFinishCommand(), a.runAbortCommand(), a.runForecastCommand())
}

func (a *app) runStartCommand() *cobra.Command {
	var vessel, operator, at string
	command := &cobra.Command{
		Use: "start BATCH/RUN", Short: "Start a run at its vessel", Args: exactly(1, "BATCH/RUN"), ValidArgsFunction: a.completeIDs(resourceByWord("run")),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}/runs/{run}", args[0])
			if err != nil {
				return err
			}
			at2 := ""
			if vessel != "" {
				at2, err = a.name("vessels/{vessel}", vessel)
				if err != nil {
					return err
				}
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Run, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.StartRun(ctx, &schedulingpb.StartRunRequest{Name: name, Vessel: at2, Operator: operator, StartTime: when, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&vessel, "vessel", "", "vessel, when another one than planned")
	command.Flags().StringVar(&operator, "operator", "", "who does it, when another person than the one who records")
	command.Flags().StringVar(&at, "at", "", "when it started (now when empty)")
	return command
}

func (a *app) runRecordCommand() *cobra.Command {
	var operator, at, note string
	command := &cobra.Command{
		Use: "record BATCH/RUN KIND=VALUE ...", Short: "Record weights, temperatures, levels, solids and checks", Args: atLeast(2, "BATCH/RUN KIND=VALUE ..."),
		Long: `Record measurements of a run. The kinds are mass, volume, temperature, brix, level and check; a check is written as
its name and yes or no.`,
		Example: "  rondeau run record b-12/simmer temperature=95C level=41cm\n  rondeau run record b-12/defat 'check=fat has set: yes' mass=3.4kg",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}/runs/{run}", args[0])
			if err != nil {
				return err
			}
			var measurements []*schedulingpb.Measurement
			for _, word := range args[1:] {
				m, err := measurement(word)
				if err != nil {
					return err
				}
				m.Note, m.Operator = note, operator
				measurements = append(measurements, m)
			}
			client, err := a.scheduling()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			when, err := moment(at, a.style(ctx).Zone)
			if err != nil {
				return err
			}
			recorded := make([]*schedulingpb.Measurement, 0, len(measurements))
			for i, m := range measurements {
				m.ObserveTime = when
				request := a.requestID()
				if a.request != "" && i > 0 {
					request = fmt.Sprintf("%s-%d", a.request, i)
				}
				saved, err := client.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: name, Measurement: m, RequestId: request})
				if err != nil {
					return fmt.Errorf("%s: %w", args[i+1], rpc.FromStatus(err))
				}
				recorded = append(recorded, saved)
			}
			return table(ctx, a, recorded, "name", "mass_kg", "volume_liters", "temperature_celsius", "brix_degrees", "level_meters", "observe_time", "late_entry")
		},
	}
	command.Flags().StringVar(&at, "at", "", "when it was measured (now when empty)")
	command.Flags().StringVar(&note, "note", "", "a note")
	command.Flags().StringVar(&operator, "operator", "", "who measured, when another person than the one who records")
	return command
}

func (a *app) runFinishCommand() *cobra.Command {
	var at, note string
	command := &cobra.Command{
		Use: "finish BATCH/RUN [ITEM=MASS ...]", Short: "Finish a run with what came out", Args: atLeast(1, "BATCH/RUN"), ValidArgsFunction: a.completeIDs(resourceByWord("run")),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}/runs/{run}", args[0])
			if err != nil {
				return err
			}
			var outputs []*schedulingpb.Run_Output
			err = perItem(a, args[1:], "ITEM=MASS", "items/{item}", mass, func(item string, kg float64) {
				outputs = append(outputs, &schedulingpb.Run_Output{Item: item, Quantity: &schedulingpb.Run_Output_MassKg{MassKg: kg}})
			})
			if err != nil {
				return err
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Run, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.FinishRun(ctx, &schedulingpb.FinishRunRequest{Name: name, FinishTime: when, Outputs: outputs, Note: note, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&at, "at", "", "when it finished (now when empty)")
	command.Flags().StringVar(&note, "note", "", "a note")
	return command
}

func (a *app) runAbortCommand() *cobra.Command {
	return &cobra.Command{
		Use: "abort BATCH/RUN REASON", Short: "Give a run up", Args: exactly(2, "BATCH/RUN and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}/runs/{run}", args[0])
			if err != nil {
				return err
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Run, error) {
				return c.AbortRun(ctx, &schedulingpb.AbortRunRequest{Name: name, Reason: args[1], RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) runForecastCommand() *cobra.Command {
	return &cobra.Command{
		Use: "forecast BATCH/RUN", Short: "When a run will be done, from what was measured", Args: exactly(1, "BATCH/RUN"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("batches/{batch}/runs/{run}", args[0])
			if err != nil {
				return err
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Run_Forecast, error) {
				return c.ForecastRun(ctx, &schedulingpb.ForecastRunRequest{Name: name})
			})
		},
	}
}

// measurement reads KIND=VALUE.
func measurement(word string) (*schedulingpb.Measurement, error) {
	kind, text, err := pair(word, "KIND=VALUE")
	if err != nil {
		return nil, err
	}
	m := &schedulingpb.Measurement{}
	switch kind {
	case "mass":
		var kg float64
		kg, err = mass(text)
		m.Value = &schedulingpb.Measurement_MassKg{MassKg: kg}
	case "temperature":
		var degrees float64
		degrees, err = temperature(text)
		m.Value = &schedulingpb.Measurement_TemperatureCelsius{TemperatureCelsius: degrees}
	case "volume":
		v, parseErr := units.ParseVolume(text)
		err = parseErr
		m.Value = &schedulingpb.Measurement_VolumeLiters{VolumeLiters: v.Litres()}
	case "level":
		l, parseErr := units.ParseLength(text)
		err = parseErr
		m.Value = &schedulingpb.Measurement_LevelMeters{LevelMeters: l.Metres()}
	case "brix":
		var degrees float64
		degrees, err = temperature(text) // a plain number
		m.Value = &schedulingpb.Measurement_BrixDegrees{BrixDegrees: degrees}
	case "check":
		name, answer, found := strings.Cut(text, ":")
		answer = strings.ToLower(strings.TrimSpace(answer))
		if !found || (answer != "yes" && answer != "no") {
			return nil, usagef("%q: write a check as 'check=fat has set: yes'", word)
		}
		m.Value = &schedulingpb.Measurement_Check_{Check: &schedulingpb.Measurement_Check{DisplayName: strings.TrimSpace(name), Passed: answer == "yes"}}
	default:
		return nil, usagef("%q: the kinds are mass, volume, temperature, brix, level and check", kind)
	}
	if err != nil {
		return nil, usagef("%s: %v", kind, err)
	}
	return m, nil
}

// vesselCommands tell that a vessel failed or is repaired.
func (a *app) vesselCommands(vessel *cobra.Command) {
	var from, until string
	down := &cobra.Command{
		Use: "down VESSEL REASON", Short: "Take a vessel out of use", Args: exactly(2, "VESSEL and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("vessels/{vessel}", args[0])
			if err != nil {
				return err
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Vessel, error) {
				start, err := moment(from, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				end, err := moment(until, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{Name: name, Reason: args[1], StartTime: start, EndTime: end, RequestId: a.requestID()})
			})
		},
	}
	down.Flags().StringVar(&from, "from", "", "from when (now when empty)")
	down.Flags().StringVar(&until, "until", "", "until when, if it is known")
	up := &cobra.Command{
		Use: "up VESSEL", Short: "Bring a vessel back into use", Args: exactly(1, "VESSEL"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("vessels/{vessel}", args[0])
			if err != nil {
				return err
			}
			return schedulingCall(a, cmd, func(ctx context.Context, c schedulingpb.SchedulingServiceClient) (*schedulingpb.Vessel, error) {
				return c.BringVesselUp(ctx, &schedulingpb.BringVesselUpRequest{Name: name, RequestId: a.requestID()})
			})
		},
	}
	vessel.AddCommand(down, up)
}
