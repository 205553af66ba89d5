package kitchen

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"

	"buf.build/go/protovalidate"
	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/gs1"
)

// formatVersion is the version of the file format, the value of the first key.
const formatVersion = "1"

// Entry is one resource of a file.
type Entry struct {
	Name    string                     // resource name
	Message proto.Message              // the resource
	Version *planningpb.FormulaVersion // what a formula says; nil for other kinds
	section *section
	at      position
}

// Kind is the section that the entry stands in, such as "formulas".
func (e *Entry) Kind() string { return e.section.key }

// ID is the last part of the entry's name.
func (e *Entry) ID() string { return e.Name[strings.LastIndex(e.Name, "/")+1:] }

// File is a kitchen file that was read and checked by itself.
type File struct {
	Site    string // resource name
	Entries []*Entry
	seen    map[string]position
}

var idShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// Load reads a kitchen file. Its error is Faults when the file can be read but is wrong.
func Load(path string) (*File, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read kitchen file: %w", err)
	}
	return Parse(path, text)
}

// Parse reads the text of a kitchen file; `path` names it in faults.
func Parse(path string, text []byte) (*File, error) {
	var root yaml.Node
	err := yaml.Unmarshal(text, &root)
	if err != nil {
		return nil, Faults{{File: path, Line: 1, Column: 1, Text: strings.TrimPrefix(err.Error(), "yaml: ")}}
	}
	d := &decoder{file: path, patterns: patterns(), seen: map[string]position{}}
	file := d.root(&root)
	if len(d.faults) == 0 {
		d.validate(file)
	}
	if len(d.faults) > 0 {
		return nil, d.faults.sorted()
	}
	file.seen = d.seen
	return file, nil
}

func (d *decoder) root(document *yaml.Node) *File {
	file := &File{}
	if document.Kind != yaml.DocumentNode || len(document.Content) == 0 || document.Content[0].Kind != yaml.MappingNode {
		d.faults = append(d.faults, Fault{File: d.file, Line: 1, Column: 1, Text: "the file is empty; it begins with 'kitchen: 1' and a section 'site'"})
		return file
	}
	root := document.Content[0]
	parts := map[string]*yaml.Node{}
	for i := 0; i+1 < len(root.Content); i += 2 {
		key, value := root.Content[i], root.Content[i+1]
		if _, twice := parts[key.Value]; twice {
			d.fault(key, key.Value, "section given twice")
			continue
		}
		parts[key.Value] = value
		if key.Value != "kitchen" && sectionByKey(key.Value) == nil {
			d.fault(key, key.Value, "no such section; the sections are %s", sectionKeys())
		}
	}
	version := parts["kitchen"]
	if version == nil || version.Value != formatVersion {
		d.fault(root, "kitchen", "the file must say 'kitchen: %s', the version of the format", formatVersion)
	}
	d.siteName(root, parts["site"])
	file.Site = d.site
	if d.site == "" {
		return file
	}
	for i := range sections {
		if node := parts[sections[i].key]; node != nil {
			file.Entries = append(file.Entries, d.section(&sections[i], node)...)
		}
	}
	return file
}

func sectionKeys() string {
	keys := make([]string, len(sections))
	for i := range sections {
		keys[i] = sections[i].key
	}
	return strings.Join(keys, ", ")
}

// siteName takes the key `id` out of the section `site`.
func (d *decoder) siteName(root, node *yaml.Node) {
	if node == nil || node.Kind != yaml.MappingNode {
		d.fault(root, "site", "the file needs a section 'site' with at least id, display_name and time_zone")
		return
	}
	for i := 0; i+1 < len(node.Content); i += 2 {
		if node.Content[i].Value != "id" {
			continue
		}
		if !idShape.MatchString(node.Content[i+1].Value) {
			d.fault(node.Content[i+1], "site.id", "an id has 1 to 63 small letters, digits and hyphens, got %q", node.Content[i+1].Value)
			return
		}
		d.site = "sites/" + node.Content[i+1].Value
		node.Content = append(node.Content[:i:i], node.Content[i+2:]...)
		return
	}
	d.fault(node, "site.id", "missing")
}

