package kitchen

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/apierr"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
)

// Conns gives the connection to a service by its short name, such as "planning".
type Conns func(service string) grpc.ClientConnInterface

// suite calls the standard methods of any resource; their names and messages follow the resource's name.
type suite struct{ conns Conns }

func (u suite) conn(s *section) grpc.ClientConnInterface {
	return u.conns(strings.Split(s.service, ".")[1])
}

// call invokes a method whose request has the given name and fields.
func (u suite) call(ctx context.Context, s *section, method string, request, response protoreflect.Message) error {
	err := u.conn(s).Invoke(ctx, "/"+s.service+"/"+method, request.Interface(), response.Interface())
	if err != nil {
		return rpc.FromStatus(err)
	}
	return nil
}

func (s *section) request(method string) (protoreflect.Message, error) {
	kind, err := protoregistry.GlobalTypes.FindMessageByName(protoreflect.FullName(s.protoPackage() + "." + method + "Request"))
	if err != nil {
		return nil, fmt.Errorf("request of %s: %w", method, err)
	}
	return kind.New(), nil
}

func set(m protoreflect.Message, field string, value protoreflect.Value) {
	m.Set(m.Descriptor().Fields().ByName(protoreflect.Name(field)), value)
}

// get reads a resource; nil without an error means that it does not exist.
func (u suite) get(ctx context.Context, s *section, name string) (proto.Message, error) {
	request, err := s.request("Get" + s.resource)
	if err != nil {
		return nil, err
	}
	set(request, "name", protoreflect.ValueOfString(name))
	response := s.prototype.ProtoReflect().New()
	err = u.call(ctx, s, "Get"+s.resource, request, response)
	var missing *apierr.Error
	if errors.As(err, &missing) && missing.Kind == apierr.KindNotFound {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	return response.Interface(), nil
}

func (u suite) create(ctx context.Context, entry *Entry) error {
	s := entry.section
	request, err := s.request("Create" + s.resource)
	if err != nil {
		return err
	}
	fields := request.Descriptor().Fields()
	if parent := fields.ByName("parent"); parent != nil {
		set(request, "parent", protoreflect.ValueOfString(entry.Name[:strings.LastIndex(entry.Name[:strings.LastIndex(entry.Name, "/")], "/")]))
	}
	set(request, s.snake()+"_id", protoreflect.ValueOfString(entry.ID()))
	set(request, s.snake(), protoreflect.ValueOfMessage(entry.Message.ProtoReflect()))
	if entry.Version != nil {
		set(request, "version", protoreflect.ValueOfMessage(entry.Version.ProtoReflect()))
	}
	response := s.prototype.ProtoReflect().New()
	err = u.call(ctx, s, "Create"+s.resource, request, response)
	if err != nil || entry.Version == nil {
		return err
	}
	return u.approve(ctx, response.Interface().(*planningpb.Formula).GetLatestVersion())
}

// update writes the fields that differ and no others. The tag of the resource that was compared travels along, so that
// a change made meanwhile is not overwritten.
func (u suite) update(ctx context.Context, entry *Entry, current proto.Message, paths []string) error {
	s := entry.section
	request, err := s.request("Update" + s.resource)
	if err != nil {
		return err
	}
	message := proto.Clone(entry.Message).ProtoReflect()
	set(message, "name", protoreflect.ValueOfString(entry.Name))
	if etag := message.Descriptor().Fields().ByName("etag"); etag != nil {
		message.Set(etag, current.ProtoReflect().Get(etag))
	}
	set(request, s.snake(), protoreflect.ValueOfMessage(message))
	set(request, "update_mask", protoreflect.ValueOfMessage((&fieldmaskpb.FieldMask{Paths: paths}).ProtoReflect()))
	return u.call(ctx, s, "Update"+s.resource, request, s.prototype.ProtoReflect().New())
}

func (u suite) approve(ctx context.Context, version string) error {
	client := planningpb.NewPlanningServiceClient(u.conns("planning"))
	_, err := client.ApproveFormulaVersion(ctx, &planningpb.ApproveFormulaVersionRequest{Name: version})
	if err != nil {
		return fmt.Errorf("approve %s: %w", version, rpc.FromStatus(err))
	}
	return nil
}

// version reads the approved version of a formula, else its latest draft.
func (u suite) version(ctx context.Context, formula *planningpb.Formula) (*planningpb.FormulaVersion, error) {
	name := formula.GetApprovedVersion()
	if name == "" {
		name = formula.GetLatestVersion()
	}
	client := planningpb.NewPlanningServiceClient(u.conns("planning"))
	version, err := client.GetFormulaVersion(ctx, &planningpb.GetFormulaVersionRequest{Name: name})
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, rpc.FromStatus(err))
	}
	return version, nil
}

// revise makes and approves a new version of a formula.
func (u suite) revise(ctx context.Context, entry *Entry) error {
	client := planningpb.NewPlanningServiceClient(u.conns("planning"))
	version, err := client.ReviseFormula(ctx, &planningpb.ReviseFormulaRequest{Name: entry.Name, Version: entry.Version})
	if err != nil {
		return fmt.Errorf("revise %s: %w", entry.Name, rpc.FromStatus(err))
	}
	return u.approve(ctx, version.GetName())
}

// list reads all resources of a section.
func (u suite) list(ctx context.Context, s *section, site string) ([]proto.Message, error) {
	request, err := s.request("List" + s.plural)
	if err != nil {
		return nil, err
	}
	kind, err := protoregistry.GlobalTypes.FindMessageByName(protoreflect.FullName(s.protoPackage() + ".List" + s.plural + "Response"))
	if err != nil {
		return nil, fmt.Errorf("response of List%s: %w", s.plural, err)
	}
	set(request, "parent", protoreflect.ValueOfString(site))
	set(request, "page_size", protoreflect.ValueOfInt32(500))
	var all []proto.Message
	for {
		response := kind.New()
		err = u.call(ctx, s, "List"+s.plural, request, response)
		if err != nil {
			return nil, fmt.Errorf("list %s: %w", s.key, err)
		}
		fields := response.Descriptor().Fields()
		items := response.Get(fields.Get(0)).List()
		for i := range items.Len() {
			all = append(all, items.Get(i).Message().Interface())
		}
		token := response.Get(fields.ByName("next_page_token"))
		if token.String() == "" {
			return all, nil
		}
		set(request, "page_token", token)
	}
}
