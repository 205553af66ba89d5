package kitchen

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/services/rondeau/cli/view"
)

// Write gives the text of a kitchen file with the given entries, in the order of the sections and of the entries.
func Write(site string, entries []*Entry) ([]byte, error) {
	root := &yaml.Node{Kind: yaml.MappingNode}
	add(root, "kitchen", plain(formatVersion))
	for i := range sections {
		s := &sections[i]
		body := &yaml.Node{Kind: yaml.MappingNode}
		for _, entry := range entries {
			if entry.section != s {
				continue
			}
			fields := encodeMessage(entry.Message.ProtoReflect(), site)
			if entry.Version != nil {
				fields.Content = append(fields.Content, encodeMessage(entry.Version.ProtoReflect(), site).Content...)
			}
			switch {
			case s.key == "site":
				add(body, "id", text(strings.TrimPrefix(site, "sites/")))
				body.Content = append(body.Content, fields.Content...)
			case s.single:
				body.Content = append(body.Content, fields.Content...)
			default:
				add(body, entry.ID(), fields)
			}
		}
		if len(body.Content) == 0 {
			continue
		}
		add(root, s.key, body)
		root.Content[len(root.Content)-2].HeadComment = s.about
	}
	var b strings.Builder
	encoder := yaml.NewEncoder(&b)
	encoder.SetIndent(2)
	err := encoder.Encode(root)
	if err != nil {
		return nil, fmt.Errorf("write kitchen file: %w", err)
	}
	return []byte(b.String()), nil
}

func add(mapping *yaml.Node, key string, value *yaml.Node) {
	mapping.Content = append(mapping.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: key}, value)
}

func plain(value string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Value: value} }

// text quotes a string where YAML would read it as something else.
func text(value string) *yaml.Node {
	node := &yaml.Node{}
	node.SetString(value)
	return node
}

// encodeMessage writes the fields that a kitchen file holds, those with small values on one line.
func encodeMessage(m protoreflect.Message, site string) *yaml.Node {
	node := &yaml.Node{Kind: yaml.MappingNode}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if hidden(field) || !m.Has(field) || (field.Name() == "active" && m.Get(field).Bool()) {
			continue
		}
		value := encodeField(field, m.Get(field), site)
		if value != nil {
			add(node, shortName(field), value)
		}
	}
	if flat(node) {
		node.Style = yaml.FlowStyle
	}
	return node
}

// flat reports a short mapping of scalars.
func flat(node *yaml.Node) bool {
	length := 0
	for _, child := range node.Content {
		if child.Kind != yaml.ScalarNode || strings.Contains(child.Value, "\n") {
			return false
		}
		length += len(child.Value) + 2
	}
	return length > 0 && length <= 90
}

func encodeField(field protoreflect.FieldDescriptor, value protoreflect.Value, site string) *yaml.Node {
	if field.IsMap() {
		return nil
	}
	if !field.IsList() {
		return encodeValue(field, value, site)
	}
	list := &yaml.Node{Kind: yaml.SequenceNode}
	for i := range value.List().Len() {
		list.Content = append(list.Content, encodeValue(field, value.List().Get(i), site))
	}
	if flat(list) {
		list.Style = yaml.FlowStyle
	}
	return list
}

func encodeValue(field protoreflect.FieldDescriptor, value protoreflect.Value, site string) *yaml.Node {
	switch field.Kind() {
	case protoreflect.MessageKind:
		switch m := value.Message().Interface().(type) {
		case *durationpb.Duration:
			return plain(kitchenDuration(m.AsDuration()))
		case *timestamppb.Timestamp:
			return plain(m.AsTime().Format(time.RFC3339))
		default:
			return encodeMessage(value.Message(), site)
		}
	case protoreflect.EnumKind:
		return plain(view.EnumWords(field.Enum().Values().ByNumber(value.Enum())))
	case protoreflect.DoubleKind:
		number := strconv.FormatFloat(value.Float(), 'f', -1, 64)
		if unit := unitText(field); unit != "" {
			return plain(number + " " + unit)
		}
		return plain(number)
	case protoreflect.StringKind:
		reference, _ := proto.GetExtension(field.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
		if reference != nil {
			if short, ok := contract(patterns()[reference.GetType()], site, value.String()); ok {
				return text(short)
			}
		}
		return text(value.String())
	default:
		return plain(value.String())
	}
}

// contract is the inverse of expand.
func contract(pattern, site, name string) (string, bool) {
	if pattern == "" {
		return "", false
	}
	parts, open := strings.Split(name, "/"), strings.Split(pattern, "/")
	if len(parts) != len(open) || !strings.HasPrefix(name, site+"/") {
		return "", false
	}
	var ids []string
	for i := 2; i < len(open); i++ {
		if strings.HasPrefix(open[i], "{") {
			ids = append(ids, parts[i])
		}
	}
	short := strings.Join(ids, "/")
	return short, expand(pattern, site, short) == name
}

func unitText(field protoreflect.FieldDescriptor) string {
	short := shortName(field)
	switch strings.TrimPrefix(string(field.Name()), short) {
	case "_kg":
		return "kg"
	case "_liters":
		return "L"
	case "_celsius":
		return "C"
	case "_watts":
		return "W"
	case "_meters":
		return "m"
	default:
		return ""
	}
}

// kitchenDuration writes a duration exactly, in the largest units that do: "8h", "1h 30min", "2 days".
func kitchenDuration(d time.Duration) string {
	day := 24 * time.Hour
	if d == 0 {
		return "0min"
	}
	if d%day == 0 && d >= 2*day {
		return fmt.Sprintf("%d days", d/day)
	}
	if d%time.Second != 0 {
		return strconv.FormatFloat(d.Seconds(), 'f', -1, 64) + "s"
	}
	var parts []string
	if hours := d / time.Hour; hours > 0 {
		parts = append(parts, fmt.Sprintf("%dh", hours))
	}
	if minutes := d % time.Hour / time.Minute; minutes > 0 {
		parts = append(parts, fmt.Sprintf("%dmin", minutes))
	}
	if seconds := d % time.Minute / time.Second; seconds > 0 {
		parts = append(parts, fmt.Sprintf("%ds", seconds))
	}
	return strings.Join(parts, " ")
}
