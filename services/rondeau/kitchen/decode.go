package kitchen

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/units"
	"rondeau.internal/services/rondeau/cli/view"
)

// decoder turns YAML nodes into messages and collects what is wrong.
type decoder struct {
	file     string
	site     string            // resource name of the site, which ids are expanded with
	patterns map[string]string // resource type -> name pattern
	faults   Faults
	seen     map[string]position // where each field of each resource stands, by "resource name" + "\x00" + field path
}

type position struct {
	file         string
	line, column int
	path         string
}

func (d *decoder) fault(node *yaml.Node, path, format string, args ...any) {
	d.faults = append(d.faults, Fault{File: d.file, Line: node.Line, Column: node.Column, Path: path, Text: fmt.Sprintf(format, args...)})
}

func (d *decoder) mark(node *yaml.Node, resource, field, path string) {
	d.seen[resource+"\x00"+field] = position{d.file, node.Line, node.Column, path}
}

// message fills m from a mapping. `path` is for people, `field` is the proto path below the resource.
func (d *decoder) message(node *yaml.Node, m protoreflect.Message, resource, field, path string) {
	node = resolve(node)
	d.mark(node, resource, field, path)
	if node.Kind != yaml.MappingNode {
		d.fault(node, path, "expected keys and values, got %s", describe(node))
		return
	}
	set := map[protoreflect.FieldNumber]*yaml.Node{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		key, value := node.Content[i], node.Content[i+1]
		descriptor := d.field(key, m.Descriptor(), path)
		if descriptor == nil {
			continue
		}
		at := join(path, key.Value)
		if first, twice := set[descriptor.Number()]; twice {
			d.fault(key, at, "given twice; first on line %d", first.Line)
			continue
		}
		set[descriptor.Number()] = key
		if oneof := descriptor.ContainingOneof(); oneof != nil && !oneof.IsSynthetic() {
			if other := m.WhichOneof(oneof); other != nil {
				d.fault(key, at, "give either %s or %s, not both", shortName(other), shortName(descriptor))
				continue
			}
		}
		d.value(value, m, descriptor, resource, join(field, string(descriptor.Name())), at)
	}
}

// field finds the field that a key means.
func (d *decoder) field(key *yaml.Node, message protoreflect.MessageDescriptor, path string) protoreflect.FieldDescriptor {
	var found protoreflect.FieldDescriptor
	var names []string
	for i := range message.Fields().Len() {
		candidate := message.Fields().Get(i)
		if hidden(candidate) {
			continue
		}
		names = append(names, shortName(candidate))
		if string(candidate.Name()) == key.Value {
			return candidate
		}
		if shortName(candidate) == key.Value {
			found = candidate
		}
	}
	if found != nil {
		return found
	}
	if field := message.Fields().ByName(protoreflect.Name(key.Value)); field != nil {
		d.fault(key, join(path, key.Value), "is set by the suite; take it out")
		return nil
	}
	if near := closest(key.Value, names); near != "" {
		d.fault(key, join(path, key.Value), "no such key; did you mean %q?", near)
		return nil
	}
	slices.Sort(names)
	d.fault(key, join(path, key.Value), "no such key; the keys here are %s", strings.Join(names, ", "))
	return nil
}

// hidden reports the fields that a kitchen file does not hold.
func hidden(field protoreflect.FieldDescriptor) bool {
	if field.Name() == "name" && behaves(field, annotations.FieldBehavior_IDENTIFIER) {
		return true
	}
	return field.Name() == "etag" || behaves(field, annotations.FieldBehavior_OUTPUT_ONLY)
}

