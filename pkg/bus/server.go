package bus

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

const (
	startTimeout  = 20 * time.Second // a large store is scanned at the start
	reconnectWait = 250 * time.Millisecond
	maxPayload    = 1 << 20
)

// Options adjust the embedded server. The zero value keeps it inside of the process.
type Options struct {
	Listen string      // address to listen on, "127.0.0.1:4222"; "" opens no port
	Token  string      // secret that clients must send; needed when Listen is not a loopback address
	TLS    *tls.Config // encryption for Listen
	Name   string      // server name; "" means "rondeau"
}

// Embedded is a NATS server inside of this process.
type Embedded struct {
	server *server.Server
	token  string
}

// StartEmbedded starts a server that keeps its streams in dir, which it creates.
func StartEmbedded(dir string, o Options) (*Embedded, error) {
	if dir == "" {
		return nil, errors.New("bus: the folder for the streams is missing; the server's default would be a temporary one")
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("bus: %w", err)
	}
	opts := &server.Options{
		ServerName: "rondeau", DontListen: true, NoSigs: true, NoLog: true, MaxPayload: maxPayload,
		JetStream: true, StoreDir: dir,
		SyncAlways:         true, // the default flushes every two minutes and acknowledges before that
		JetStreamMaxMemory: 64 << 20,
		JetStreamMaxStore:  1 << 40, // the disk is the limit
		Authorization:      o.Token,
	}
	if o.Name != "" {
		opts.ServerName = o.Name
	}
	if o.Listen != "" {
		if err := listen(opts, o); err != nil {
			return nil, err
		}
	}
	srv, err := server.NewServer(opts)
	if err != nil {
		return nil, fmt.Errorf("bus: %w", err)
	}
	srv.Start()
	e := &Embedded{server: srv, token: o.Token}
	if !srv.ReadyForConnections(startTimeout) {
		e.Shutdown()
		return nil, fmt.Errorf("bus: the embedded server in %s was not ready within %s", dir, startTimeout)
	}
	if !srv.JetStreamEnabled() {
		e.Shutdown()
		return nil, fmt.Errorf("bus: the embedded server cannot keep streams in %s; is another process using the folder?", dir)
	}
	return e, nil
}

func listen(opts *server.Options, o Options) error {
	host, port, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return fmt.Errorf("bus: address to listen on: %w", err)
	}
	if ip := net.ParseIP(host); o.Token == "" && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return fmt.Errorf("bus: listening on %s needs a token, otherwise everybody on the network could state facts", o.Listen)
	}
	if opts.Port, err = strconv.Atoi(port); err != nil {
		return fmt.Errorf("bus: port of %s: %w", o.Listen, err)
	}
	if opts.Port == 0 {
		opts.Port = server.RANDOM_PORT
	}
	opts.Host, opts.DontListen = host, false
	opts.TLSConfig = o.TLS
	return nil
}

// URL is the address of a server that listens, else "".
func (e *Embedded) URL() string {
	if e.server.Addr() == nil {
		return ""
	}
	return e.server.ClientURL()
}

// Connect connects from inside of the process, without a port.
func (e *Embedded) Connect() (*nats.Conn, error) {
	opts := append(connectOptions(), nats.InProcessServer(e.server))
	if e.token != "" {
		opts = append(opts, nats.Token(e.token))
	}
	nc, err := nats.Connect("", opts...)
	if err != nil {
		return nil, fmt.Errorf("bus: %w", err)
	}
	return nc, nil
}

// Shutdown stops the server and waits until its files are closed.
func (e *Embedded) Shutdown() {
	e.server.Shutdown()
	e.server.WaitForShutdown()
}

// DialOptions say how to authenticate. The zero value is for a server without authentication.
type DialOptions struct {
	Name      string // shown by the server's monitoring
	Token     string
	CredsFile string // user credentials (JWT and seed)
	CAFile    string // certificates that vouch for the server
	CertFile  string // own certificate and key, for mutual TLS
	KeyFile   string
}

// Dial connects to a server or cluster (several URLs are separated by commas). It never gives up: the connection is
// usable when the server comes up, also if it is down now.
func Dial(url string, options ...DialOptions) (*nats.Conn, error) {
	var o DialOptions
	if len(options) > 0 {
		o = options[0]
	}
	opts := append(connectOptions(), nats.RetryOnFailedConnect(true))
	if o.Name != "" {
		opts = append(opts, nats.Name(o.Name))
	}
	if o.Token != "" {
		opts = append(opts, nats.Token(o.Token))
	}
	if o.CredsFile != "" {
		opts = append(opts, nats.UserCredentials(o.CredsFile))
	}
	if o.CAFile != "" {
		opts = append(opts, nats.RootCAs(o.CAFile))
	}
	if o.CertFile != "" || o.KeyFile != "" {
		opts = append(opts, nats.ClientCert(o.CertFile, o.KeyFile))
	}
	nc, err := nats.Connect(url, opts...)
	if err != nil {
		return nil, fmt.Errorf("bus: connect to %s: %w", url, err)
	}
	return nc, nil
}

func connectOptions() []nats.Option {
	return []nats.Option{nats.MaxReconnects(-1), nats.ReconnectWait(reconnectWait)}
}
