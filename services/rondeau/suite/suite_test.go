package suite_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"rondeau.internal/pkg/auth"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/kitchen"
	"rondeau.internal/services/rondeau/suite"
)

func start(t *testing.T, data string) *suite.Suite {
	t.Helper()
	s, err := suite.Start(t.Context(), suite.Options{Data: data, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func conns(t *testing.T, s *suite.Suite) kitchen.Conns {
	t.Helper()
	conn, err := s.Conn(auth.Principal{Subject: "mara", Role: "manager"})
	if err != nil {
		t.Fatal(err)
	}
	return func(string) grpc.ClientConnInterface { return conn }
}

func stop(t *testing.T, s *suite.Suite) {
	t.Helper()
	err := s.Close()
	if err != nil {
		t.Error(err)
	}
	err = s.Wait()
	if err != nil {
		t.Error(err)
	}
}

func TestAKitchenFileIsAppliedOnceAndOutlivesARestart(t *testing.T) {
	data := t.TempDir()
	text, err := os.ReadFile(filepath.Join("..", "demo", "quayside.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := kitchen.Parse("quayside.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	s := start(t, data)
	changes, err := kitchen.Compare(t.Context(), conns(t, s), file)
	if err != nil {
		t.Fatal(err)
	}
	err = kitchen.Apply(t.Context(), conns(t, s), file, changes, nil)
	if err != nil {
		t.Fatal(err)
	}
	stop(t, s)

	s = start(t, data)
	defer stop(t, s)
	changes, err = kitchen.Compare(t.Context(), conns(t, s), file)
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range changes {
		if change.Action != kitchen.Keep {
			t.Errorf("%s %s: %v", change.Action, change.Entry.Name, change.Fields)
		}
	}
	entries, err := kitchen.Export(t.Context(), conns(t, s), file.Site)
	if err != nil {
		t.Fatal(err)
	}
	written, err := kitchen.Write(file.Site, entries)
	if err != nil {
		t.Fatal(err)
	}
	again, err := kitchen.Parse("exported.yaml", written)
	if err != nil {
		t.Fatalf("%v\n%s", err, written)
	}
	changes, err = kitchen.Compare(t.Context(), conns(t, s), again)
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range changes {
		if change.Action != kitchen.Keep {
			t.Errorf("the exported file would %s %s: %v", change.Action, change.Entry.Name, change.Fields)
		}
	}
}

func TestASecondSuiteIsKeptOffTheFolder(t *testing.T) {
	data := t.TempDir()
	s := start(t, data)
	defer stop(t, s)
	_, err := suite.Start(t.Context(), suite.Options{Data: data})
	if err == nil || !strings.Contains(err.Error(), "another suite") {
		t.Errorf("got %v", err)
	}
}

func TestClientsOfTheMachineFindTheSuiteAndNeedAToken(t *testing.T) {
	data := t.TempDir()
	s := start(t, data)
	connection, err := suite.ReadConnection(data)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := rpc.Dial(connection.Address, rpc.DialConfig{CAFile: connection.CA})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	_, err = planningpb.NewPlanningServiceClient(conn).ListSites(ctx, &planningpb.ListSitesRequest{})
	if err == nil || !strings.Contains(err.Error(), "token") {
		t.Errorf("without a token: %v", err)
	}
	stop(t, s)
	_, err = suite.ReadConnection(data)
	if err == nil || !strings.Contains(err.Error(), "rondeau up") {
		t.Errorf("after the stop: %v", err)
	}
}

func TestConfigReportsEveryFaultAtOnce(t *testing.T) {
	err := suite.Config{Service: "kitchen", NATSReplicas: 9, Peers: map[string]string{"pantry": "x"}}.Validate()
	for _, part := range []string{"kitchen", "--listen", "--database", "--nats is needed", "nats-replicas", "--tls", "--token-key", "pantry"} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("no word of %s in: %v", part, err)
		}
	}
}
