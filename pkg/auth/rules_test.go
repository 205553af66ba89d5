package auth_test

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"os"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	authpb "rondeau.internal/pkg/gen/rondeau/auth/v1"
)

func readKey(t *testing.T, path string) ed25519.PrivateKey {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(b)
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	return key.(ed25519.PrivateKey)
}

// testFile is a proto file with one service, built by hand so that malformed rules can be tried.
func testFile(t *testing.T, access map[string]*authpb.Access) *protoregistry.Files {
	t.Helper()
	str := func(name string, n int32, ref bool, label descriptorpb.FieldDescriptorProto_Label) *descriptorpb.FieldDescriptorProto {
		f := &descriptorpb.FieldDescriptorProto{
			Name: proto.String(name), Number: proto.Int32(n), Type: descriptorpb.FieldDescriptorProto_TYPE_STRING.Enum(), Label: label.Enum(),
		}
		if ref {
			f.Options = &descriptorpb.FieldOptions{}
			proto.SetExtension(f.Options, annotations.E_ResourceReference, &annotations.ResourceReference{Type: "rondeau.internal/X"})
		}
		return f
	}
	msg := func(name string, n int32, typ string, label descriptorpb.FieldDescriptorProto_Label) *descriptorpb.FieldDescriptorProto {
		return &descriptorpb.FieldDescriptorProto{
			Name: proto.String(name), Number: proto.Int32(n), Type: descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum(), TypeName: proto.String(typ), Label: label.Enum(),
		}
	}
	const one, many = descriptorpb.FieldDescriptorProto_LABEL_OPTIONAL, descriptorpb.FieldDescriptorProto_LABEL_REPEATED
	order := &descriptorpb.MessageOptions{}
	proto.SetExtension(order, annotations.E_Resource, &annotations.ResourceDescriptor{Type: "rondeau.internal/Order"})
	fd := &descriptorpb.FileDescriptorProto{
		Name: proto.String("rondeau/test/v1/test.proto"), Package: proto.String("rondeau.test.v1"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{
			{Name: proto.String("Line"), Field: []*descriptorpb.FieldDescriptorProto{str("product", 1, true, one), str("name", 2, false, one)}},
			{Name: proto.String("Order"), Options: order, Field: []*descriptorpb.FieldDescriptorProto{
				str("name", 1, false, one), str("outlet", 2, true, one), msg("lines", 3, ".rondeau.test.v1.Line", many), str("note", 4, false, one),
			}},
			{Name: proto.String("Request"), Field: []*descriptorpb.FieldDescriptorProto{
				str("parent", 1, false, one), msg("order", 2, ".rondeau.test.v1.Order", one), str("outlets", 3, true, many), str("name", 4, false, one),
			}},
		},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("Test")}},
	}
	for name, a := range access {
		m := &descriptorpb.MethodDescriptorProto{Name: proto.String(name), InputType: proto.String(".rondeau.test.v1.Request"), OutputType: proto.String(".rondeau.test.v1.Order")}
		if a != nil {
			m.Options = &descriptorpb.MethodOptions{}
			proto.SetExtension(m.Options, authpb.E_Access, a)
		}
		fd.Service[0].Method = append(fd.Service[0].Method, m)
	}
	file, err := protodesc.NewFile(fd, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	files := &protoregistry.Files{}
	if err := files.RegisterFile(file); err != nil {
		t.Fatal(err)
	}
	return files
}

// request fills a message from text: field paths with values.
func request(t *testing.T, files *protoregistry.Files, values map[string]string) proto.Message {
	t.Helper()
	d, err := files.FindDescriptorByName("rondeau.test.v1.Request")
	if err != nil {
		t.Fatal(err)
	}
	root := dynamicpb.NewMessage(d.(protoreflect.MessageDescriptor))
	for path, v := range values {
		var m protoreflect.Message = root
		words := strings.Split(path, ".")
		for _, w := range words[:len(words)-1] {
			fd := m.Descriptor().Fields().ByName(protoreflect.Name(w))
			if fd.IsList() {
				m = m.Mutable(fd).List().AppendMutable().Message()
			} else {
				m = m.Mutable(fd).Message()
			}
		}
		fd := m.Descriptor().Fields().ByName(protoreflect.Name(words[len(words)-1]))
		if fd.IsList() {
			for s := range strings.SplitSeq(v, " ") {
				m.Mutable(fd).List().Append(protoreflect.ValueOfString(s))
			}
		} else {
			m.Set(fd, protoreflect.ValueOfString(v))
		}
	}
	return root
}

func access(outletField string, roles ...authpb.Role) *authpb.Access {
	return &authpb.Access{Roles: roles, OutletField: outletField}
}