func (d *decoder) section(s *section, node *yaml.Node) []*Entry {
	node = resolve(node)
	if s.single {
		return []*Entry{d.entry(s, node, node, s.name(d.site, ""), s.key)}
	}
	if node.Kind != yaml.MappingNode {
		d.fault(node, s.key, "expected an id and its fields on each line below, got %s", describe(node))
		return nil
	}
	var entries []*Entry
	first := map[string]int{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		key, value := node.Content[i], node.Content[i+1]
		path := join(s.key, key.Value)
		if !idShape.MatchString(key.Value) {
			d.fault(key, path, "an id has 1 to 63 small letters, digits and hyphens, got %q", key.Value)
			continue
		}
		if line, twice := first[key.Value]; twice {
			d.fault(key, path, "given twice; first on line %d", line)
			continue
		}
		first[key.Value] = key.Line
		entries = append(entries, d.entry(s, key, resolve(value), s.name(d.site, key.Value), path))
	}
	return entries
}

// entry reads one resource. Resources are active unless the file says otherwise.
func (d *decoder) entry(s *section, key, node *yaml.Node, name, path string) *Entry {
	message := s.prototype.ProtoReflect().New()
	entry := &Entry{Name: name, Message: message.Interface(), section: s, at: position{d.file, key.Line, key.Column, path}}
	fields := message.Descriptor().Fields()
	message.Set(fields.ByName("name"), protoreflect.ValueOfString(name))
	if active := fields.ByName("active"); active != nil && !hidden(active) {
		message.Set(active, protoreflect.ValueOfBool(true))
	}
	if s.key == "formulas" {
		entry.Version = &planningpb.FormulaVersion{}
		own, rest := d.partFormula(node, message.Descriptor())
		d.message(own, message, name, "", path)
		d.message(rest, entry.Version.ProtoReflect(), name, "version", path)
		return entry
	}
	d.message(node, message, name, "", path)
	return entry
}

// partFormula parts the keys of the formula itself from those of its version, which a file gives together.
func (d *decoder) partFormula(node *yaml.Node, formula protoreflect.MessageDescriptor) (own, rest *yaml.Node) {
	own, rest = &yaml.Node{Kind: yaml.MappingNode, Line: node.Line, Column: node.Column}, &yaml.Node{}
	*rest = *node
	if node.Kind != yaml.MappingNode {
		return own, rest
	}
	rest.Content = nil
	for i := 0; i+1 < len(node.Content); i += 2 {
		target := rest
		if field := formula.Fields().ByName(protoreflect.Name(node.Content[i].Value)); field != nil && !hidden(field) {
			target = own
		}
		target.Content = append(target.Content, node.Content[i], node.Content[i+1])
	}
	return own, rest
}

// validate applies the shape rules of the protos and the rules that a file can be checked against by itself.
func (d *decoder) validate(file *File) {
	for _, entry := range file.Entries {
		d.required(entry, entry.Message.ProtoReflect(), "")
		d.shape(entry, entry.Message, "")
		if entry.Version != nil {
			d.required(entry, entry.Version.ProtoReflect(), "version")
			d.shape(entry, entry.Version, "version")
		}
		d.checkDigits(entry)
	}
	d.references(file)
}

// required finds needed fields that are not given. A number has no "not given" of its own; its bounds are its rule.
func (d *decoder) required(entry *Entry, m protoreflect.Message, path string) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		at := join(path, string(field.Name()))
		named := field.Kind() == protoreflect.StringKind || field.Kind() == protoreflect.EnumKind || field.Kind() == protoreflect.MessageKind || field.IsList()
		switch {
		case hidden(field):
		case named && !m.Has(field) && behaves(field, annotations.FieldBehavior_REQUIRED):
			d.at(entry, at, "is needed")
		case field.Kind() != protoreflect.MessageKind || wellKnown(field.Message()) || field.IsMap():
		case field.IsList():
			for j := range m.Get(field).List().Len() {
				d.required(entry, m.Get(field).List().Get(j).Message(), fmt.Sprintf("%s[%d]", at, j))
			}
		case m.Has(field):
			d.required(entry, m.Get(field).Message(), at)
		}
	}
}

func (d *decoder) shape(entry *Entry, message proto.Message, prefix string) {
	err := protovalidate.Validate(message)
	var invalid *protovalidate.ValidationError
	if errors.As(err, &invalid) {
		for _, violation := range invalid.Violations {
			field := join(prefix, protovalidate.FieldPathString(violation.Proto.GetField()))
			if d.noted(entry, field) {
				continue
			}
			d.at(entry, field, violation.Proto.GetMessage())
		}
		return
	}
	if err != nil {
		d.at(entry, prefix, err.Error())
	}
}

