// Package grpcapi serves the planning API: it turns protos into calls of the domain and back, and nothing else.
package grpcapi
