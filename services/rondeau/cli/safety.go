package cli

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rondeau.internal/pkg/apierr"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/cli/view"
)

// chillCommands watch hot material pass through the cooling limits.
func (a *app) chillCommands(chill *cobra.Command) {
	chill.AddCommand(a.chillStartCommand(), a.chillReadingCommand(), a.chillFeedCommand(), a.chillFinishCommand(), a.chillAbandonCommand(), a.chillForecastCommand(), a.chillGrowthCommand(), a.chillReadingsCommand())
}

func (a *app) chillStartCommand() *cobra.Command {
	var profile, at, id string
	command := &cobra.Command{
		Use: "start BATCH/RUN VESSEL", Short: "Begin to watch a chill", Args: exactly(2, "BATCH/RUN and VESSEL"),
		RunE: func(cmd *cobra.Command, args []string) error {
			batch, run, err := a.batchAndRun(args[0])
			if err != nil {
				return err
			}
			vessel, err := a.name("vessels/{vessel}", args[1])
			if err != nil {
				return err
			}
			limits, err := a.name("limitsProfiles/{limits_profile}", profile)
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Chill, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.StartChill(ctx, &foodsafetypb.StartChillRequest{
					Parent: a.siteName(), ChillId: id, RequestId: a.requestID(),
					Chill: &foodsafetypb.Chill{Batch: batch, Run: run, Vessel: vessel, LimitsProfile: limits, StartTime: when},
				})
			})
		},
	}
	command.Flags().StringVar(&profile, "profile", "us-food-code-2022", "limits to meet")
	command.Flags().StringVar(&at, "at", "", "when it started (now when empty)")
	command.Flags().StringVar(&id, "id", "", "id of the chill (given by the suite when empty)")
	return command
}

func (a *app) chillReadingCommand() *cobra.Command {
	var at, note string
	command := &cobra.Command{
		Use: "reading CHILL PROBE TEMPERATURE", Short: "Record one temperature", Args: exactly(3, "CHILL PROBE TEMPERATURE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, probe, err := a.chillAndProbe(args[0], args[1])
			if err != nil {
				return err
			}
			degrees, err := temperature(args[2])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Reading, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{
					Parent: name, RequestId: a.requestID(),
					Reading: &foodsafetypb.Reading{Chill: name, Probe: probe, ObserveTime: when, TemperatureCelsius: degrees, Note: note},
				})
			})
		},
	}
	command.Flags().StringVar(&at, "at", "", "when it was measured (now when empty)")
	command.Flags().StringVar(&note, "note", "", "a note")
	return command
}

func (a *app) chillFeedCommand() *cobra.Command {
	return &cobra.Command{
		Use: "feed FILE", Short: "Send readings from a CSV file (chill,probe,time,temperature) or - for standard input", Args: exactly(1, "FILE"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.feed(cmd, args[0]) },
	}
}

