package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"rondeau.internal/pkg/auth"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/rondeau/bench"
	"rondeau.internal/services/rondeau/demo"
	"rondeau.internal/services/rondeau/kitchen"
	"rondeau.internal/services/rondeau/suite"
)

func (a *app) benchCommand() *cobra.Command {
	command := &cobra.Command{Use: "bench", Short: "Measure the suite on this machine", Args: cobra.NoArgs, RunE: helpOf}
	command.AddCommand(a.benchRequirements(), a.benchReady(), a.benchReads(), a.benchWrites())
	return command
}

func (a *app) benchRequirements() *cobra.Command {
	var outlets, products, days, runs int
	command := &cobra.Command{
		Use: "requirements", Short: "Compute the requirements of a large generated kitchen", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return bench.Requirements(a.out, outlets, products, days, runs) },
	}
	command.Flags().IntVar(&outlets, "outlets", 2000, "outlets")
	command.Flags().IntVar(&products, "products", 200, "products")
	command.Flags().IntVar(&days, "days", 28, "days of the horizon")
	command.Flags().IntVar(&runs, "runs", 5, "how many times")
	return command
}

func (a *app) benchReady() *cobra.Command {
	var runs int
	command := &cobra.Command{
		Use: "ready", Short: "Time from starting the program until the suite answers", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			fmt.Fprintln(a.out, bench.Machine())
			for i := range runs {
				empty, err := os.MkdirTemp("", "rondeau-bench-")
				if err != nil {
					return err
				}
				defer os.RemoveAll(empty)
				for _, what := range []string{"an empty folder", "the same folder again"} {
					took, err := a.timeReady(cmd.Context(), empty)
					if err != nil {
						return err
					}
					fmt.Fprintf(a.out, "run %d, %s: ready after %v\n", i+1, what, took.Round(time.Millisecond))
				}
			}
			return nil
		},
	}
	command.Flags().IntVar(&runs, "runs", 3, "how many times")
	return command
}

// timeReady starts this program on a folder and waits for the first good answer of its health service.
func (a *app) timeReady(ctx context.Context, data string) (took time.Duration, err error) {
	self, err := os.Executable()
	if err != nil {
		return 0, fmt.Errorf("find this program: %w", err)
	}
	child := exec.CommandContext(ctx, self, "up", "--data", data, "--listen", "127.0.0.1:0", "--log-level", "error")
	child.Stderr = a.err
	child.Cancel = func() error { return child.Process.Signal(os.Interrupt) }
	begun := time.Now()
	err = child.Start()
	if err != nil {
		return 0, fmt.Errorf("start: %w", err)
	}
	defer func() {
		err = errors.Join(err, child.Process.Signal(os.Interrupt), child.Wait())
	}()
	for time.Since(begun) < 30*time.Second {
		connection, err := suite.ReadConnection(data)
		if err != nil {
			time.Sleep(2 * time.Millisecond)
			continue
		}
		conn, err := rpc.Dial(connection.Address, rpc.DialConfig{CAFile: connection.CA})
		if err != nil {
			return 0, err
		}
		answer, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{})
		_ = conn.Close()
		if err == nil && answer.GetStatus() == healthpb.HealthCheckResponse_SERVING {
			return time.Since(begun), nil
		}
		time.Sleep(2 * time.Millisecond)
	}
	return 0, errors.New("not ready after 30 s")
}

// benchSuite is a suite with the demo kitchen on a folder of its own, or over the given databases.
func (a *app) benchSuite(ctx context.Context, databases map[string]string) (*suite.Suite, kitchen.Conns, func() error, error) {
	suite.TuneMemory() // as `rondeau up` does
	data, err := os.MkdirTemp("", "rondeau-bench-")
	if err != nil {
		return nil, nil, nil, err
	}
	s, err := suite.Start(ctx, suite.Options{Data: data, Listen: "127.0.0.1:0", Databases: databases})
	if err != nil {
		return nil, nil, nil, errors.Join(err, os.RemoveAll(data))
	}
	stop := func() error { return errors.Join(s.Close(), os.RemoveAll(data)) }
	keys, err := auth.LoadOrCreateKeys(suite.KeyFile(data))
	if err != nil {
		return nil, nil, nil, errors.Join(err, stop())
	}
	token, err := keys.Sign(auth.Principal{Subject: "bench", Role: "manager"}, time.Hour)
	if err != nil {
		return nil, nil, nil, errors.Join(err, stop())
	}
	// Through the listener and its encryption, as a client of another program.
	conn, err := rpc.Dial(s.Address(), rpc.DialConfig{CAFile: filepath.Join(data, "keys", "tls", "ca.pem"), Token: func() string { return token }})
	if err != nil {
		return nil, nil, nil, errors.Join(err, stop())
	}
	conns := func(string) grpc.ClientConnInterface { return conn }
	file, err := kitchen.Parse("quayside.yaml", demo.Kitchen())
	if err != nil {
		return nil, nil, nil, errors.Join(err, conn.Close(), stop())
	}
	changes, err := kitchen.Compare(ctx, conns, file)
	if err == nil {
		err = kitchen.Apply(ctx, conns, file, changes, nil)
	}
	if err != nil {
		return nil, nil, nil, errors.Join(err, conn.Close(), stop())
	}
	return s, conns, func() error { return errors.Join(conn.Close(), stop()) }, nil
}

