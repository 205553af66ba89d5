package cli

import (
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/pkg/rpc"
)

func (a *app) chillForecastCommand() *cobra.Command {
	return &cobra.Command{
		Use: "forecast CHILL", Short: "Will it meet its limits, and when?", Args: exactly(1, "CHILL"),
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
			forecast, err := client.ForecastChill(ctx, &foodsafetypb.ForecastChillRequest{Name: name})
			if err != nil {
				return rpc.FromStatus(err)
			}
			if a.output == "json" {
				return a.show(ctx, forecast)
			}
			chill, err := client.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: name})
			if err != nil {
				return rpc.FromStatus(err)
			}
			return a.showOutlook(ctx, chill, forecast)
		},
	}
}

// showOutlook says in sentences when each limit will be reached and when it must be.
func (a *app) showOutlook(ctx context.Context, chill *foodsafetypb.Chill, f *foodsafetypb.ChillForecast) error {
	style := a.style(ctx)
	zone := style.Zone
	if zone == nil {
		zone = time.UTC
	}
	texts := map[string]string{}
	for _, s := range chill.GetJudgement().GetStages() {
		texts[s.GetStageId()] = s.GetLimitText()
	}
	heading := "Chill " + style.ID(chill.GetName())
	if r := chill.GetLatestReading(); r != nil {
		heading += fmt.Sprintf(", %.1f °C at %s", r.GetJudgedTemperatureCelsius(), hourOf(r.GetObserveTime(), zone))
	}
	fmt.Fprintln(a.out, heading)
	for _, s := range f.GetStages() {
		fmt.Fprintf(a.out, "  %s: %s\n", texts[s.GetStageId()], outlookWords(s, zone))
		if s.GetAtRisk() {
			fmt.Fprintf(a.out, "    AT RISK: %s\n", s.GetAdvice())
		}
	}
	if len(f.GetStages()) == 0 && chill.GetJudgement().GetSummary() != "" {
		fmt.Fprintf(a.out, "  %s\n", chill.GetJudgement().GetSummary())
	}
	return lines(a.out, append([]string{f.GetBasis()}, chill.GetCautions()...))
}

func lines(out io.Writer, texts []string) error {
	for _, text := range texts {
		if text == "" {
			continue
		}
		if _, err := fmt.Fprintln(out, text); err != nil {
			return err
		}
	}
	return nil
}

// outlookWords is one limit in words: "will reach it at 13:52 (13:40 to 14:09), limit 14:10, in time with 96 %".
func outlookWords(s *foodsafetypb.ChillForecast_Stage, zone *time.Location) string {
	text := "will not reach it as it cools now"
	if s.GetPredictTime() != nil {
		late := "no end in sight"
		if s.GetLatestTime() != nil {
			late = hourOf(s.GetLatestTime(), zone)
		}
		text = fmt.Sprintf("will reach it at %s (%s to %s)", hourOf(s.GetPredictTime(), zone), hourOf(s.GetEarliestTime(), zone), late)
	}
	if s.GetDeadlineTime() == nil {
		return text + "; the clock has not started"
	}
	text += ", limit " + hourOf(s.GetDeadlineTime(), zone)
	if s.InTimeProbability != nil {
		text += ", in time with " + percentWords(s.GetInTimeProbability())
	}
	return text
}

// percentWords never says 0 or 100 % of something that is not certain.
func percentWords(p float64) string {
	switch {
	case p <= 0 || p >= 1:
		return fmt.Sprintf("%.0f %%", 100*p)
	case p < 0.01:
		return "less than 1 %"
	case p > 0.99:
		return "more than 99 %"
	}
	return fmt.Sprintf("%.0f %%", math.Round(100*p))
}

// hourOf is the time of day in the kitchen's zone.
func hourOf(t *timestamppb.Timestamp, zone *time.Location) string {
	if t == nil {
		return "-"
	}
	return t.AsTime().In(zone).Format("15:04")
}