func (a *app) chillFinishCommand() *cobra.Command {
	var at string
	command := &cobra.Command{
		Use: "finish CHILL", Short: "End a chill and judge it", Args: exactly(1, "CHILL"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("chills/{chill}", args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Chill, error) {
				when, err := moment(at, a.style(ctx).Zone)
				if err != nil {
					return nil, err
				}
				return c.FinishChill(ctx, &foodsafetypb.FinishChillRequest{Name: name, FinishTime: when, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&at, "at", "", "when it ended (now when empty)")
	return command
}

func (a *app) chillAbandonCommand() *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use: "abandon CHILL --reason TEXT", Short: "Give a chill up, for example when the material is discarded", Args: exactly(1, "CHILL"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("chills/{chill}", args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Chill, error) {
				return c.AbandonChill(ctx, &foodsafetypb.AbandonChillRequest{Name: name, Reason: reason, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&reason, "reason", "", "why")
	return command
}

func (a *app) chillGrowthCommand() *cobra.Command {
	var category, acidity, salt string
	command := &cobra.Command{
		Use: "growth CHILL", Short: "How much may bacteria have grown in it?", Args: exactly(1, "CHILL"),
		Long: `Estimate from the readings how much Clostridium perfringens may have grown, for the person who decides about the food. A limit
that was missed stays missed. Without --ph and --salt the food is taken as the one in which the models grow most.`,
		Example: "  rondeau chill growth c-118 --ph 6.0 --salt 0.8",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("chills/{chill}", args[0])
			if err != nil {
				return err
			}
			request := &foodsafetypb.EstimateChillGrowthRequest{Name: name}
			kinds := foodsafetypb.EstimateChillGrowthRequest_STOCK.Descriptor()
			number, found := view.EnumValue(kinds, category)
			if !found {
				return usagef("%q: the kinds of food are %s", category, view.EnumChoices(kinds))
			}
			request.Category = foodsafetypb.EstimateChillGrowthRequest_FoodCategory(number)
			if request.AcidityPh, err = optionalNumber("--ph", acidity); err != nil {
				return err
			}
			if request.SaltPercent, err = optionalNumber("--salt", strings.TrimSuffix(salt, "%")); err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.GrowthEstimate, error) {
				return c.EstimateChillGrowth(ctx, request)
			})
		},
	}
	command.Flags().StringVar(&category, "food", "stock", "kind of food: "+view.EnumChoices(foodsafetypb.EstimateChillGrowthRequest_STOCK.Descriptor()))
	command.Flags().StringVar(&acidity, "ph", "", "pH of the food")
	command.Flags().StringVar(&salt, "salt", "", "salt in the water of the food, percent")
	return command
}

// optionalNumber is nil for an empty flag.
func optionalNumber(flag, text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		return nil, usagef("%s: %q is not a number", flag, text)
	}
	return &v, nil
}

func (a *app) chillReadingsCommand() *cobra.Command {
	return &cobra.Command{
		Use: "readings CHILL", Short: "List the readings of a chill", Args: exactly(1, "CHILL"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("chills/{chill}", args[0])
			if err != nil {
				return err
			}
			client, err := a.foodSafety()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			found, err := pages(0, func(token string) ([]*foodsafetypb.Reading, string, error) {
				response, err := client.ListReadings(ctx, &foodsafetypb.ListReadingsRequest{Parent: name, PageToken: token, PageSize: 500})
				return response.GetReadings(), response.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return table(ctx, a, found, "observe_time", "probe", "temperature_celsius", "judged_temperature_celsius", "late_entry", "recorder", "note")
		},
	}
}

func (a *app) chillAndProbe(chillID, probeID string) (chill, probe string, err error) {
	chill, err = a.name("chills/{chill}", chillID)
	if err != nil {
		return "", "", err
	}
	probe, err = a.name("probes/{probe}", probeID)
	return chill, probe, err
}

// feed streams readings; what the service acknowledges has been committed. A file is checked whole before anything of it is
// sent; readings from standard input are sent as they come.
func (a *app) feed(cmd *cobra.Command, path string) error {
	in := a.in
	if path != "-" {
		text, err := os.ReadFile(path)
		if err != nil {
			return usagef("%v", err)
		}
		err = a.eachReading(cmd.Context(), path, bytes.NewReader(text), func(*foodsafetypb.Reading, int) error { return nil })
		if err != nil {
			return fmt.Errorf("nothing was sent: %w", err)
		}
		in = bytes.NewReader(text)
	}
	client, err := a.foodSafety()
	if err != nil {
		return err
	}
	stream, err := client.StreamReadings(cmd.Context())
	if err != nil {
		return rpc.FromStatus(err)
	}
	var lines []int
	err = a.eachReading(cmd.Context(), path, in, func(one *foodsafetypb.Reading, line int) error {
		lines = append(lines, line)
		return stream.Send(&foodsafetypb.StreamReadingsRequest{Parent: a.siteName(), Readings: []*foodsafetypb.Reading{one}})
	})
	var mistake *usageError
	wrong := errors.As(err, &mistake) // any other error: the service's own answer tells why
	summary, err := stream.CloseAndRecv()
	if err != nil {
		return rpc.FromStatus(err)
	}
	if a.output == "json" {
		err = a.show(cmd.Context(), summary)
	} else {
		err = a.showFed(cmd.Context(), summary, lines)
	}
	switch {
	case err != nil:
		return err
	case wrong:
		return mistake
	case summary.GetRefusedCount() > 0:
		return fmt.Errorf("%d of %d readings were refused; the others are kept", summary.GetRefusedCount(), len(lines))
	default:
		return nil
	}
}

func (a *app) showFed(ctx context.Context, summary *foodsafetypb.StreamReadingsResponse, lines []int) error {
	fmt.Fprintf(a.out, "kept %d readings, %d were known already\n", summary.GetAcceptedCount(), summary.GetDuplicateCount())
	style := a.style(ctx)
	for _, refusal := range summary.GetRefusals() {
		line := "?"
		if i := int(refusal.GetIndex()); i < len(lines) {
			line = strconv.Itoa(lines[i])
		}
		fmt.Fprintf(a.out, "line %s is refused: %s\n", line, plain(style.Text(refusal.GetMessage()), a.siteName()))
	}
	return nil
}

// eachReading reads rows chill,probe,time,temperature.
func (a *app) eachReading(ctx context.Context, path string, in io.Reader, each func(one *foodsafetypb.Reading, line int) error) error {
	rows := csv.NewReader(in)
	rows.FieldsPerRecord = 4
	rows.Comment = '#'
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return usagef("%s: %v; a line has chill,probe,time,temperature", path, err)
		}
		line, _ := rows.FieldPos(0)
		if line == 1 && strings.EqualFold(strings.TrimSpace(row[0]), "chill") {
			continue // the heading
		}
		one, err := a.readingRow(ctx, row)
		if err != nil {
			return usagef("%s line %d: %v", path, line, err)
		}
		err = each(one, line)
		if err != nil {
			return err
		}
	}
}

func (a *app) readingRow(ctx context.Context, row []string) (*foodsafetypb.Reading, error) {
	chill, probe, err := a.chillAndProbe(strings.TrimSpace(row[0]), strings.TrimSpace(row[1]))
	if err != nil {
		return nil, err
	}
	when, err := moment(strings.TrimSpace(row[2]), a.style(ctx).Zone)
	if err != nil {
		return nil, err
	}
	degrees, err := temperature(strings.TrimSpace(row[3]))
	if err != nil {
		return nil, err
	}
	return &foodsafetypb.Reading{Chill: chill, Probe: probe, ObserveTime: when, TemperatureCelsius: degrees}, nil
}

// subject reads lots/ID or batches/ID, and refuses one that does not exist: food safety holds any name, and a hold on a
// name typed wrong would hold nothing. When the service that knows cannot be reached, the subject passes.
func (a *app) subject(ctx context.Context, id string) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, a.timeout)
	defer cancel()
	var name string
	var err error
	var known func() error
	switch short := strings.TrimPrefix(id, a.siteName()+"/"); {
	case strings.HasPrefix(short, "batches/"):
		name, err = a.name("batches/{batch}", short)
		known = func() error { _, err := a.knownBatch(ctx, name, ""); return err }
	case strings.HasPrefix(short, "lots/"):
		name, err = a.name("lots/{lot}", short)
		known = func() error {
			client, err := a.inventory()
			if err != nil {
				return err
			}
			_, err = client.GetLot(ctx, &inventorypb.GetLotRequest{Name: name})
			if err = rpc.FromStatus(err); apierr.KindOf(err) == apierr.KindNotFound {
				return err
			}
			return nil
		}
	default:
		return "", usagef("%q: give it as lots/ID or batches/ID", id)
	}
	if err != nil {
		return "", err
	}
	return name, known()
}

