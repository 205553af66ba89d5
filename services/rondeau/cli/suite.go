package cli

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/telemetry"
	"rondeau.internal/services/rondeau/kitchen"
	"rondeau.internal/services/rondeau/suite"
)

// telemetryFlags are those of every command that serves.
type telemetryFlags struct {
	otlp, level, format string
	plain               bool
}

func (t *telemetryFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&t.otlp, "otlp", "", "host:port of an OpenTelemetry collector for traces and metrics (off when empty)")
	cmd.Flags().BoolVar(&t.plain, "otlp-insecure", false, "speak to the collector without encryption, when it is on the same machine")
	cmd.Flags().StringVar(&t.level, "log-level", "info", "debug, info, warn or error")
	cmd.Flags().StringVar(&t.format, "log-format", "text", "text or json")
}

// quiet sets another default of --log-level, for commands that people start at a terminal.
func (t *telemetryFlags) quiet(cmd *cobra.Command, level string) {
	cmd.Flags().Lookup("log-level").DefValue = level
	t.level = level
}

func (t *telemetryFlags) start(ctx context.Context, a *app, service string) (*slog.Logger, func(), error) {
	set, stop, err := telemetry.Setup(ctx, telemetry.Config{OTLPEndpoint: t.otlp, OTLPInsecure: t.plain, ServiceName: service, LogLevel: t.level, LogFormat: t.format, LogOutput: a.err})
	if err != nil {
		return nil, nil, err
	}
	return set.Logger, func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = stop(ctx) // the last thing the process does
	}, nil
}

