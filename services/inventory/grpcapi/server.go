package grpcapi

import (
	"context"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/services/inventory"
)

// Server implements the generated service over the domain. It embeds the unsafe marker and not the unimplemented server, so that a method
// that is missing does not compile.
type Server struct {
	pb.UnsafeInventoryServiceServer
	stock *inventory.Service
}

// New makes a server.
func New(stock *inventory.Service) *Server { return &Server{stock: stock} }

var _ pb.InventoryServiceServer = (*Server)(nil)

// Sizes of pages.
const (
	defaultPage = 100
	largestPage = 1000
)

// listRequest is what every list request has.
type listRequest interface {
	proto.Message
	GetParent() string
	GetPageSize() int32
	GetPageToken() string
	GetFilter() string
}

// page runs a list: one row more than the page shows whether there is another page.
func page[D, P any](ctx context.Context, req listRequest, q inventory.ListQuery, list func(context.Context, inventory.ListQuery) ([]D, error), convert func(D) P, cursor func(D) []string) ([]P, string, error) {
	p, err := aip.ParsePage(req.GetPageSize(), req.GetPageToken(), req, defaultPage, largestPage)
	if err != nil {
		return nil, "", err
	}
	q.Site, q.Filter, q.Cursor, q.Limit = req.GetParent(), req.GetFilter(), p.Cursor, p.Size+1
	rows, err := list(ctx, q)
	if err != nil {
		return nil, "", err
	}
	next := ""
	if len(rows) > p.Size {
		rows = rows[:p.Size]
		next = p.Next(cursor(rows[len(rows)-1])...)
	}
	return each(rows, convert), next, nil
}

// result converts what a use case returns.
func result[D, P any](d D, err error, convert func(D) P) (P, error) {
	if err != nil {
		var none P
		return none, err
	}
	return convert(d), nil
}

// masked runs an update with a field mask: the current value as a message, changed by the mask, written back. into gets the changed message.
func masked[D any, P proto.Message](mask *fieldmaskpb.FieldMask, src P, toProto func(*D) P, into func(P, *D) error) func(*D) error {
	return func(d *D) error {
		dst := toProto(d)
		if err := aip.UpdateMask(mask, dst, src); err != nil {
			return err
		}
		return into(dst, d)
	}
}

// named refuses an update without a name.
func named(name, field string) error {
	if name == "" {
		return apierr.InvalidArgument(inventory.NameInvalid, "%s must say what to change", field).With("field", field).WithViolation(field, "must be given")
	}
	return nil
}
