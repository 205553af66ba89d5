package kitchen

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// Change is what applying a file does to one resource.
type Change struct {
	Entry   *Entry
	Action  Action
	Fields  []Difference // of an update
	current proto.Message
	revised bool // the formula needs a new version
}

// Action is the kind of a change.
type Action string

// The actions of a change.
const (
	Create Action = "create"
	Update Action = "update"
	Keep   Action = "keep"
)

// Difference is one field that a file would change.
type Difference struct{ Field, From, To string }

// Compare finds what applying the file would change. It writes nothing.
func Compare(ctx context.Context, conns Conns, file *File) ([]Change, error) {
	u := suite{conns}
	changes := make([]Change, 0, len(file.Entries))
	for _, entry := range file.Entries {
		current, err := u.get(ctx, entry.section, entry.Name)
		if err != nil {
			return nil, err
		}
		change := Change{Entry: entry, Action: Create, current: current}
		if current != nil {
			change.Action = Keep
			change.Fields = differences(current.ProtoReflect(), entry.Message.ProtoReflect(), file.Site)
			if formula, ok := current.(*planningpb.Formula); ok {
				version, err := u.version(ctx, formula)
				if err != nil {
					return nil, err
				}
				inside := differences(version.ProtoReflect(), entry.Version.ProtoReflect(), file.Site)
				change.revised = len(inside) > 0
				change.Fields = append(change.Fields, inside...)
			}
			if len(change.Fields) > 0 {
				change.Action = Update
			}
		}
		changes = append(changes, change)
	}
	return changes, nil
}

// differences compares the fields that a kitchen file holds. A field that the file leaves out keeps its value.
func differences(current, wanted protoreflect.Message, site string) []Difference {
	var found []Difference
	fields := wanted.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if hidden(field) || !wanted.Has(field) || current.Get(field).Equal(wanted.Get(field)) && current.Has(field) {
			continue
		}
		found = append(found, Difference{string(field.Name()), brief(field, current, site), brief(field, wanted, site)})
	}
	return found
}

// brief writes a field's value on one short line.
func brief(field protoreflect.FieldDescriptor, m protoreflect.Message, site string) string {
	if !m.Has(field) {
		return "nothing"
	}
	if field.IsList() && field.Kind() == protoreflect.MessageKind {
		return fmt.Sprintf("%d lines", m.Get(field).List().Len())
	}
	node := encodeField(field, m.Get(field), site)
	if node == nil {
		return ""
	}
	if node.Value != "" || len(node.Content) == 0 {
		return node.Value
	}
	var parts []string
	for _, child := range node.Content {
		if child.Value != "" {
			parts = append(parts, child.Value)
		}
	}
	return strings.Join(parts, " ")
}

// Apply makes the changes in order. On a refusal it stops and names the place in the file; what was written stays, and
// applying again goes on from there. `progress` is called after each change.
func Apply(ctx context.Context, conns Conns, file *File, changes []Change, progress func(done int, change Change)) error {
	u := suite{conns}
	for i, change := range changes {
		err := u.apply(ctx, change)
		if err != nil {
			at := change.Entry.at
			return fmt.Errorf("%s:%d:%d: %s: %w", at.file, at.line, at.column, at.path, err)
		}
		if progress != nil {
			progress(i+1, change)
		}
	}
	return nil
}

func (u suite) apply(ctx context.Context, change Change) error {
	switch change.Action {
	case Create:
		return u.create(ctx, change.Entry)
	case Update:
		var paths []string
		for _, difference := range change.Fields {
			if change.current.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(difference.Field)) != nil {
				paths = append(paths, difference.Field)
			}
		}
		if len(paths) > 0 {
			err := u.update(ctx, change.Entry, change.current, paths)
			if err != nil {
				return err
			}
		}
		if change.revised {
			return u.revise(ctx, change.Entry)
		}
	}
	return nil
}

// Export reads a site's resources as the entries of a kitchen file.
func Export(ctx context.Context, conns Conns, site string) ([]*Entry, error) {
	u := suite{conns}
	var entries []*Entry
	for i := range sections {
		s := &sections[i]
		var found []proto.Message
		if s.single {
			one, err := u.get(ctx, s, s.name(site, ""))
			if err != nil {
				return nil, err
			}
			if one != nil {
				found = append(found, one)
			} else if s.key == "site" {
				return nil, fmt.Errorf("there is no kitchen %s here; `rondeau site list` shows those there are", strings.TrimPrefix(site, "sites/"))
			}
		} else {
			all, err := u.list(ctx, s, site)
			if err != nil {
				return nil, err
			}
			found = all
		}
		for _, message := range found {
			entry := &Entry{Message: message, section: s}
			entry.Name = message.ProtoReflect().Get(message.ProtoReflect().Descriptor().Fields().ByName("name")).String()
			if s.key == "limits_profiles" && builtInProfile(entry.Name) {
				continue
			}
			if formula, ok := message.(*planningpb.Formula); ok {
				version, err := u.version(ctx, formula)
				if err != nil {
					return nil, err
				}
				entry.Version = version
			}
			entries = append(entries, entry)
		}
	}
	return entries, nil
}
