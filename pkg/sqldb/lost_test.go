package sqldb_test

import (
	"context"
	"io"
	"net"
	"net/url"
	"path/filepath"
	"sync"
	"testing"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

// cable joins clients to a PostgreSQL server until it is cut, as when the server is killed.
type cable struct {
	mu    sync.Mutex
	ends  []net.Conn
	ready net.Listener
}

func lay(t *testing.T, network, server string) *cable {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cable{ready: l}
	t.Cleanup(c.cut)
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial(network, server)
			if err != nil {
				_ = near.Close()
				continue
			}
			c.mu.Lock()
			c.ends = append(c.ends, near, far)
			c.mu.Unlock()
			go func() { _, _ = io.Copy(near, far) }()
			go func() { _, _ = io.Copy(far, near) }()
		}
	}()
	return c
}

func (c *cable) cut() {
	_ = c.ready.Close()
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, end := range c.ends {
		_ = end.Close()
	}
}

func TestAServerThatDisappearsInTheMiddleOfAStatementIsTransient(t *testing.T) {
	u, err := url.Parse(sqldbtest.PostgresURL(t))
	if err != nil {
		t.Fatal(err)
	}
	network, server := "tcp", u.Host
	q := u.Query()
	if folder := q.Get("host"); folder != "" {
		network, server = "unix", filepath.Join(folder, ".s.PGSQL.5432")
	}
	c := lay(t, network, server)
	q.Del("host")
	u.Host, u.RawQuery = c.ready.Addr().String(), q.Encode()
	db := sqldbtest.Open(t, u.String())
	started := make(chan struct{})
	go func() {
		<-started
		c.cut()
	}()
	err = db.InTx(t.Context(), func(ctx context.Context) error {
		close(started)
		_, err := db.Conn(ctx).ExecContext(ctx, `SELECT pg_sleep(20)`)
		return err
	})
	if !sqldb.Transient(err) {
		t.Errorf("%v is final", err)
	}
}

func TestAServerWithoutANameIsTransient(t *testing.T) {
	// The name server of a network of containers forgets a container that is down. ".invalid" never resolves (RFC 2606).
	_, err := sqldb.OpenPostgres(t.Context(), "postgres://database.invalid/none?connect_timeout=5")
	if err == nil || !sqldb.Transient(err) {
		t.Errorf("%v is final", err)
	}
}
