package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/kitchen"
)

// singleCommands show and change what a kitchen has one of; `made` adds a command that makes it.
func (a *app) singleCommands(parent *cobra.Command, section, what string, made bool) {
	parent.AddCommand(&cobra.Command{
		Use: "show", Short: "Show " + what, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, cancel := a.call(cmd)
			defer cancel()
			message, err := kitchen.ReadOne(ctx, a.connections(), a.siteName(), section)
			if err != nil {
				return err
			}
			if message == nil {
				return usagef("there is no kitchen %s; `rondeau site list` shows those there are, --site names one", a.site)
			}
			return a.show(ctx, message)
		},
	}, &cobra.Command{
		Use: "change KEY=VALUE ...", Short: "Change " + what, Args: atLeast(1, "KEY=VALUE words"),
		Long: "Change " + what + "; keys that are not named keep their values. The keys are those of a kitchen file:\n\n" + kitchen.Keys(section),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.writeSingle(cmd, section, args, func(ctx context.Context, entry *kitchen.Entry) (proto.Message, error) {
				message, err := kitchen.ChangeOne(ctx, a.connections(), entry, args)
				if err == nil && message == nil {
					err = usagef("there is no kitchen %s; make it with: rondeau site add %s KEY=VALUE ...", a.site, a.site)
				}
				return message, err
			})
		},
	})
	if !made {
		return
	}
	parent.AddCommand(&cobra.Command{
		Use: "add ID KEY=VALUE ...", Short: "Make " + what, Args: atLeast(2, "an ID and KEY=VALUE words"),
		Example: "  rondeau site add harbour 'display_name=Harbour Kitchen' time_zone=Europe/Lisbon",
		Long:    "Make " + what + ". The keys are those of a kitchen file:\n\n" + kitchen.Keys(section),
		RunE: func(cmd *cobra.Command, args []string) error {
			a.site = args[0]
			return a.writeSingle(cmd, section, args[1:], func(ctx context.Context, entry *kitchen.Entry) (proto.Message, error) {
				return kitchen.CreateOne(ctx, a.connections(), entry)
			})
		},
	})
}

func (a *app) writeSingle(cmd *cobra.Command, section string, words []string, write func(context.Context, *kitchen.Entry) (proto.Message, error)) error {
	entry, err := kitchen.Single(a.siteName(), section, "", words)
	if err != nil {
		return usagef("%v", err)
	}
	ctx, cancel := a.call(cmd)
	defer cancel()
	message, err := write(ctx, entry)
	if err != nil {
		return err
	}
	return a.show(ctx, message)
}

// policyCommands show and change the rules that a kitchen has once.
func (a *app) policyCommands() []*cobra.Command {
	policy := &cobra.Command{Use: "policy", Short: "Rules of the store: tolerance of the balance, numbers on labels", Args: cobra.NoArgs, RunE: helpOf}
	a.singleCommands(policy, "stock_policy", "the rules of the store", false)
	limits := &cobra.Command{Use: "limits", Short: "Limits of the whole kitchen: power, and what a schedule weighs", Args: cobra.NoArgs, RunE: helpOf}
	a.singleCommands(limits, "kitchen_limits", "the limits of the whole kitchen", false)
	return []*cobra.Command{policy, limits}
}

// showFormula prints a formula and the version in force: what goes in, how it is made.
func (a *app) showFormula(ctx context.Context, formula *planningpb.Formula) error {
	if a.output == "json" {
		return a.show(ctx, formula)
	}
	err := a.show(ctx, formula)
	if err != nil {
		return err
	}
	name := formula.GetApprovedVersion()
	if name == "" {
		name = formula.GetLatestVersion()
	}
	return a.showVersion(ctx, name)
}

func (a *app) showVersion(ctx context.Context, name string) error {
	client, err := a.planning()
	if err != nil {
		return err
	}
	version, err := client.GetFormulaVersion(ctx, &planningpb.GetFormulaVersionRequest{Name: name})
	if err != nil {
		return rpc.FromStatus(err)
	}
	if a.output == "json" {
		return a.show(ctx, version)
	}
	steps := version.GetSteps()
	version.Steps = nil
	fmt.Fprintf(a.out, "\nVersion %s\n", name[strings.LastIndex(name, "/")+1:])
	err = a.show(ctx, version)
	if err != nil {
		return err
	}
	fmt.Fprintln(a.out, "\nSteps")
	err = table(ctx, a, steps, "step_id", "kind", "vessel_classes", "planning_duration", "crew_count", "min_wait_duration", "max_wait_duration", "critical", "limits_profile")
	if err != nil {
		return err
	}
	for _, step := range steps {
		if step.GetInstructions() != "" {
			fmt.Fprintf(a.out, "%s: %s\n", step.GetStepId(), step.GetInstructions())
		}
	}
	return nil
}

// versionCommand shows one version of a formula, in force or not.
func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version FORMULA/NUMBER", Short: "Show one version of a formula", Args: exactly(1, "FORMULA/NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := a.name("formulas/{formula}/versions/{version}", args[0])
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			return a.showVersion(ctx, name)
		},
	}
}

// showBatch prints a batch with its steps as a cook reads them.
func (a *app) showBatch(ctx context.Context, batch *planningpb.Batch) error {
	if a.output == "json" {
		return a.show(ctx, batch)
	}
	steps := batch.GetSteps()
	batch.Steps = nil
	err := a.show(ctx, batch)
	if err != nil || len(steps) == 0 {
		return err
	}
	fmt.Fprintln(a.out, "\nSteps")
	err = table(ctx, a, steps, "step.step_id", "step.kind", "step.vessel_classes", "planned_duration", "fill_liters", "load_kg", "output_kg", "step.crew_count", "step.min_wait_duration", "step.max_wait_duration", "step.limits_profile")
	if err != nil {
		return err
	}
	for _, step := range steps {
		if text := step.GetStep().GetInstructions(); text != "" {
			fmt.Fprintf(a.out, "%s: %s\n", step.GetStep().GetStepId(), text)
		}
	}
	return nil
}