func (a *app) deviationCommands(deviation, hold, release *cobra.Command) {
	deviation.AddCommand(a.deviationOpenCommand(), a.deviationActCommand(), a.deviationCloseDeviationCommand())
	hold.AddCommand(a.holdPlaceCommand(), a.holdLiftCommand())
	release.AddCommand(a.releaseSignCommand())
}

func (a *app) deviationOpenCommand() *cobra.Command {
	var noHold bool
	command := &cobra.Command{
		Use: "open SUBJECT TEXT", Short: "Open a deviation on lots/ID or batches/ID and hold it", Args: exactly(2, "lots/ID or batches/ID, and TEXT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			subject, err := a.subject(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Deviation, error) {
				return c.OpenDeviation(ctx, &foodsafetypb.OpenDeviationRequest{
					Parent: a.siteName(), PlaceHolds: !noHold, RequestId: a.requestID(),
					Deviation: &foodsafetypb.Deviation{Kind: foodsafetypb.Deviation_MANUAL, Subjects: []string{subject}, Description: args[1]},
				})
			})
		},
	}
	command.Flags().BoolVar(&noHold, "no-hold", false, "do not place a hold")
	return command
}

func (a *app) deviationActCommand() *cobra.Command {
	decisions := view.EnumChoices(foodsafetypb.CorrectiveAction_DISCARD.Descriptor())
	return &cobra.Command{
		Use: "act DEVIATION DECISION TEXT", Short: "Record a corrective action", Args: exactly(3, "DEVIATION DECISION TEXT"),
		Long: "Record a corrective action. The decisions are " + decisions + ".",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("deviations/{deviation}", args[0])
			if err != nil {
				return err
			}
			number, found := view.EnumValue(foodsafetypb.CorrectiveAction_DISCARD.Descriptor(), args[1])
			if !found {
				return usagef("%q: the decisions are %s", args[1], decisions)
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Deviation, error) {
				return c.RecordCorrectiveAction(ctx, &foodsafetypb.RecordCorrectiveActionRequest{
					Name: name, RequestId: a.requestID(),
					CorrectiveAction: &foodsafetypb.CorrectiveAction{Decision: foodsafetypb.CorrectiveAction_Decision(number), Text: args[2]},
				})
			})
		},
	}
}