func TestRulesAreReadAndMissingOnesStayMissing(t *testing.T) {
	t.Parallel()
	rules, err := auth.Rules(testFile(t, map[string]*authpb.Access{
		"Open": access("order.outlet", authpb.Role_ROLE_OUTLET, authpb.Role_ROLE_SAFETY_LEAD), "Bare": nil,
	}))
	if err != nil {
		t.Fatal(err)
	}
	r, ok := rules["/rondeau.test.v1.Test/Open"]
	if !ok || len(r.Roles) != 2 || r.Roles[0] != auth.Outlet || r.Roles[1] != auth.SafetyLead || r.OutletField != "order.outlet" {
		t.Errorf("rule %+v", r)
	}
	if _, ok := rules["/rondeau.test.v1.Test/Bare"]; ok {
		t.Error("an RPC without the option has a rule")
	}
	if _, ok := rules["/google.longrunning.Operations/GetOperation"]; !ok {
		t.Error("operations cannot be watched")
	}
}

func TestMalformedRulesAreErrors(t *testing.T) {
	t.Parallel()
	for name, a := range map[string]*authpb.Access{
		"no roles":              access(""),
		"unspecified role":      access("", authpb.Role_ROLE_UNSPECIFIED),
		"unknown role":          access("", authpb.Role(99)),
		"unknown field":         access("order.shop", authpb.Role_ROLE_OUTLET),
		"field is no string":    access("order", authpb.Role_ROLE_OUTLET),
		"path through a string": access("parent.x", authpb.Role_ROLE_OUTLET),
		"field without outlet":  access("parent", authpb.Role_ROLE_COOK),
	} {
		if _, err := auth.Rules(testFile(t, map[string]*authpb.Access{"M": a})); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
}

func TestSiteAndOutletBoundRequests(t *testing.T) {
	t.Parallel()
	files := testFile(t, map[string]*authpb.Access{
		"Any": access("", authpb.Role_ROLE_COOK, authpb.Role_ROLE_OUTLET), "Own": access("order.outlet", authpb.Role_ROLE_COOK, authpb.Role_ROLE_OUTLET),
		"Many": access("outlets", authpb.Role_ROLE_OUTLET),
	})
	rules, err := auth.Rules(files)
	if err != nil {
		t.Fatal(err)
	}
	all := auth.Principal{Subject: "a", Role: auth.Cook}
	north := auth.Principal{Subject: "a", Role: auth.Cook, Site: "sites/north"}
	quay := auth.Principal{Subject: "a", Role: auth.Outlet, Outlet: "sites/north/outlets/quay"}
	tests := []struct {
		name, method string
		p            auth.Principal
		req          map[string]string
		reason       string
	}{
		{"role not listed", "Any", auth.Principal{Subject: "a", Role: auth.Auditor}, nil, auth.RoleNotAllowed},
		{"no site bound", "Any", all, map[string]string{"parent": "sites/south"}, ""},
		{"own site", "Any", north, map[string]string{"parent": "sites/north"}, ""},
		{"other site", "Any", north, map[string]string{"parent": "sites/south"}, auth.OutsideSite},
		{"site with the same beginning", "Any", north, map[string]string{"parent": "sites/northern"}, auth.OutsideSite},
		{"all sites", "Any", north, map[string]string{"parent": "sites/-"}, auth.OutsideSite},
		{"other site in name", "Any", north, map[string]string{"name": "sites/south/orders/1"}, auth.OutsideSite},
		{"other site in the resource", "Any", north, map[string]string{"order.name": "sites/south/orders/1"}, auth.OutsideSite},
		{"other site in a reference", "Any", north, map[string]string{"order.outlet": "sites/south/outlets/x"}, auth.OutsideSite},
		{"other site in a line", "Any", north, map[string]string{"order.lines.product": "sites/south/products/x"}, auth.OutsideSite},
		{"name of something that is no resource", "Any", north, map[string]string{"order.lines.name": "first"}, ""},
		{"free text", "Any", north, map[string]string{"order.note": "sites/south"}, ""},
		{"own outlet", "Own", quay, map[string]string{"order.outlet": "sites/north/outlets/quay"}, ""},
		{"under the own outlet", "Own", quay, map[string]string{"order.outlet": "sites/north/outlets/quay/orders/1"}, ""},
		{"other outlet", "Own", quay, map[string]string{"order.outlet": "sites/north/outlets/mill"}, auth.OutsideOutlet},
		{"outlet not given", "Own", quay, nil, auth.OutsideOutlet},
		{"outlet empty", "Own", quay, map[string]string{"order.note": "x"}, auth.OutsideOutlet},
		{"outlet rule is for outlets only", "Own", north, map[string]string{"order.outlet": "sites/north/outlets/mill"}, ""},
		{"outlet bound to its site", "Any", quay, map[string]string{"parent": "sites/south"}, auth.OutsideSite},
		{"one of many", "Many", quay, map[string]string{"outlets": "sites/north/outlets/quay sites/north/outlets/mill"}, auth.OutsideOutlet},
		{"all of many", "Many", quay, map[string]string{"outlets": "sites/north/outlets/quay sites/north/outlets/quay"}, ""},
	}
	for _, tt := range tests {
		err := rules["/rondeau.test.v1.Test/"+tt.method].Check(tt.p, request(t, files, tt.req))
		if tt.reason == "" && err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if tt.reason != "" && (!errors.Is(err, apierr.Reason(tt.reason)) || apierr.KindOf(err) != apierr.KindPermissionDenied) {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.reason)
		}
	}
}
