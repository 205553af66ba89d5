package rpc_test

import (
	"context"
	"log/slog"
	"net"
	"os"
	"testing"
	"time"

	"google.golang.org/grpc"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

func TestLocalCertificatesServeEncryptedConnectionsAndThePipe(t *testing.T) {
	dir := t.TempDir()
	files, err := rpc.EnsureLocalTLS(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{files.CAFile, files.CAKeyFile, files.CertFile, files.KeyFile} {
		if info, err := os.Stat(f); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", f, info.Mode(), err)
		}
	}
	before, err := os.ReadFile(files.CertFile)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rpc.EnsureLocalTLS(dir); err != nil {
		t.Fatal(err)
	}
	if after, _ := os.ReadFile(files.CertFile); string(after) != string(before) {
		t.Error("a good certificate was replaced")
	}
	stranger, err := rpc.EnsureLocalTLS(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	mutual, err := rpc.ServerTLS(files.CertFile, files.KeyFile, files.CAFile)
	if err != nil {
		t.Fatal(err)
	}
	db := sqldbtest.SQLite(t)
	prepare(t, db)
	h := start(t, db) // for its keys
	h.kitchen.get = func(_ context.Context, name string) (*inventorypb.Item, error) {
		return &inventorypb.Item{Name: name}, nil
	}
	srv, err := rpc.NewServer(rpc.ServerConfig{Logger: slog.New(slog.DiscardHandler), Verifier: h.keys.Verifier(), TLS: mutual, Stores: map[string]*sqldb.DB{service: db}},
		func(r grpc.ServiceRegistrar) { inventorypb.RegisterInventoryServiceServer(r, h.kitchen) })
	if err != nil {
		t.Fatal(err)
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	pipe := rpc.NewPipe()
	done := make(chan error, 1)
	go func() { done <- srv.Serve(lis, pipe) }()
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := srv.Stop(ctx); err != nil {
			t.Error(err)
		}
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	token := h.token(t, auth.Principal{Subject: "m", Role: auth.Manager})
	call := func(cfg rpc.DialConfig) error {
		cfg.Token = token
		conn, err := rpc.Dial(lis.Addr().String(), cfg)
		if err != nil {
			return err
		}
		defer func() { _ = conn.Close() }()
		_, err = inventorypb.NewInventoryServiceClient(conn).GetItem(t.Context(), &inventorypb.GetItemRequest{Name: "sites/n/items/i"})
		return err
	}
	known, err := rpc.ClientTLS(files.CAFile, files.CertFile, files.KeyFile)
	if err != nil {
		t.Fatal(err)
	}
	if err := call(rpc.DialConfig{TLS: known}); err != nil {
		t.Errorf("mutual TLS: %v", err)
	}
	if err := call(rpc.DialConfig{Pipe: pipe}); err != nil {
		t.Errorf("pipe of the same server: %v", err)
	}
	unknown, err := rpc.ClientTLS(files.CAFile, stranger.CertFile, stranger.KeyFile)
	if err != nil {
		t.Fatal(err)
	}
	for name, cfg := range map[string]rpc.DialConfig{
		"no client certificate":         {CAFile: files.CAFile},
		"certificate of another house":  {TLS: unknown},
		"authority of another house":    {CAFile: stranger.CAFile},
		"no encryption to a TLS server": {Insecure: true},
	} {
		if err := call(cfg); apierr.KindOf(err) != apierr.KindUnavailable {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := rpc.Dial("x", rpc.DialConfig{}); err == nil {
		t.Error("a connection without any trust was made")
	}
}
