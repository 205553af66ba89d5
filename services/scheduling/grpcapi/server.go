// Package grpcapi converts between the protos of scheduling and its domain, and nothing else.
package grpcapi

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/services/scheduling"
)

// Page sizes of lists.
const (
	defaultPage = 50
	largestPage = 1000
)

// Server implements rondeau.scheduling.v1.SchedulingService.
type Server struct {
	schedulingpb.UnimplementedSchedulingServiceServer
	service *scheduling.Service
}

// New returns a Server over the domain.
func New(s *scheduling.Service) (*Server, error) {
	if s == nil {
		return nil, errors.New("grpcapi needs a scheduling.Service")
	}
	return &Server{service: s}, nil
}

// Register registers the service and the standard service of long-running operations.
func (s *Server) Register(r grpc.ServiceRegistrar) {
	schedulingpb.RegisterSchedulingServiceServer(r, s)
	longrunningpb.RegisterOperationsServer(r, operations{server: s})
}

// ServiceNames are the full names of what Register registers.
func ServiceNames() []string {
	return []string{schedulingpb.SchedulingService_ServiceDesc.ServiceName, longrunningpb.Operations_ServiceDesc.ServiceName}
}

// actor is the signed-in person or service.
func actor(ctx context.Context) string {
	p, _ := auth.FromContext(ctx)
	return p.Subject
}

// newName is the name of a resource to create; the id is generated when none is given.
func (s *Server) newName(parent, collection, id, prefix string) string {
	if id == "" {
		id = s.service.NewID(prefix)
	}
	return parent + "/" + collection + "/" + id
}

// listRequest is what all list requests have.
type listRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// list reads one page and one row more, to know whether there is another page.
func list[D, P any](req listRequest, parent, filter string, fields aip.Fields, read func(scheduling.ListQuery) ([]D, error), convert func(D) P, position func(D) []string) ([]P, string, error) {
	page, err := aip.ParsePage(req.GetPageSize(), req.GetPageToken(), req, defaultPage, largestPage)
	if err != nil {
		return nil, "", err
	}
	q := scheduling.ListQuery{Parent: parent, After: page.Cursor, Limit: page.Size + 1}
	if filter != "" {
		condition, err := aip.ParseFilter(filter, fields)
		if err != nil {
			return nil, "", err
		}
		q.Condition = condition
	}
	found, err := read(q)
	if err != nil {
		return nil, "", err
	}
	next := ""
	if len(found) > page.Size {
		found = found[:page.Size]
		next = page.Next(position(found[page.Size-1])...)
	}
	out := make([]P, 0, len(found))
	for _, d := range found {
		out = append(out, convert(d))
	}
	return out, next, nil
}

func micros(us int64) string { return strconv.FormatInt(us, 10) }

func malformed(field, format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	return apierr.InvalidArgument(scheduling.Malformed, "%s %s", field, text).With("field", field).WithViolation(field, "%s", text)
}