func behaves(field protoreflect.FieldDescriptor, behavior annotations.FieldBehavior) bool {
	behaviors, _ := proto.GetExtension(field.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(behaviors, behavior)
}

// unitOf is the unit at the end of a field name with the parser of its kind.
type unitOf struct {
	suffix string
	parse  func(string) (float64, error)
}

var unitsByName = []unitOf{
	{"_kg", func(s string) (float64, error) { v, err := units.ParseMass(s); return v.Kilograms(), err }},
	{"_liters", func(s string) (float64, error) { v, err := units.ParseVolume(s); return v.Litres(), err }},
	{"_celsius", func(s string) (float64, error) { v, err := units.ParseTemperature(s); return float64(v.Celsius()), err }},
	{"_watts", func(s string) (float64, error) { v, err := units.ParsePower(s); return v.Watts(), err }},
	{"_meters", func(s string) (float64, error) { v, err := units.ParseLength(s); return v.Metres(), err }},
}

// shortName is a field's name as people write it: without its unit, `_duration`, or `_fraction`.
func shortName(field protoreflect.FieldDescriptor) string {
	name := string(field.Name())
	if field.Kind() == protoreflect.MessageKind {
		return strings.TrimSuffix(name, "_duration")
	}
	if field.Kind() != protoreflect.DoubleKind {
		return name
	}
	for _, unit := range unitsByName {
		if short, ok := strings.CutSuffix(name, unit.suffix); ok && !strings.HasSuffix(short, "_per") && !strings.Contains(short, "_per_") && !strings.HasSuffix(short, "_square") {
			return short
		}
	}
	return name
}

func (d *decoder) value(node *yaml.Node, m protoreflect.Message, field protoreflect.FieldDescriptor, resource, proto, path string) {
	node = resolve(node)
	d.mark(node, resource, proto, path)
	switch {
	case field.IsMap():
		d.fault(node, path, "maps are not part of kitchen files")
	case field.IsList():
		if node.Kind != yaml.SequenceNode {
			d.fault(node, path, "expected a list (lines that begin with '- '), got %s", describe(node))
			return
		}
		list := m.Mutable(field).List()
		for i, item := range node.Content {
			at, in := fmt.Sprintf("%s[%d]", path, i), fmt.Sprintf("%s[%d]", proto, i)
			if field.Kind() == protoreflect.MessageKind && !wellKnown(field.Message()) {
				d.message(item, list.AppendMutable().Message(), resource, in, at)
				continue
			}
			d.mark(item, resource, in, at)
			if value, ok := d.scalar(resolve(item), field, at); ok {
				list.Append(value)
			}
		}
	case field.Kind() == protoreflect.MessageKind && !wellKnown(field.Message()):
		d.message(node, m.Mutable(field).Message(), resource, proto, path)
	default:
		if value, ok := d.scalar(node, field, path); ok {
			m.Set(field, value)
		}
	}
}

func wellKnown(message protoreflect.MessageDescriptor) bool {
	return message.FullName() == "google.protobuf.Duration" || message.FullName() == "google.protobuf.Timestamp"
}

// scalar reads one value; the second result is false when a fault was noted.
func (d *decoder) scalar(node *yaml.Node, field protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	none := protoreflect.Value{}
	if node.Kind != yaml.ScalarNode {
		d.fault(node, path, "expected one value, got %s", describe(node))
		return none, false
	}
	text := strings.TrimSpace(node.Value)
	switch field.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(d.reference(field, node.Value)), true
	case protoreflect.BoolKind:
		switch strings.ToLower(text) {
		case "true", "yes":
			return protoreflect.ValueOfBool(true), true
		case "false", "no":
			return protoreflect.ValueOfBool(false), true
		}
		d.fault(node, path, "expected yes or no, got %q", text)
	case protoreflect.Int32Kind:
		n, err := strconv.ParseInt(text, 10, 32)
		if err == nil {
			return protoreflect.ValueOfInt32(int32(n)), true
		}
		d.fault(node, path, "expected a whole number, got %q", text)
	case protoreflect.Int64Kind:
		n, err := strconv.ParseInt(text, 10, 64)
		if err == nil {
			return protoreflect.ValueOfInt64(n), true
		}
		d.fault(node, path, "expected a whole number, got %q", text)
	case protoreflect.DoubleKind:
		return d.number(node, field, text, path)
	case protoreflect.EnumKind:
		return d.word(node, field, text, path)
	case protoreflect.MessageKind:
		return d.moment(node, field, text, path)
	default:
		d.fault(node, path, "values of kind %s are not part of kitchen files", field.Kind())
	}
	return none, false
}

