// Package proto_test walks the protos for what a linter of the schema language cannot see: an access rule on every
// RPC, a comment on everything, a unit in every physical field name, a bound on every floating-point field.
package proto_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/bufbuild/protocompile"
	"github.com/bufbuild/protocompile/linker"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "cloud.google.com/go/longrunning/autogen/longrunningpb"
	_ "google.golang.org/genproto/googleapis/rpc/status"
	_ "google.golang.org/protobuf/types/known/durationpb"
	_ "google.golang.org/protobuf/types/known/emptypb"
	_ "google.golang.org/protobuf/types/known/fieldmaskpb"
	_ "google.golang.org/protobuf/types/known/timestamppb"
	_ "google.golang.org/protobuf/types/known/wrapperspb"
	authpb "rondeau.internal/pkg/gen/rondeau/auth/v1"
)

// compile parses every proto below rondeau with its comments; third-party imports come from the linked Go packages.
func compile(t *testing.T) linker.Files {
	t.Helper()
	var names []string
	err := filepath.WalkDir("rondeau", func(path string, entry os.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".proto") {
			names = append(names, filepath.ToSlash(path))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(names) == 0 {
		t.Fatal("no protos found")
	}
	compiler := protocompile.Compiler{
		Resolver: protocompile.CompositeResolver{
			&protocompile.SourceResolver{},
			protocompile.ResolverFunc(func(path string) (protocompile.SearchResult, error) {
				file, err := protoregistry.GlobalFiles.FindFileByPath(path)
				if err != nil {
					return protocompile.SearchResult{}, err
				}
				return protocompile.SearchResult{Desc: file}, nil
			}),
		},
		SourceInfoMode: protocompile.SourceInfoStandard,
	}
	files, err := compiler.Compile(context.Background(), names...)
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// extension reads an option that the compiler kept as a dynamic message into its generated type.
func extension(t *testing.T, options proto.Message, kind protoreflect.ExtensionType) any {
	t.Helper()
	wire, err := proto.Marshal(options)
	if err != nil {
		t.Fatal(err)
	}
	fresh := options.ProtoReflect().Type().New().Interface()
	err = proto.Unmarshal(wire, fresh)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.HasExtension(fresh, kind) {
		return nil
	}
	return proto.GetExtension(fresh, kind)
}

func commented(file protoreflect.FileDescriptor, d protoreflect.Descriptor) bool {
	return strings.TrimSpace(file.SourceLocations().ByDescriptor(d).LeadingComments) != ""
}

// readers are the first words of RPC names that change nothing.
var readers = []string{"Get", "List", "Trace", "Check", "Summarize", "Scan", "Forecast", "Wait", "Watch", "Export", "Estimate"}

func reads(method protoreflect.Name) bool {
	return slices.ContainsFunc(readers, func(prefix string) bool { return strings.HasPrefix(string(method), prefix) })
}

func TestEveryRPCDeclaresWhoMayCallIt(t *testing.T) {
	for _, file := range compile(t) {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				checkAccess(t, service.Methods().Get(j))
			}
		}
	}
}

func checkAccess(t *testing.T, method protoreflect.MethodDescriptor) {
	t.Helper()
	value := extension(t, method.Options(), authpb.E_Access)
	access, ok := value.(*authpb.Access)
	if !ok || len(access.GetRoles()) == 0 {
		t.Errorf("%s declares no roles", method.FullName())
		return
	}
	roles := access.GetRoles()
	if slices.Contains(roles, authpb.Role_ROLE_UNSPECIFIED) {
		t.Errorf("%s allows ROLE_UNSPECIFIED", method.FullName())
	}
	auditor := slices.Contains(roles, authpb.Role_ROLE_AUDITOR)
	if auditor && !reads(method.Name()) {
		t.Errorf("%s lets the auditor write", method.FullName())
	}
	if !auditor && (strings.HasPrefix(string(method.Name()), "Get") || strings.HasPrefix(string(method.Name()), "List")) {
		t.Errorf("%s hides from the auditor, who reads everything", method.FullName())
	}
	if access.GetOutletField() == "" {
		return
	}
	if !slices.Contains(roles, authpb.Role_ROLE_OUTLET) {
		t.Errorf("%s has an outlet_field but does not allow ROLE_OUTLET", method.FullName())
	}
	message := method.Input()
	for _, part := range strings.Split(access.GetOutletField(), ".") {
		field := message.Fields().ByName(protoreflect.Name(part))
		if field == nil {
			t.Errorf("%s: outlet_field %q is not in %s", method.FullName(), access.GetOutletField(), method.Input().FullName())
			return
		}
		message = field.Message()
	}
}

func TestEverythingIsCommented(t *testing.T) {
	for _, file := range compile(t) {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			require(t, file, service)
			for j := range service.Methods().Len() {
				require(t, file, service.Methods().Get(j))
			}
		}
		for i := range file.Enums().Len() {
			requireEnum(t, file, file.Enums().Get(i))
		}
		for i := range file.Messages().Len() {
			requireMessage(t, file, file.Messages().Get(i))
		}
	}
}

func require(t *testing.T, file protoreflect.FileDescriptor, d protoreflect.Descriptor) {
	t.Helper()
	if !commented(file, d) {
		t.Errorf("%s: %s has no comment", file.Path(), d.FullName())
	}
}

func requireEnum(t *testing.T, file protoreflect.FileDescriptor, enum protoreflect.EnumDescriptor) {
	t.Helper()
	require(t, file, enum)
	for i := range enum.Values().Len() {
		require(t, file, enum.Values().Get(i))
	}
}

