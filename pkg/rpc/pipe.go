package rpc

import (
	"context"
	"crypto/tls"
	"net"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
)

const pipeBuffer = 256 << 10 // bytes in flight per direction

// Pipe is a listener inside of the process: give it to Server.Serve and to DialConfig. Nothing outside can reach it,
// so it is not encrypted; callers still authenticate.
type Pipe struct{ *bufconn.Listener }

// NewPipe makes a pipe.
func NewPipe() *Pipe { return &Pipe{bufconn.Listen(pipeBuffer)} }

// Accept implements net.Listener.
func (p *Pipe) Accept() (net.Conn, error) {
	c, err := p.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return pipeConn{c}, nil
}

// dial is a grpc context dialer.
func (p *Pipe) dial(ctx context.Context, _ string) (net.Conn, error) { return p.DialContext(ctx) }

// pipeConn marks connections that came through a pipe.
type pipeConn struct{ net.Conn }

// serverCredentials encrypts every connection except those of a pipe.
type serverCredentials struct {
	credentials.TransportCredentials
	plain credentials.TransportCredentials
}

func newServerCredentials(cfg *tls.Config) credentials.TransportCredentials {
	if cfg == nil {
		return insecure.NewCredentials()
	}
	return serverCredentials{TransportCredentials: credentials.NewTLS(cfg), plain: insecure.NewCredentials()}
}

// ServerHandshake implements credentials.TransportCredentials.
func (c serverCredentials) ServerHandshake(conn net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if _, ok := conn.(pipeConn); ok {
		return c.plain.ServerHandshake(conn)
	}
	return c.TransportCredentials.ServerHandshake(conn)
}

// Clone implements credentials.TransportCredentials.
func (c serverCredentials) Clone() credentials.TransportCredentials {
	return serverCredentials{TransportCredentials: c.TransportCredentials.Clone(), plain: c.plain}
}