func (a *app) upCommand() *cobra.Command {
	var listen, natsListen string
	var t telemetryFlags
	command := &cobra.Command{
		Use: "up", Short: "Serve the whole suite from a data folder", Args: cobra.NoArgs,
		Long: `Serve all services in one process, with their databases and the event log below the data folder. Clients on this machine
find it through that folder. Stop it with Ctrl-C.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx := cmd.Context()
			logger, stop, err := t.start(ctx, a, "rondeau")
			if err != nil {
				return err
			}
			defer stop()
			suite.TuneMemory()
			begun := time.Now()
			s, err := suite.Start(ctx, suite.Options{Data: a.data, Listen: listen, NATSListen: natsListen, Logger: logger})
			if err != nil {
				return err
			}
			fmt.Fprintf(a.out, "Rondeau serves %s on %s (ready after %s). Stop it with Ctrl-C.\n", a.data, s.Address(), time.Since(begun).Round(time.Millisecond))
			failed := make(chan error, 1)
			go func() { failed <- s.Wait() }()
			select {
			case <-ctx.Done():
				return s.Close()
			case err := <-failed:
				return errors.Join(err, s.Close())
			}
		},
	}
	command.Flags().StringVar(&listen, "listen", "127.0.0.1:7443", "host:port to serve on")
	command.Flags().StringVar(&natsListen, "nats-listen", "", "host:port at which the event log can be read from outside (closed when empty)")
	t.add(command)
	t.quiet(command, "warn") // the person at the terminal is not to read every call
	return command
}

func (a *app) serveCommand() *cobra.Command {
	var c suite.Config
	var t telemetryFlags
	command := &cobra.Command{
		Use: "serve SERVICE", Short: "Serve one service by itself, in the production shape", Args: exactly(1, strings.Join(suite.ServiceNames(), ", ")),
		ValidArgs: suite.ServiceNames(),
		RunE: func(cmd *cobra.Command, args []string) error {
			c.Service = args[0]
			err := c.Validate()
			if err != nil {
				return usagef("%s", strings.ReplaceAll(err.Error(), "\n", "\n  "))
			}
			logger, stop, err := t.start(cmd.Context(), a, "rondeau-"+c.Service)
			if err != nil {
				return err
			}
			defer stop()
			suite.TuneMemory()
			return suite.Serve(cmd.Context(), c, logger, func(address string) {
				logger.InfoContext(cmd.Context(), "serving", "address", address)
			})
		},
	}
	flags := command.Flags()
	flags.StringVar(&c.Listen, "listen", ":7443", "host:port to serve on")
	flags.StringVar(&c.HealthListen, "health-listen", "", "host:port of /livez and /readyz over plain HTTP (none when empty)")
	flags.StringVar(&c.Database, "database", "", "postgres:// address, or an SQLite file")
	flags.StringVar(&c.DatabaseFile, "database-file", "", "file that holds the database address")
	flags.StringVar(&c.NATS, "nats", "", "address of the broker, nats:// or tls://")
	flags.StringVar(&c.NATSTLS, "nats-tls", "", "folder with ca.crt, tls.crt and tls.key for the broker")
	flags.IntVar(&c.NATSReplicas, "nats-replicas", 1, "copies that the broker keeps of each stream")
	flags.StringVar(&c.TLS, "tls", "", "folder with ca.crt, tls.crt and tls.key of the services")
	flags.StringVar(&c.TokenKey, "token-key", "", "key that signs tokens in an installation of its own")
	flags.StringVar(&c.OIDCIssuer, "oidc-issuer", "", "issuer of the people's tokens")
	flags.StringVar(&c.OIDCAudience, "oidc-audience", "", "audience that tokens must name")
	flags.StringToStringVar(&c.Peers, "peer", nil, "SERVICE=HOST:PORT of another service, repeatable")
	flags.StringVar(&c.ClockFile, "clock-file", "", "file with a simulated time, for drills; never in a real kitchen")
	t.add(command)
	return command
}

func (a *app) keysCommand() *cobra.Command {
	var names []string
	command := &cobra.Command{
		Use: "keys FOLDER", Short: "Make the certificates and the token key of an installation of its own", Args: exactly(1, "FOLDER"),
		Long: "Make FOLDER/tls (ca.crt, tls.crt, tls.key for mutual TLS between the services) and FOLDER/tokens.key. What exists is kept.",
		RunE: func(_ *cobra.Command, args []string) error {
			err := suite.MakeKeys(args[0], names)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s holds the certificates of %s and the key of the tokens\n", args[0], strings.Join(names, ", "))
			return err
		},
	}
	command.Flags().StringSliceVar(&names, "names", append(suite.ServiceNames(), "localhost", "127.0.0.1"), "host names of the services")
	return command
}

func (a *app) tokenCommand() *cobra.Command {
	var life time.Duration
	var key string
	command := &cobra.Command{
		Use: "token", Short: "Sign a token for the role and name given by --as and --who", Args: cobra.NoArgs,
		Example: "  rondeau token --as outlet/corner-bistro --who lena --life 720h > lena.token",
		RunE: func(*cobra.Command, []string) error {
			p, err := a.principal()
			if err != nil {
				return err
			}
			if key == "" {
				key = suite.KeyFile(a.data)
			}
			_, err = os.Stat(key)
			if err != nil {
				return usagef("there is no token key at %s; `rondeau up` and `rondeau keys` make one", key)
			}
			keys, err := auth.LoadOrCreateKeys(key)
			if err != nil {
				return err
			}
			signed, err := keys.Sign(p, life)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(a.out, signed)
			return err
		},
	}
	command.Flags().DurationVar(&life, "life", 12*time.Hour, "how long it is valid")
	command.Flags().StringVar(&key, "key", "", "file of the token key (the data folder's own when empty)")
	return command
}

func (a *app) importCommand() *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use: "import FILE ...", Short: "Read kitchen files (YAML), orders and deliveries (CSV) into the suite", Args: atLeast(1, "FILE"),
		Long: `Read a kitchen file: the site with its suppliers, items, vessels, crews, formulas, products, outlets and pars. All of it is
checked before anything is written, and every fault is told with its line. Importing again changes only what differs;
--preview shows what that would be.

A CSV file is taken for orders when its heading is outlet,dispatch_date,product,containers,reference and for deliveries when it
is supplier,expected_date,item,mass,reference. Lines with the same reference make one order or delivery.

` + kitchen.FormatHelp(),
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, path := range args {
				err := a.importFile(cmd, path, preview)
				if err != nil {
					return err
				}
			}
			return nil
		},
	}
	command.Flags().BoolVar(&preview, "preview", false, "show what would change and write nothing")
	return command
}

func (a *app) importFile(cmd *cobra.Command, path string, preview bool) error {
	if strings.EqualFold(filepath.Ext(path), ".csv") {
		return a.importCSV(cmd, path, preview)
	}
	file, err := kitchen.Load(path)
	var faults kitchen.Faults
	if errors.As(err, &faults) {
		return usagef("%d faults; nothing was written\n%s", len(faults), faults.Error())
	}
	if err != nil {
		return usagef("%v", err)
	}
	changes, err := kitchen.Compare(cmd.Context(), a.connections(), file)
	if err != nil {
		return err
	}
	counts := map[kitchen.Action]int{}
	for _, change := range changes {
		counts[change.Action]++
		if !preview || change.Action == kitchen.Keep {
			continue
		}
		fmt.Fprintf(a.out, "%s %s\n", change.Action, strings.TrimPrefix(change.Entry.Name, file.Site+"/"))
		for _, d := range change.Fields {
			fmt.Fprintf(a.out, "  %s: %s -> %s\n", d.Field, d.From, d.To)
		}
	}
	if preview {
		_, err = fmt.Fprintf(a.out, "%s: would create %d, update %d, keep %d\n", path, counts[kitchen.Create], counts[kitchen.Update], counts[kitchen.Keep])
		return err
	}
	err = kitchen.Apply(cmd.Context(), a.connections(), file, changes, func(done int, change kitchen.Change) {
		if a.onTerminal() {
			fmt.Fprintf(a.err, "\r\033[K%d of %d  %s", done, len(changes), change.Entry.ID())
		}
	})
	if a.onTerminal() {
		fmt.Fprint(a.err, "\r\033[K")
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "%s: created %d, updated %d, kept %d\n", path, counts[kitchen.Create], counts[kitchen.Update], counts[kitchen.Keep])
	return err
}

func (a *app) importCSV(cmd *cobra.Command, path string, preview bool) error {
	in, err := os.Open(path)
	if err != nil {
		return usagef("%v", err)
	}
	defer in.Close()
	sheet, err := kitchen.ReadSheet(path, csv.NewReader(in), a.siteName())
	if err != nil {
		return usagef("%v", err)
	}
	report, err := sheet.Apply(cmd.Context(), a.connections(), preview)
	for _, line := range report {
		fmt.Fprintln(a.out, line)
	}
	return err
}

func (a *app) exportCommand() *cobra.Command {
	var out string
	command := &cobra.Command{
		Use: "export", Short: "Write the kitchen that --site names as a kitchen file", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			entries, err := kitchen.Export(cmd.Context(), a.connections(), a.siteName())
			if err != nil {
				return err
			}
			text, err := kitchen.Write(a.siteName(), entries)
			if err != nil {
				return err
			}
			if out == "" {
				_, err = a.out.Write(text)
				return err
			}
			return os.WriteFile(out, text, 0o644)
		},
	}
	command.Flags().StringVarP(&out, "file", "f", "", "file to write (standard output when empty)")
	return command
}

// databaseOf opens a service's database: the file below the data folder, or the address given by --database.
func (a *app) databaseOf(ctx context.Context, service, database string) (*sqldb.DB, error) {
	if database == "" {
		database = suite.DatabaseFile(a.data, service)
		if _, err := os.Stat(database); err != nil {
			return nil, usagef("%s keeps no database of %s; name another folder with --data, or the database with --database", a.data, service)
		}
	}
	return suite.OpenDatabase(ctx, service, database)
}

func (a *app) replayCommand() *cobra.Command {
	var database, since string
	command := &cobra.Command{
		Use: "replay SERVICE [EVENT ...]", Short: "Send a service's events again; receivers that know them change nothing", Args: atLeast(1, "SERVICE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if since == "" && len(args) == 1 {
				return usagef("say which events: their ids, or --since MOMENT")
			}
			db, err := a.databaseOf(cmd.Context(), args[0], database)
			if err != nil {
				return err
			}
			defer db.Close()
			from, err := moment(since, time.UTC)
			if err != nil {
				return err
			}
			n, err := outbox.Republish(cmd.Context(), db, from.AsTime(), args[1:]...)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%d events of %s will be sent again\n", n, args[0])
			return err
		},
	}
	command.Flags().StringVar(&database, "database", "", "database of the service (the data folder's own when empty)")
	command.Flags().StringVar(&since, "since", "", "all events since this moment")
	return command
}

func (a *app) parkedCommand() *cobra.Command {
	var database string
	command := &cobra.Command{
		Use: "parked SERVICE", Short: "List messages that a service could not handle", Args: exactly(1, "SERVICE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			db, err := a.databaseOf(cmd.Context(), args[0], database)
			if err != nil {
				return err
			}
			defer db.Close()
			parked, err := outbox.ListParked(cmd.Context(), db, "", 1000)
			if err != nil {
				return err
			}
			return writeParked(a.out, parked)
		},
	}
	command.Flags().StringVar(&database, "database", "", "database of the service (the data folder's own when empty)")
	return command
}

func writeParked(out io.Writer, parked []outbox.Parked) error {
	if len(parked) == 0 {
		_, err := fmt.Fprintln(out, "nothing is parked")
		return err
	}
	for _, p := range parked {
		_, err := fmt.Fprintf(out, "%s  %s  %s  %s: %s\n", p.Event.ID, p.Event.Time.Format(time.RFC3339), p.Consumer, p.Event.Subject, p.Cause)
		if err != nil {
			return err
		}
	}
	return nil
}

// statusCommand asks the suite whether it is ready, for scripts that wait for it.
func (a *app) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use: "status", Short: "Is the suite running and ready?", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.conn("planning")
			if err != nil {
				return err
			}
			ctx, cancel := a.call(cmd)
			defer cancel()
			answer, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{})
			if err != nil {
				return rpc.FromStatus(err)
			}
			if answer.GetStatus() != healthpb.HealthCheckResponse_SERVING {
				return fmt.Errorf("the suite runs but is not ready: %s", strings.ToLower(answer.GetStatus().String()))
			}
			_, err = fmt.Fprintln(a.out, "ready")
			return err
		},
	}
}