func (a *app) deviationCloseDeviationCommand() *cobra.Command {
	return &cobra.Command{
		Use: "close DEVIATION NOTE", Short: "Close a deviation, by another person than who acted", Args: exactly(2, "DEVIATION and NOTE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("deviations/{deviation}", args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Deviation, error) {
				return c.CloseDeviation(ctx, &foodsafetypb.CloseDeviationRequest{Name: name, Note: args[1], RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) holdPlaceCommand() *cobra.Command {
	return &cobra.Command{
		Use: "place SUBJECT REASON", Short: "Hold lots/ID or batches/ID: it must not move", Args: exactly(2, "lots/ID or batches/ID, and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			subject, err := a.subject(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Hold, error) {
				return c.PlaceHold(ctx, &foodsafetypb.PlaceHoldRequest{Parent: a.siteName(), Hold: &foodsafetypb.Hold{Subject: subject, Reason: args[1]}, RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) holdLiftCommand() *cobra.Command {
	return &cobra.Command{
		Use: "lift HOLD REASON", Short: "Lift a hold, by another person than who placed it", Args: exactly(2, "HOLD and REASON"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("holds/{hold}", args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Hold, error) {
				return c.LiftHold(ctx, &foodsafetypb.LiftHoldRequest{Name: name, Reason: args[1], RequestId: a.requestID()})
			})
		},
	}
}

func (a *app) releaseSignCommand() *cobra.Command {
	var note, noChill string
	var preview bool
	command := &cobra.Command{
		Use: "sign LOT", Short: "Release a lot with your signature, after another person recorded it", Args: exactly(1, "LOT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("lots/{lot}", args[0])
			if err != nil {
				return err
			}
			return foodSafetyCall(a, cmd, func(ctx context.Context, c foodsafetypb.FoodSafetyServiceClient) (*foodsafetypb.Release, error) {
				return c.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: name, Note: note, NoChillReason: noChill, ValidateOnly: preview, RequestId: a.requestID()})
			})
		},
	}
	command.Flags().StringVar(&note, "note", "", "a note beside the signature")
	command.Flags().StringVar(&noChill, "no-chill-reason", "", "why the lot needs no chill, when its batch has none")
	command.Flags().BoolVar(&preview, "preview", false, "check without signing")
	return command
}

// checkCommand asks what the service of shipments asks.
func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check LOT ...", Short: "May these lots leave the kitchen, and if not, why?", Args: atLeast(1, "LOT ..."),
		RunE: func(cmd *cobra.Command, args []string) error {
			request := &foodsafetypb.CheckLotsRequest{Parent: a.siteName()}
			for _, id := range args {
				name, err := a.name("lots/{lot}", id)
				if err != nil {
					return err
				}
				request.Lots = append(request.Lots, name)
			}
			client, err := a.foodSafety()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			found, err := client.CheckLots(ctx, request)
			if err != nil {
				return rpc.FromStatus(err)
			}
			err = answer(ctx, a, found, found.GetLotStatuses(), "lot", "shippable", "released", "holds", "deviations", "reasons")
			if err != nil || a.output == "json" {
				return err
			}
			for _, caution := range found.GetCautions() {
				fmt.Fprintln(a.out, caution)
			}
			return nil
		},
	}
}

func (a *app) recordCommand() *cobra.Command {
	var filter string
	var limit int
	command := &cobra.Command{
		Use: "records", Short: "The safety records: who did what, when, and what it was before", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			client, err := a.foodSafety()
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			records, err := pages(limit, func(token string) ([]*foodsafetypb.SafetyRecord, string, error) {
				response, err := client.ListSafetyRecords(ctx, &foodsafetypb.ListSafetyRecordsRequest{Parent: a.siteName(), Filter: filter, PageToken: token, PageSize: 200})
				return response.GetSafetyRecords(), response.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return table(ctx, a, records, "sequence", "record_time", "actor", "actor_role", "action", "resource", "reason")
		},
	}
	command.Flags().StringVar(&filter, "filter", "", "only those that match, in the filter language of AIP-160")
	command.Flags().IntVar(&limit, "limit", 0, "at most this many (0: all)")
	return command
}
