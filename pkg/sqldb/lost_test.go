package sqldb_test

import (
	"bytes"
	"errors"
	"io"
	"net"
	"net/url"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

// cable joins clients to a PostgreSQL server until it is cut, as when the server is killed: its sockets are closed and
// the clients read the end of their input.
type cable struct {
	mu    sync.Mutex
	ends  []net.Conn
	ready net.Listener
}

// lay makes a cable that is cut once a statement with the given text has gone to the server.
func lay(t *testing.T, network, server, fatal string) *cable {
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
			go func() {
				_, _ = io.Copy(far, io.TeeReader(near, watch{c, fatal}))
			}()
		}
	}()
	return c
}

// watch cuts the cable a moment after it has seen the text, when the statement is under way.
type watch struct {
	cable *cable
	fatal string
}

// Write implements io.Writer.
func (w watch) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(w.fatal)) {
		time.AfterFunc(100*time.Millisecond, w.cable.cut)
	}
	return len(p), nil
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
	c := lay(t, network, server, "pg_sleep")
	q.Del("host")
	u.Host, u.RawQuery = c.ready.Addr().String(), q.Encode()
	db := sqldbtest.Open(t, u.String())
	// A plain query, because the end of a transaction would tell as well. Two rows, so that the answer has begun.
	rows, err := db.Conn(t.Context()).QueryContext(t.Context(), `SELECT pg_sleep(i * 20)::text FROM generate_series(0, 1) i`)
	if err == nil {
		for rows.Next() {
			continue
		}
		err = errors.Join(rows.Err(), rows.Close())
	}
	if err == nil {
		t.Fatal("the cable was not cut")
	}
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

func TestAConnectionFoundDeadIsTransient(t *testing.T) {
	conn, err := pgx.Connect(t.Context(), sqldbtest.PostgresURL(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	// What a pool hands out when the server was killed between its check of the connection and the first statement.
	_, err = conn.Exec(t.Context(), "BEGIN")
	if err == nil || !sqldb.Transient(err) {
		t.Errorf("%v is final", err)
	}
}
