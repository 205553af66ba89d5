package sqldbtest

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"time"

	"rondeau.internal/pkg/testenv"
)

// server is a running private server.
type server struct {
	url   string   // of its administration database
	stdin *os.File // the server ends when this is closed, at the latest with this process
}

// privateServer starts one server per test process.
var privateServer = sync.OnceValues(startServer)

// guard runs the server until its standard input ends, which happens when the test process ends in whatever way. Then
// it stops the server and removes its folder. "fast" ends open sessions.
const guard = `
set -u
trap '' INT TERM HUP
"$BIN/initdb" -D "$DIR/data" -U rondeau -A trust -E UTF8 --locale=C --no-sync >"$DIR/initdb.log" 2>&1 || exit 1
"$BIN/postgres" -D "$DIR/data" -k "$DIR" -c listen_addresses= -c max_connections=200 -c shared_buffers=32MB \
	-c autovacuum=off -c logging_collector=off >"$DIR/server.log" 2>&1 </dev/null &
pid=$!
cat >/dev/null
kill -INT "$pid"
wait "$pid"
rm -rf "$DIR"
`

func startServer() (*server, error) {
	dir, err := os.MkdirTemp("", "rpg") // short: the path of a unix socket has at most 107 bytes
	if err != nil {
		return nil, err
	}
	cmd := exec.Command("/bin/sh", "-c", guard)
	cmd.Env = append(os.Environ(), "BIN="+testenv.PostgresBin(), "DIR="+dir, "LC_ALL=C")
	cmd.Dir = dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C at the terminal must reach the guard through the pipe only
	if os.Geteuid() == 0 {                                // the server refuses to run as root
		cred, err := postgresUser()
		if err != nil {
			return nil, err
		}
		if err := os.Chown(dir, int(cred.Uid), int(cred.Gid)); err != nil {
			return nil, err
		}
		cmd.SysProcAttr.Credential = cred
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd.Stdin = r // standard output and error stay closed: an inherited pipe would keep "go test" waiting
	if err := cmd.Start(); err != nil {
		return nil, errors.Join(err, w.Close(), r.Close())
	}
	if err := r.Close(); err != nil {
		return nil, err
	}
	u := url.URL{Scheme: "postgres", Path: "/postgres", RawQuery: url.Values{"host": {dir}, "user": {"rondeau"}, "sslmode": {"disable"}}.Encode()}
	return &server{url: u.String(), stdin: w}, waitReady(u.String(), dir)
}

func postgresUser() (*syscall.Credential, error) {
	u, err := user.Lookup("postgres")
	if err != nil {
		return nil, fmt.Errorf("running as root needs a user for the server: %w", err)
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	if err != nil {
		return nil, err
	}
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
}

func waitReady(dbURL, dir string) error {
	db, err := sql.Open("pgx", dbURL)
	if err != nil {
		return err
	}
	defer func() { _ = db.Close() }()
	deadline := time.Now().Add(60 * time.Second)
	for {
		err := db.PingContext(context.Background())
		if err == nil {
			return nil
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("%w\n%s", err, logs(dir))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func logs(dir string) []byte {
	var all [][]byte
	for _, name := range []string{"initdb.log", "server.log"} {
		if b, err := os.ReadFile(filepath.Join(dir, name)); err == nil {
			all = append(all, b)
		}
	}
	return bytes.Join(all, []byte("\n"))
}
