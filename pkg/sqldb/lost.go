package sqldb

import (
	"context"
	"errors"
	"io"
	"net"

	"github.com/jackc/pgx/v5/pgconn"
)

// watchedDial makes connections whose abrupt end can be told from the end of some other input: a server that is killed
// just closes its sockets, and the driver passes io.ErrUnexpectedEOF on, which a broken document causes as well.
func watchedDial(dial pgconn.DialFunc) pgconn.DialFunc {
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		c, err := dial(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return watchedConn{c}, nil
	}
}

// watchedConn reports its end as a *net.OpError, which Transient knows.
type watchedConn struct{ net.Conn }

// Read implements net.Conn.
func (c watchedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if errors.Is(err, io.EOF) {
		err = &net.OpError{Op: "read", Net: c.RemoteAddr().Network(), Source: c.LocalAddr(), Addr: c.RemoteAddr(), Err: io.ErrUnexpectedEOF}
	}
	return n, err
}
