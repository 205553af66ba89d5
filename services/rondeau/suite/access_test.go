package suite_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/suite"
)

var update = flag.Bool("update", false, "write testdata anew")

// methods are all RPCs of the suite, by full name.
func methods(t *testing.T) []protoreflect.MethodDescriptor {
	t.Helper()
	var all []protoreflect.MethodDescriptor
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "rondeau.") {
			return true
		}
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				all = append(all, service.Methods().Get(j))
			}
		}
		return true
	})
	if len(all) < 100 {
		t.Fatalf("only %d RPCs found", len(all))
	}
	slices.SortFunc(all, func(a, b protoreflect.MethodDescriptor) int {
		return strings.Compare(string(a.FullName()), string(b.FullName()))
	})
	return all
}

func principal(role auth.Role) auth.Principal {
	p := auth.Principal{Subject: "test-" + string(role), Role: role}
	if role == "outlet" {
		p.Outlet = "sites/quayside/outlets/bench"
	}
	return p
}

// The table of who may call what is kept as a file, so that a change of it is seen in review.
func TestTheAccessTableIsWhatWasReviewed(t *testing.T) {
	rules, err := auth.Rules(protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%-72s", "RPC")
	for _, role := range auth.Roles() {
		fmt.Fprintf(&b, " %-11s", role)
	}
	b.WriteString("\n")
	for _, method := range methods(t) {
		full := auth.FullMethod(method)
		line := fmt.Sprintf("%-72s", full)
		for _, role := range auth.Roles() {
			mark := "-"
			if rule, found := rules[full]; found && rule.Allow(principal(role)) == nil {
				mark = "yes"
			}
			line += fmt.Sprintf(" %-11s", mark)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	path := filepath.Join("testdata", "access.txt")
	if *update {
		err = os.MkdirAll("testdata", 0o755)
		if err == nil {
			err = os.WriteFile(path, []byte(b.String()), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("who may call what has changed; read the difference, then run this test with -update\n%s", b.String())
	}
}

// Every RPC is called in every role through the real interceptors: whoever has no right is told so, and whoever has one
// is told something else about the empty request.
func TestEveryRPCIsDeniedToEveryRoleWithoutTheRight(t *testing.T) {
	s, err := suite.Start(t.Context(), suite.Options{Data: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer stop(t, s)
	rules, err := auth.Rules(protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	for _, method := range methods(t) {
		if method.IsStreamingClient() || method.IsStreamingServer() || method.Name() == "WaitOperation" {
			continue // streams are tried where they are built; waiting takes its time
		}
		full := auth.FullMethod(method)
		for _, role := range auth.Roles() {
			conn, err := s.Conn(principal(role))
			if err != nil {
				t.Fatal(err)
			}
			allowed := rules[full].Allow(principal(role)) == nil
			err = conn.Invoke(context.WithoutCancel(t.Context()), full, dynamicpb.NewMessage(method.Input()), message(method.Output()))
			denied := apierr.KindOf(rpc.FromStatus(err)) == apierr.KindPermissionDenied
			// An outlet that names no outlet of its own is denied as well, rightly.
			if allowed && role != "outlet" && denied || !allowed && !denied {
				t.Errorf("%s as %s: allowed %v, answered %v", full, role, allowed, err)
			}
		}
	}
}

func message(d protoreflect.MessageDescriptor) proto.Message { return dynamicpb.NewMessage(d) }