func requireMessage(t *testing.T, file protoreflect.FileDescriptor, message protoreflect.MessageDescriptor) {
	t.Helper()
	if message.IsMapEntry() {
		return
	}
	require(t, file, message)
	for i := range message.Fields().Len() {
		require(t, file, message.Fields().Get(i))
	}
	for i := range message.Enums().Len() {
		requireEnum(t, file, message.Enums().Get(i))
	}
	for i := range message.Messages().Len() {
		requireMessage(t, file, message.Messages().Get(i))
	}
}

// fields calls fn for every field of every message below rondeau except the access rule's own.
func fields(t *testing.T, fn func(protoreflect.FieldDescriptor)) {
	t.Helper()
	var visit func(protoreflect.MessageDescriptor)
	visit = func(message protoreflect.MessageDescriptor) {
		if message.IsMapEntry() {
			return
		}
		for i := range message.Fields().Len() {
			fn(message.Fields().Get(i))
		}
		for i := range message.Messages().Len() {
			visit(message.Messages().Get(i))
		}
	}
	for _, file := range compile(t) {
		if file.Package() == "rondeau.auth.v1" {
			continue
		}
		for i := range file.Messages().Len() {
			visit(file.Messages().Get(i))
		}
	}
}

// Quantities that have no unit by nature, by the last words of their names.
var dimensionless = []string{
	"fraction", "factor", "ratio", "weight", "level", "objective", "bound", "gap", "cost", "score", "probability", "emissivity",
	"efficiency", "ph", "days", "count", "percent", "brix", "coverage", "log10", "liters_per_kg_output", "kg_per_kg_output",
}

// Units that may end a field name, singular or plural as the trade writes them.
var units = []string{
	"kg", "mg", "liters", "liter", "celsius", "fahrenheit", "kelvin", "watts", "kilowatts", "meters", "meter", "seconds", "minutes", "hours",
	"hour", "kelvins", "degrees", "kelvin",
}

func TestPhysicalFieldsNameTheirUnit(t *testing.T) {
	fields(t, func(field protoreflect.FieldDescriptor) {
		if field.Kind() != protoreflect.DoubleKind && field.Kind() != protoreflect.FloatKind {
			return
		}
		name := string(field.Name())
		ends := func(word string) bool { return name == word || strings.HasSuffix(name, "_"+word) }
		if !slices.ContainsFunc(units, ends) && !slices.ContainsFunc(dimensionless, ends) {
			t.Errorf("%s: the name tells neither a unit nor that there is none", field.FullName())
		}
	})
}

func TestFloatingPointInputIsBounded(t *testing.T) {
	fields(t, func(field protoreflect.FieldDescriptor) {
		if field.Kind() != protoreflect.DoubleKind || outputOnly(t, field) {
			return
		}
		value := extension(t, field.Options(), validate.E_Field)
		rules, ok := value.(*validate.FieldRules)
		if !ok || !finite(rules) {
			t.Errorf("%s accepts NaN and infinity: add (buf.validate.field).double.finite or both bounds", field.FullName())
		}
	})
}

func finite(rules *validate.FieldRules) bool {
	double := rules.GetDouble()
	if double == nil {
		double = rules.GetRepeated().GetItems().GetDouble()
	}
	return double.GetFinite()
}

func outputOnly(t *testing.T, field protoreflect.FieldDescriptor) bool {
	t.Helper()
	value := extension(t, field.Options(), annotations.E_FieldBehavior)
	behaviors, _ := value.([]annotations.FieldBehavior)
	return slices.Contains(behaviors, annotations.FieldBehavior_OUTPUT_ONLY)
}

func TestEveryFieldTellsItsBehavior(t *testing.T) {
	fields(t, func(field protoreflect.FieldDescriptor) {
		file := field.ParentFile().Path()
		if strings.HasSuffix(file, "/events.proto") {
			return
		}
		// AIP-203: a member of a oneof tells nothing by itself; the oneof is required or not.
		if oneof := field.ContainingOneof(); oneof != nil && !oneof.IsSynthetic() {
			return
		}
		if extension(t, field.Options(), annotations.E_FieldBehavior) == nil && !response(field) {
			t.Errorf("%s has no google.api.field_behavior", field.FullName())
		}
	})
}

// response reports whether the field belongs to a message that only ever leaves the suite.
func response(field protoreflect.FieldDescriptor) bool {
	for d := protoreflect.Descriptor(field.ContainingMessage()); d != nil; d = d.Parent() {
		name := string(d.Name())
		if strings.HasSuffix(name, "Response") || strings.HasSuffix(name, "Metadata") {
			return true
		}
	}
	return false
}

func TestNoUnsignedFields(t *testing.T) {
	unsigned := []protoreflect.Kind{protoreflect.Uint32Kind, protoreflect.Uint64Kind, protoreflect.Fixed32Kind, protoreflect.Fixed64Kind}
	fields(t, func(field protoreflect.FieldDescriptor) {
		if slices.Contains(unsigned, field.Kind()) {
			t.Errorf("%s is unsigned; AIP-141 asks for signed integers", field.FullName())
		}
	})
}

func TestListsPageByToken(t *testing.T) {
	for _, file := range compile(t) {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				method := service.Methods().Get(j)
				// The standard's own ListOperations names its parent `name`.
				if !strings.HasPrefix(string(method.Name()), "List") || method.Input().ParentFile().Package() == "google.longrunning" {
					continue
				}
				for _, name := range []protoreflect.Name{"parent", "page_size", "page_token"} {
					if name == "parent" && method.Name() == "ListSites" {
						continue // sites have no parent
					}
					if method.Input().Fields().ByName(name) == nil {
						t.Errorf("%s has no %s (AIP-132, AIP-158)", method.FullName(), name)
					}
				}
				if method.Output().Fields().ByName("next_page_token") == nil {
					t.Errorf("%s returns no next_page_token (AIP-158)", method.FullName())
				}
			}
		}
	}
}