func (a *app) benchReads() *cobra.Command {
	var rate int
	var length time.Duration
	command := &cobra.Command{
		Use: "reads", Short: "Latency of a read at a fixed rate, on the embedded stores", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			fmt.Fprintln(a.out, bench.Machine())
			_, conns, stop, err := a.benchSuite(cmd.Context(), nil)
			if err != nil {
				return err
			}
			err = bench.Reads(cmd.Context(), a.out, conns("planning"), "sites/quayside/outlets/corner-bistro", rate, length)
			return errors.Join(err, stop())
		},
	}
	command.Flags().IntVar(&rate, "rate", 500, "reads per second")
	command.Flags().DurationVar(&length, "length", 10*time.Second, "how long")
	return command
}

func (a *app) benchWrites() *cobra.Command {
	var clients int
	var length time.Duration
	var database string
	command := &cobra.Command{
		Use: "writes", Short: "Acknowledged orders per second beside a raw insert", Args: cobra.NoArgs,
		Long: `Place orders through the API, each acknowledged only after it is on disk, and beside it insert single rows into a table of
the same database with nothing around them. --database postgres://... measures that store; the database must be empty and is
left with what the measurement wrote.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			fmt.Fprintln(a.out, bench.Machine())
			var databases map[string]string
			if database != "" {
				databases = map[string]string{"planning": database}
			}
			s, conns, stop, err := a.benchSuite(cmd.Context(), databases)
			if err != nil {
				return err
			}
			err = a.writeBoth(cmd.Context(), s, conns, database, clients, length)
			return errors.Join(err, stop())
		},
	}
	command.Flags().IntVar(&clients, "clients", 4, "callers at once")
	command.Flags().DurationVar(&length, "length", 5*time.Second, "how long each")
	command.Flags().StringVar(&database, "database", "", "postgres:// address instead of the embedded store")
	return command
}

func (a *app) writeBoth(ctx context.Context, s *suite.Suite, conns kitchen.Conns, database string, clients int, length time.Duration) error {
	client := planningpb.NewPlanningServiceClient(conns("planning"))
	monday := time.Now().AddDate(0, 0, 28)
	for monday.Weekday() != time.Monday {
		monday = monday.AddDate(0, 0, 1)
	}
	order := &planningpb.Order{
		DispatchDate: monday.Format(time.DateOnly),
		Lines:        []*planningpb.Order_Line{{Product: "sites/quayside/products/demi-1kg", ContainerCount: 2}},
	}
	fmt.Fprint(a.out, "orders:     ")
	err := bench.Writes(ctx, a.out, func(ctx context.Context, _, _ int) error {
		_, err := client.CreateOrder(ctx, &planningpb.CreateOrderRequest{Parent: "sites/quayside/outlets/corner-bistro", Order: order, RequestId: newRequestID()})
		return rpc.FromStatus(err)
	}, clients, length)
	if err != nil {
		return err
	}
	if database == "" {
		database = filepath.Join(s.Data(), "bench-raw.db")
	}
	db, err := sqldb.Open(ctx, database)
	if err != nil {
		return err
	}
	defer db.Close()
	raw, drop, err := bench.RawInsert(ctx, db)
	if err != nil {
		return err
	}
	fmt.Fprint(a.out, "raw insert: ")
	err = bench.Writes(ctx, a.out, raw, clients, length)
	return errors.Join(err, drop())
}