func (d *decoder) number(node *yaml.Node, field protoreflect.FieldDescriptor, text, path string) (protoreflect.Value, bool) {
	if percent, ok := strings.CutSuffix(text, "%"); ok {
		v, err := strconv.ParseFloat(strings.TrimSpace(percent), 64)
		if err == nil && !math.IsInf(v, 0) && !math.IsNaN(v) {
			return protoreflect.ValueOfFloat64(v / 100), true
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err == nil && !math.IsInf(v, 0) && !math.IsNaN(v) {
		return protoreflect.ValueOfFloat64(v), true
	}
	for _, unit := range unitsByName {
		if shortName(field)+unit.suffix != string(field.Name()) {
			continue
		}
		v, err := unit.parse(text)
		if err != nil {
			d.fault(node, path, "%v", err)
			return protoreflect.Value{}, false
		}
		return protoreflect.ValueOfFloat64(v), true
	}
	d.fault(node, path, "expected a number, got %q", text)
	return protoreflect.Value{}, false
}

func (d *decoder) word(node *yaml.Node, field protoreflect.FieldDescriptor, text, path string) (protoreflect.Value, bool) {
	number, found := view.EnumValue(field.Enum(), text)
	if !found {
		d.fault(node, path, "%q is none of %s", text, view.EnumChoices(field.Enum()))
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfEnum(number), true
}

func (d *decoder) moment(node *yaml.Node, field protoreflect.FieldDescriptor, text, path string) (protoreflect.Value, bool) {
	if field.Message().FullName() == "google.protobuf.Duration" {
		duration, err := units.ParseDuration(text)
		if err != nil {
			d.fault(node, path, "%v", err)
			return protoreflect.Value{}, false
		}
		return protoreflect.ValueOfMessage(durationpb.New(duration).ProtoReflect()), true
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		d.fault(node, path, "expected a moment such as 2027-03-01T06:00:00-05:00, got %q", text)
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfMessage(timestamppb.New(t).ProtoReflect()), true
}

// reference expands an id to the resource name that the field's type asks for.
func (d *decoder) reference(field protoreflect.FieldDescriptor, text string) string {
	reference, _ := proto.GetExtension(field.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
	if reference == nil || text == "" || strings.HasPrefix(text, "sites/") {
		return text
	}
	pattern, known := d.patterns[reference.GetType()]
	if !known {
		return text
	}
	return expand(pattern, d.site, text)
}

// expand fills a name pattern with the ids of a short reference: "sites/{site}/items/{item}" and "veal-bones". A text
// with another number of ids is left as it is.
func expand(pattern, site, short string) string {
	ids := strings.Split(short, "/")
	parts := strings.Split(pattern, "/")
	var open []int
	for i, part := range parts {
		if i >= 2 && strings.HasPrefix(part, "{") {
			open = append(open, i)
		}
	}
	if len(ids) != len(open) {
		return short
	}
	for i, at := range open {
		parts[at] = ids[i]
	}
	return site + "/" + strings.Join(parts[2:], "/")
}

func resolve(node *yaml.Node) *yaml.Node {
	for node.Kind == yaml.AliasNode {
		node = node.Alias
	}
	return node
}

func describe(node *yaml.Node) string {
	switch node.Kind {
	case yaml.MappingNode:
		return "keys and values"
	case yaml.SequenceNode:
		return "a list"
	case yaml.ScalarNode:
		if node.Tag == "!!null" {
			return "nothing"
		}
		return strconv.Quote(node.Value)
	default:
		return "something else"
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
