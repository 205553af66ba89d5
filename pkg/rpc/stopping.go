package rpc

import (
	"context"
	"errors"
)

// ErrStopping is the cause with which a context of UntilStop ends when the server begins to stop.
var ErrStopping = errors.New("the server stops")

type stoppingKey struct{}

// UntilStop answers a context of a streaming call that ends also when the server begins to stop. It is for streams that
// last as long as their client likes: they would keep a server from stopping until it cuts them off. Streams that store
// what they receive do not need it; they are let to finish. Outside of a server's streaming call it is a plain copy.
func UntilStop(ctx context.Context) (context.Context, context.CancelFunc) {
	stop, _ := ctx.Value(stoppingKey{}).(<-chan struct{})
	ctx, cancel := context.WithCancelCause(ctx)
	if stop != nil {
		go func() {
			select {
			case <-stop:
				cancel(ErrStopping)
			case <-ctx.Done():
			}
		}()
	}
	return ctx, func() { cancel(context.Canceled) }
}

// withStop lets UntilStop know the server.
func (s *Server) withStop(ctx context.Context) context.Context {
	return context.WithValue(ctx, stoppingKey{}, (<-chan struct{})(s.stop))
}
