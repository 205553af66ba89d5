package grpcapi

import (
	"context"
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/auth"
	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/planning"
)

// Page sizes of every list.
const (
	defaultPage = 50
	maxPage     = 500
)

// Server implements the planning API.
type Server struct {
	pb.UnimplementedPlanningServiceServer
	service *planning.Service
}

// New returns a server of a service.
func New(service *planning.Service) *Server { return &Server{service: service} }

// actor names the caller for records of who did something.
func actor(ctx context.Context) string {
	p, _ := auth.FromContext(ctx)
	return p.Subject
}

// listRequest is what every list request has.
type listRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// page answers a list request: it reads one row more than asked for to know whether there is a next page.
func page[T any](req listRequest, parent, filter string, s *planning.Service, read func(planning.Query) ([]T, error), key func(T) []string) ([]T, string, error) {
	p, err := aip.ParsePage(req.GetPageSize(), req.GetPageToken(), req, defaultPage, maxPage)
	if err != nil {
		return nil, "", err
	}
	found, err := read(planning.Query{Parent: parent, Filter: filter, After: p.Cursor, Limit: p.Size + 1, Now: s.Now()})
	if err != nil {
		return nil, "", err
	}
	if len(found) <= p.Size {
		return found, "", nil
	}
	found = found[:p.Size]
	return found, p.Next(key(found[len(found)-1])...), nil
}

// convertAll converts each of a list.
func convertAll[A, B any](in []A, convert func(A) B) []B {
	out := make([]B, 0, len(in))
	for _, v := range in {
		out = append(out, convert(v))
	}
	return out
}

// patch applies the fields of an update to a resource: it is converted to its proto, changed there as AIP-134 says, and
// converted back.
func patch[D any, V interface {
	*D
	Identity() *planning.Meta
}, P proto.Message](value V, toProto func(V) P, toDomain func(P) V, mask *fieldmaskpb.FieldMask, change P) error {
	current := toProto(value)
	if err := aip.UpdateMask(mask, current, change); err != nil {
		return err
	}
	kept := *value.Identity()
	*value = *toDomain(current)
	*value.Identity() = kept
	return nil
}

func micros(t time.Time) string { return strconv.FormatInt(t.UnixMicro(), 10) }

func versionKey(v *planning.FormulaVersion) []string {
	formula := planning.ParentOf(v.Name)
	return []string{formula, v.Name[len(formula)+len("/versions/"):]}
}

func planKey(p *planning.Plan) []string {
	return []string{micros(p.CreateTime), p.Name}
}

func batchKey(b *planning.Batch) []string {
	return []string{micros(b.Due), b.Name}
}
