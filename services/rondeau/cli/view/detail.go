package view

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// Detail prints one resource as labelled lines; lists of messages become small tables below their label. Fields that
// only programs need (uid) are left out.
func (s Style) Detail(w io.Writer, message proto.Message) error {
	var b strings.Builder
	s.lines(&b, message.ProtoReflect(), "")
	_, err := io.WriteString(w, b.String())
	return err
}

func (s Style) lines(b *strings.Builder, m protoreflect.Message, indent string) {
	fields := m.Descriptor().Fields()
	width := 0
	for i := range fields.Len() {
		if m.Has(fields.Get(i)) {
			width = max(width, len(label(string(fields.Get(i).Name()))))
		}
	}
	for i := range fields.Len() {
		field := fields.Get(i)
		if !m.Has(field) || field.Name() == "uid" {
			continue
		}
		name := label(string(field.Name()))
		value := m.Get(field)
		switch {
		case field.IsMap():
			fmt.Fprintf(b, "%s%-*s  %d entries\n", indent, width, name, value.Map().Len())
		case field.IsList() && field.Kind() == protoreflect.MessageKind:
			fmt.Fprintf(b, "%s%s:\n", indent, name)
			s.table(b, field, value.List(), indent+"  ")
		case field.Kind() == protoreflect.MessageKind && !field.IsList() && !single(value.Message()):
			var inner strings.Builder
			s.lines(&inner, value.Message(), indent+"  ")
			if inner.Len() > 0 {
				fmt.Fprintf(b, "%s%s:\n%s", indent, name, inner.String())
			}
		case field.IsList() && field.Kind() == protoreflect.StringKind && len(s.field(field, value)) > 100:
			fmt.Fprintf(b, "%s%s:\n", indent, name)
			for j := range value.List().Len() {
				fmt.Fprintf(b, "%s  %s\n", indent, s.scalar(field, value.List().Get(j)))
			}
		default:
			_, unit := splitUnit(string(field.Name()))
			text := s.field(field, value)
			if unit != "" {
				text += " " + unit
			}
			text = strings.ReplaceAll(text, "\n", "\n"+indent+strings.Repeat(" ", width+2))
			fmt.Fprintf(b, "%s%-*s  %s\n", indent, width, name, text)
		}
	}
}

// single reports whether a message is written as one value.
func single(m protoreflect.Message) bool {
	switch m.Interface().(type) {
	case *timestamppb.Timestamp, *durationpb.Duration:
		return true
	default:
		return false
	}
}

// table prints a list of messages with a column per field that any of them has.
func (s Style) table(b *strings.Builder, field protoreflect.FieldDescriptor, list protoreflect.List, indent string) {
	var paths []string
	fields := field.Message().Fields()
	for i := range fields.Len() {
		switch fields.Get(i).Name() {
		case "uid", "etag", "create_time", "update_time":
			continue // of a resource inside another one
		}
		for j := range list.Len() {
			if list.Get(j).Message().Has(fields.Get(i)) {
				paths = append(paths, string(fields.Get(i).Name()))
				break
			}
		}
	}
	messages := make([]proto.Message, list.Len())
	for i := range list.Len() {
		messages[i] = list.Get(i).Message().Interface()
	}
	if len(paths) == 0 {
		return
	}
	var inner strings.Builder
	rows := Table(s, messages, paths...)
	_ = rows.Write(&inner) // a strings.Builder does not fail
	for line := range strings.Lines(inner.String()) {
		b.WriteString(indent + line)
	}
}

// JSON prints messages as JSON with proto field names: one message as an object, or a list as an array.
func JSON[M proto.Message](w io.Writer, list bool, messages ...M) error {
	var compact bytes.Buffer
	if list {
		compact.WriteByte('[')
	}
	for i, message := range messages {
		if i > 0 {
			compact.WriteByte(',')
		}
		text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(message)
		if err != nil {
			return fmt.Errorf("encode: %w", err)
		}
		compact.Write(text)
	}
	if list {
		compact.WriteByte(']')
	}
	// protojson varies its white space on purpose; indenting afresh makes the output the same each time.
	var out bytes.Buffer
	err := json.Indent(&out, compact.Bytes(), "", "  ")
	if err != nil {
		return fmt.Errorf("indent: %w", err)
	}
	out.WriteByte('\n')
	_, err = w.Write(out.Bytes())
	return err
}