// noted reports whether a fault was told for a needed field already.
func (d *decoder) noted(entry *Entry, field string) bool {
	_, given := d.seen[entry.Name+"\x00"+field]
	last := strings.TrimPrefix(field, "version.")
	for _, fault := range d.faults {
		if !given && strings.HasSuffix(fault.Text, "is needed") && strings.HasSuffix(last, strings.TrimSuffix(fault.Text, ": is needed")) {
			return true
		}
	}
	return false
}

// at notes a fault at the place of a field, or of the nearest thing around it that the file holds.
func (d *decoder) at(entry *Entry, field, text string) {
	at, found := d.seen[entry.Name+"\x00"+field]
	missing := field
	for !found && field != "" {
		field = field[:max(0, strings.LastIndexAny(field, ".["))]
		at, found = d.seen[entry.Name+"\x00"+field]
	}
	if !found {
		at = entry.at
	}
	if missing != field && missing != "version" {
		rest := strings.Trim(strings.TrimPrefix(missing, field), ".")
		text = strings.TrimPrefix(rest, "version.") + ": " + text
	}
	d.faults = append(d.faults, Fault{File: at.file, Line: at.line, Column: at.column, Path: at.path, Text: text})
}

// checkDigits tests the GS1 keys, whose check digits no pattern can see.
func (d *decoder) checkDigits(entry *Entry) {
	message := entry.Message.ProtoReflect()
	for _, name := range []protoreflect.Name{"gln", "gtin"} {
		field := message.Descriptor().Fields().ByName(name)
		if field == nil || message.Get(field).String() == "" {
			continue
		}
		digits := message.Get(field).String()
		err := gs1.GLN.Check(digits)
		if name == "gtin" {
			_, err = gs1.PadGTIN(digits)
		}
		if err != nil {
			d.at(entry, string(name), err.Error())
		}
	}
}

// references finds ids that the file refers to but does not hold. The built-in limits profiles need no entry.
func (d *decoder) references(file *File) {
	have := map[string]bool{}
	collections := map[string][]string{}
	for _, entry := range file.Entries {
		have[entry.Name] = true
		collections[entry.section.typeName()] = append(collections[entry.section.typeName()], entry.ID())
	}
	for _, entry := range file.Entries {
		look := func(field string, kind, name string) {
			if have[name] || kind == "rondeau.internal/LimitsProfile" && builtInProfile(name) {
				return
			}
			text := fmt.Sprintf("%s is not in this file", strings.TrimPrefix(name, file.Site+"/"))
			if near := closest(name[strings.LastIndex(name, "/")+1:], collections[kind]); near != "" {
				text += fmt.Sprintf("; did you mean %q?", near)
			}
			d.at(entry, field, text)
		}
		refer(entry.Message.ProtoReflect(), "", look)
		if entry.Version != nil {
			refer(entry.Version.ProtoReflect(), "version", look)
		}
	}
}

func builtInProfile(name string) bool {
	id := name[strings.LastIndex(name, "/")+1:]
	return strings.HasPrefix(id, "us-food-code-") || strings.HasPrefix(id, "uk-")
}

// refer calls fn for every reference below m that is set.
func refer(m protoreflect.Message, path string, fn func(field, kind, name string)) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		at := join(path, string(field.Name()))
		reference, _ := proto.GetExtension(field.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference)
		switch {
		case hidden(field):
		case field.IsList() && field.Kind() == protoreflect.MessageKind:
			for i := range value.List().Len() {
				refer(value.List().Get(i).Message(), fmt.Sprintf("%s[%d]", at, i), fn)
			}
		case field.IsList() && reference != nil:
			for i := range value.List().Len() {
				fn(fmt.Sprintf("%s[%d]", at, i), reference.GetType(), value.List().Get(i).String())
			}
		case field.Kind() == protoreflect.MessageKind && !field.IsMap() && !field.IsList():
			refer(value.Message(), at, fn)
		case reference != nil && patterns()[reference.GetType()] != "":
			fn(at, reference.GetType(), value.String())
		}
		return true
	})
}
