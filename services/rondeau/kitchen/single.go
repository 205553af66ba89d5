package kitchen

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/services/rondeau/cli/view"
)

// Single reads one resource from words of a command line, each KEY=VALUE with the keys and values of a kitchen file.
// References are not looked up: the services do that.
func Single(site, sectionKey, id string, words []string) (*Entry, error) {
	s := sectionByKey(sectionKey)
	if s == nil {
		return nil, fmt.Errorf("no section %q", sectionKey)
	}
	mapping := &yaml.Node{Kind: yaml.MappingNode}
	d := &decoder{file: "arguments", site: site, patterns: patterns(), seen: map[string]position{}}
	for i, word := range words {
		key, value, found := strings.Cut(word, "=")
		at := yaml.Node{Line: 1, Column: i + 1}
		if !found {
			d.fault(&at, "", "%q is not KEY=VALUE", word)
			continue
		}
		var document yaml.Node
		err := yaml.Unmarshal([]byte(value), &document)
		if err != nil {
			d.fault(&at, key, "cannot read %q: %s", value, strings.TrimPrefix(err.Error(), "yaml: "))
			continue
		}
		node := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str"}
		if document.Kind == yaml.DocumentNode {
			node = document.Content[0]
		}
		mapping.Content = append(mapping.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: key, Line: 1, Column: i + 1}, node)
	}
	if id != "" && !idShape.MatchString(id) {
		d.fault(mapping, "", "an id has 1 to 63 small letters, digits and hyphens, got %q", id)
	}
	entry := d.entry(s, mapping, mapping, s.name(site, id), "")
	if len(d.faults) == 0 {
		d.checkDigits(entry)
	}
	if len(d.faults) > 0 {
		return nil, plainFaults(d.faults)
	}
	return entry, nil
}

// plainFaults leaves out line and column, which a command line does not have.
func plainFaults(faults Faults) error {
	lines := make([]string, len(faults))
	for i, fault := range faults {
		lines[i] = fault.Text
		if fault.Path != "" {
			lines[i] = fault.Path + ": " + fault.Text
		}
	}
	return fmt.Errorf("%s", strings.Join(lines, "\n  "))
}

// CreateOne writes a new resource and reads it back.
func CreateOne(ctx context.Context, conns Conns, entry *Entry) (proto.Message, error) {
	u := suite{conns}
	err := u.create(ctx, entry)
	if err != nil {
		return nil, err
	}
	return u.get(ctx, entry.section, entry.Name)
}

// ChangeOne writes the given keys of a resource that exists and reads it back; nil means that it does not exist.
func ChangeOne(ctx context.Context, conns Conns, entry *Entry, words []string) (proto.Message, error) {
	u := suite{conns}
	current, err := u.get(ctx, entry.section, entry.Name)
	if err != nil || current == nil {
		return nil, err
	}
	var paths []string
	fields := entry.Message.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		named := slices.ContainsFunc(words, func(word string) bool {
			key, _, _ := strings.Cut(word, "=")
			return key == string(field.Name()) || key == shortName(field)
		})
		if named && !hidden(field) {
			paths = append(paths, string(field.Name()))
		}
	}
	if entry.Version != nil {
		return u.changeFormula(ctx, entry, current.(*planningpb.Formula), paths)
	}
	err = u.update(ctx, entry, current, paths)
	if err != nil {
		return nil, err
	}
	return u.get(ctx, entry.section, entry.Name)
}

// changeFormula makes a new version that differs from the approved one in the given keys.
func (u suite) changeFormula(ctx context.Context, entry *Entry, current *planningpb.Formula, paths []string) (proto.Message, error) {
	if len(paths) > 0 {
		err := u.update(ctx, entry, current, paths)
		if err != nil {
			return nil, err
		}
	}
	version, err := u.version(ctx, current)
	if err != nil {
		return nil, err
	}
	merged := proto.Clone(version).(*planningpb.FormulaVersion)
	changed := false
	entry.Version.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		merged.ProtoReflect().Set(field, value)
		changed = true
		return true
	})
	if changed {
		entry.Version = merged
		err = u.revise(ctx, entry)
		if err != nil {
			return nil, err
		}
	}
	return u.get(ctx, entry.section, entry.Name)
}

// Keys describes the keys of a section, one line each, for help texts.
func Keys(sectionKey string) string {
	s := sectionByKey(sectionKey)
	if s == nil {
		return ""
	}
	var b strings.Builder
	describeKeys(&b, s.prototype.ProtoReflect().Descriptor())
	if sectionKey == "formulas" {
		describeKeys(&b, (&planningpb.FormulaVersion{}).ProtoReflect().Descriptor())
	}
	return b.String()
}

func describeKeys(b *strings.Builder, message protoreflect.MessageDescriptor) {
	describeNested(b, message, "  ")
}

// describeNested writes the keys of a message and, indented below each, those of the messages in it.
func describeNested(b *strings.Builder, message protoreflect.MessageDescriptor, indent string) {
	for i := range message.Fields().Len() {
		field := message.Fields().Get(i)
		if hidden(field) {
			continue
		}
		need := ""
		if behaves(field, annotations.FieldBehavior_REQUIRED) {
			need = ", needed"
		}
		fmt.Fprintf(b, "%s%-*s %s%s\n", indent, 36-len(indent), shortName(field), kindWords(field), need)
		if field.Kind() == protoreflect.MessageKind && !strings.HasPrefix(string(field.Message().FullName()), "google.protobuf.") && len(indent) < 8 {
			describeNested(b, field.Message(), indent+"  ")
		}
	}
}

func kindWords(field protoreflect.FieldDescriptor) string {
	kind := "text"
	reference, _ := proto.GetExtension(field.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
	switch {
	case reference != nil:
		what := strings.ToLower(strings.TrimPrefix(reference.GetType(), "rondeau.internal/"))
		kind = "id of a " + what
		if strings.ContainsRune("aeiou", rune(what[0])) {
			kind = "id of an " + what
		}
	case field.Kind() == protoreflect.BoolKind:
		kind = "yes or no"
	case field.Kind() == protoreflect.EnumKind:
		kind = "one of " + view.EnumChoices(field.Enum())
	case field.Kind() == protoreflect.DoubleKind && unitText(field) != "":
		kind = "quantity, in " + unitText(field) + " when no unit is given"
	case field.Kind() == protoreflect.DoubleKind:
		kind = "number"
	case field.Kind() == protoreflect.Int32Kind || field.Kind() == protoreflect.Int64Kind:
		kind = "whole number"
	case field.Kind() == protoreflect.MessageKind && field.Message().FullName() == "google.protobuf.Duration":
		kind = "time such as 90min or 8h"
	case field.Kind() == protoreflect.MessageKind && field.Message().FullName() == "google.protobuf.Timestamp":
		kind = "moment such as 2027-03-01T06:00:00-05:00"
	case field.Kind() == protoreflect.MessageKind:
		kind = "keys in braces, {KEY: VALUE, ...}:"
	}
	if field.IsList() {
		return "list in brackets: " + kind
	}
	return kind
}

// ReadOne reads what a site has one of, such as its stock policy; nil means that there is none.
func ReadOne(ctx context.Context, conns Conns, site, sectionKey string) (proto.Message, error) {
	s := sectionByKey(sectionKey)
	if s == nil || !s.single {
		return nil, fmt.Errorf("a site has no single %q", sectionKey)
	}
	return suite{conns}.get(ctx, s, s.name(site, ""))
}
