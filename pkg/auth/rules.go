package auth

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	authpb "rondeau.internal/pkg/gen/rondeau/auth/v1"
)

// Rule says who may call one RPC.
type Rule struct {
	Roles []Role
	// OutletField is the path of the request field that must name the caller's outlet, or something under it, when the caller's
	// role is outlet. Empty means that the RPC shows nothing of an outlet.
	OutletField string
}

// packagePrefix selects the services whose RPCs need a rule.
const packagePrefix = "rondeau."

// OperationsService is the standard service of long-running operations, which has no options of ours.
const OperationsService = "google.longrunning.Operations"

// Rules reads the rule of every RPC of the packages under rondeau in files (nil means the files linked into the program),
// by full method ("/rondeau.inventory.v1.Inventory/GetLot"). An RPC without the option is not in the map and is therefore
// refused. Malformed rules are errors. Long-running operations may be watched by every role but outlet and cancelled by manager
// and service.
func Rules(files *protoregistry.Files) (map[string]Rule, error) {
	if files == nil {
		files = protoregistry.GlobalFiles
	}
	rules := operationRules()
	var faults []error
	files.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(f.Package())+".", packagePrefix) {
			return true
		}
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				m := methods.Get(j)
				rule, ok, err := methodRule(m)
				if err != nil {
					faults = append(faults, fmt.Errorf("access rule of %s: %w", m.FullName(), err))
				}
				if ok {
					rules[FullMethod(m)] = rule
				}
			}
		}
		return true
	})
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return rules, nil
}

