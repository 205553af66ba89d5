package cli

import (
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rondeau.internal/services/rondeau/suite"
)

const long = `Rondeau plans, cooks, chills, portions, freezes, ships and proves a central kitchen's batches of stocks and sauces.

A first week:
  rondeau demo                               cook an invented kitchen's week and read its report
  rondeau up                                 serve the suite from a data folder
  rondeau import kitchen.yaml                describe your own kitchen
  rondeau order place OUTLET DATE PACK=N     order for an outlet
  rondeau plan make START DAYS               turn orders and pars into batches and purchases
  rondeau schedule solve PLAN                give them vessels, people and times
  rondeau trace CONTAINER                    where one pack came from

Results about cooling, growth, release and allergens support and do not replace the validated HACCP plan, the local code
and the qualified person.`

// negative finds a negative number that was taken for flags.
var negative = regexp.MustCompile(`-[0-9]\S*$`)

// The groups in which help lists the commands.
var groups = []*cobra.Group{
	{ID: "suite", Title: "The suite:"},
	{ID: "predict", Title: "At the bench, without a suite:"},
	{ID: "plan", Title: "Plan and order (manager, outlet):"},
	{ID: "receive", Title: "Receive and store (receiver):"},
	{ID: "cook", Title: "Cook and pack (cook):"},
	{ID: "safety", Title: "Safety and proof (safety lead, auditor):"},
	{ID: "kitchen", Title: "The kitchen's own data (manager):"},
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "rondeau",
		Short:         "A central kitchen's week of stocks and sauces",
		Long:          long,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetOut(a.out)
	root.SetErr(a.err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		if m := negative.FindString(err.Error()); m != "" {
			return usagef("%s: a number cannot be negative here; see: %s --help", m, cmd.CommandPath())
		}
		return usagef("%v; see: %s --help", err, cmd.CommandPath())
	})
	flags := root.PersistentFlags()
	flags.StringVar(&a.data, "data", suite.DefaultData(), "data folder of the suite on this machine ($RONDEAU_DATA)")
	flags.StringVar(&a.address, "address", "", "address of a suite elsewhere (host:port)")
	flags.StringToStringVar(&a.addresses, "service-address", nil, "address of one service of it (planning=host:port), repeatable")
	flags.StringVar(&a.ca, "ca", "", "certificate authority of the suite elsewhere (PEM file)")
	flags.StringVar(&a.tokenFile, "token-file", "", "file with the token to show it")
	flags.StringVar(&a.as, "as", "manager", "role to act in on the suite of this machine: manager, cook, receiver, outlet/ID, safety_lead, auditor")
	flags.StringVar(&a.who, "who", "", "name to sign with on the suite of this machine (default: the user of this machine)")
	flags.StringVar(&a.site, "site", envOr("RONDEAU_SITE", "quayside"), "id of the kitchen ($RONDEAU_SITE)")
	flags.StringVarP(&a.output, "output", "o", "table", "table or json")
	flags.StringVar(&a.request, "request-id", "", "name of this change; sending it again with the same name changes nothing twice")
	flags.DurationVar(&a.timeout, "timeout", 60*time.Second, "longest time to wait for an answer")
	root.PersistentPreRunE = func(*cobra.Command, []string) error {
		if a.output != "table" && a.output != "json" {
			return usagef("--output %s: give table or json", a.output)
		}
		return nil
	}
	// The flags of every command are told once, by the root.
	root.SetUsageTemplate(strings.Replace(root.UsageTemplate(), "Global Flags:\n{{.InheritedFlags.FlagUsages | trimTrailingWhitespaces}}", "The flags of every command are told by: rondeau --help", 1))
	root.AddGroup(groups...)
	root.SetHelpCommandGroupID("suite")
	root.SetCompletionCommandGroupID("suite")
	a.addCommands(root)
	return root
}

// group puts commands under a heading of the help.
func group(root *cobra.Command, id string, commands ...*cobra.Command) {
	for _, command := range commands {
		command.GroupID = id
		root.AddCommand(command)
	}
}