// FullMethod is the name of an RPC as gRPC writes it: /package.Service/Method.
func FullMethod(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

func operationRules() map[string]Rule {
	watch := Rule{Roles: []Role{Manager, Cook, Receiver, SafetyLead, Auditor, Service}}
	act := Rule{Roles: []Role{Manager, Service}}
	prefix := "/" + OperationsService + "/"
	return map[string]Rule{
		prefix + "GetOperation": watch, prefix + "ListOperations": watch, prefix + "WaitOperation": watch,
		prefix + "CancelOperation": act, prefix + "DeleteOperation": act,
	}
}

func methodRule(m protoreflect.MethodDescriptor) (rule Rule, ok bool, err error) {
	access, _ := proto.GetExtension(m.Options(), authpb.E_Access).(*authpb.Access)
	if access == nil {
		return Rule{}, false, nil
	}
	for _, r := range access.GetRoles() {
		role, err := roleOf(r)
		if err != nil {
			return Rule{}, false, err
		}
		rule.Roles = append(rule.Roles, role)
	}
	if len(rule.Roles) == 0 {
		return Rule{}, false, errors.New("no role may call it")
	}
	rule.OutletField = access.GetOutletField()
	if rule.OutletField != "" {
		if !slices.Contains(rule.Roles, Outlet) {
			return Rule{}, false, errors.New("outlet_field without ROLE_OUTLET")
		}
		if err := checkPath(m.Input(), rule.OutletField); err != nil {
			return Rule{}, false, err
		}
	}
	return rule, true, nil
}

func roleOf(r authpb.Role) (Role, error) {
	role := Role(strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_")))
	if !role.Valid() {
		return "", fmt.Errorf("role %s", r)
	}
	return role, nil
}

func checkPath(md protoreflect.MessageDescriptor, path string) error {
	words := strings.Split(path, ".")
	for i, w := range words {
		fd := md.Fields().ByName(protoreflect.Name(w))
		switch last := i == len(words)-1; {
		case fd == nil:
			return fmt.Errorf("outlet_field %q: %s has no field %q", path, md.FullName(), w)
		case last && fd.Kind() != protoreflect.StringKind:
			return fmt.Errorf("outlet_field %q is not a string", path)
		case !last && (fd.Message() == nil || fd.IsMap()):
			return fmt.Errorf("outlet_field %q: %q is not a message", path, w)
		case !last:
			md = fd.Message()
		}
	}
	return nil
}

// Allow checks the role alone, before there is a request to look at.
func (r Rule) Allow(p Principal) error {
	if slices.Contains(r.Roles, p.Role) {
		return nil
	}
	return apierr.PermissionDenied(RoleNotAllowed, "the role %s may not do this; it is for: %s", p.Role, join(r.Roles)).
		With("role", string(p.Role)).With("allowed_roles", join(r.Roles))
}

func join(roles []Role) string {
	s := make([]string, len(roles))
	for i, r := range roles {
		s[i] = string(r)
	}
	return strings.Join(s, ", ")
}

// Check says whether p may make this request: by role, by site (every resource name in the request must lie under the
// principal's site) and by outlet.
func (r Rule) Check(p Principal, req proto.Message) error {
	if err := r.Allow(p); err != nil {
		return err
	}
	if site := p.site(); site != "" {
		if name := outside(req.ProtoReflect(), site, 0); name != "" {
			return apierr.PermissionDenied(OutsideSite, "%q is outside of %s, to which this caller is bound", name, site).
				With("name", name).With("site", site)
		}
	}
	if p.Role == Outlet && r.OutletField != "" {
		names := valuesAt(req.ProtoReflect(), strings.Split(r.OutletField, "."))
		if len(names) == 0 {
			names = []string{""}
		}
		for _, name := range names {
			if !aip.Under(name, p.Outlet) {
				return apierr.PermissionDenied(OutsideOutlet, "%s is %q; this caller may only use %s", r.OutletField, name, p.Outlet).
					With("field", r.OutletField).With("name", name).With("outlet", p.Outlet)
			}
		}
	}
	return nil
}

// maxDepth is beyond what the gRPC decoder lets through for our messages; it only bounds recursion.
const maxDepth = 50

// outside is the first resource name in m that does not lie under site, or "".
func outside(m protoreflect.Message, site string, depth int) (found string) {
	if depth > maxDepth {
		return "nested too deep"
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.Kind() == protoreflect.StringKind && !fd.IsMap() && isName(fd, depth):
			each(fd, v, func(v protoreflect.Value) {
				if found == "" && v.String() != "" && !aip.Under(v.String(), site) {
					found = v.String()
				}
			})
		case fd.IsMap():
			if fd.MapValue().Message() != nil {
				v.Map().Range(func(_ protoreflect.MapKey, v protoreflect.Value) bool {
					found = outside(v.Message(), site, depth+1)
					return found == ""
				})
			}
		case fd.Message() != nil:
			each(fd, v, func(v protoreflect.Value) {
				if found == "" {
					found = outside(v.Message(), site, depth+1)
				}
			})
		}
		return found == ""
	})
	return found
}

// isName says whether a string field holds a resource name: it is declared as a reference, or it is the name or parent
// of the request, or the name of a resource inside of it.
func isName(fd protoreflect.FieldDescriptor, depth int) bool {
	if proto.HasExtension(fd.Options(), annotations.E_ResourceReference) {
		return true
	}
	switch fd.Name() {
	case "name":
		return depth == 0 || proto.HasExtension(fd.Parent().Options(), annotations.E_Resource)
	case "parent":
		return depth == 0
	}
	return false
}

func each(fd protoreflect.FieldDescriptor, v protoreflect.Value, fn func(protoreflect.Value)) {
	if !fd.IsList() {
		fn(v)
		return
	}
	for i := range v.List().Len() {
		fn(v.List().Get(i))
	}
}

// valuesAt collects the strings at path, through repeated fields.
func valuesAt(m protoreflect.Message, path []string) []string {
	fd := m.Descriptor().Fields().ByName(protoreflect.Name(path[0]))
	if fd == nil || (len(path) > 1 && !m.Has(fd)) {
		return nil
	}
	var out []string
	each(fd, m.Get(fd), func(v protoreflect.Value) {
		if len(path) == 1 {
			out = append(out, v.String())
		} else {
			out = append(out, valuesAt(v.Message(), path[1:])...)
		}
	})
	return out
}
