package view

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Rows is a table of ready text.
type Rows struct {
	Header []string
	Right  []bool // column holds numbers and is aligned right
	Lines  [][]string
}

// Table renders messages of one type with a column per field path, such as "name", "planned_output_kg" or
// "latest.temperature_celsius". A path that the message does not have panics: it is a mistake of the program.
// The column "name" shows ids only.
func Table[M proto.Message](s Style, messages []M, paths ...string) Rows {
	rows := Rows{Right: make([]bool, len(paths))}
	for _, path := range paths {
		rows.Header = append(rows.Header, header(path))
	}
	for _, message := range messages {
		line := make([]string, len(paths))
		for i, path := range paths {
			text, number := s.at(message.ProtoReflect(), path)
			line[i] = text
			rows.Right[i] = rows.Right[i] || number
		}
		rows.Lines = append(rows.Lines, line)
	}
	if len(messages) > 0 && paths[0] == "name" {
		rows.Header[0] = strings.ToUpper(spaced(string(messages[0].ProtoReflect().Descriptor().Name())))
	}
	return rows
}

// spaced parts a CamelCase word: "LimitsProfile" is "Limits Profile".
func spaced(camel string) string {
	var b strings.Builder
	for i, r := range camel {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// at follows a path; a missing message on the way gives an empty cell.
func (s Style) at(m protoreflect.Message, path string) (text string, number bool) {
	first, rest, deeper := strings.Cut(path, ".")
	field := m.Descriptor().Fields().ByName(protoreflect.Name(first))
	if field == nil {
		panic(fmt.Sprintf("view: %s has no field %q", m.Descriptor().FullName(), first))
	}
	if deeper {
		if field.IsList() {
			return fmt.Sprint(m.Get(field).List().Len()), true
		}
		if !m.Has(field) {
			return "", false
		}
		return s.at(m.Get(field).Message(), rest)
	}
	if field.HasPresence() && !m.Has(field) {
		return "", false
	}
	value := m.Get(field)
	switch {
	case field.IsList() && field.Kind() == protoreflect.MessageKind:
		return fmt.Sprint(value.List().Len()), true
	case first == "name":
		return s.ID(value.String()), false
	case field.Kind() == protoreflect.StringKind && !field.IsList() && s.Site != "" && strings.HasPrefix(value.String(), s.Site+"/") && !mixed[field.Name()]:
		return s.ID(value.String()), false
	}
	return s.field(field, value), numeric(field)
}

func numeric(field protoreflect.FieldDescriptor) bool {
	switch field.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind, protoreflect.Int32Kind, protoreflect.Int64Kind:
		return !field.IsList()
	default:
		return false
	}
}

// Write prints the table with two spaces between columns. Columns that are empty or zero in every line are
// left out.
func (r Rows) Write(w io.Writer) error {
	width := make([]int, len(r.Header))
	filled := make([]bool, len(r.Header))
	for i, h := range r.Header {
		width[i] = utf8.RuneCountInString(h)
	}
	for _, line := range r.Lines {
		for i, cell := range line {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
			filled[i] = filled[i] || (cell != "" && cell != "0")
		}
	}
	var b strings.Builder
	for n, line := range append([][]string{r.Header}, r.Lines...) {
		start := b.Len()
		for i, cell := range line {
			if !filled[i] && len(r.Lines) > 0 {
				continue
			}
			if b.Len() > start {
				b.WriteString("  ")
			}
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if i < len(r.Right) && r.Right[i] {
				b.WriteString(pad + cell)
			} else {
				b.WriteString(cell + pad)
			}
		}
		text := strings.TrimRight(b.String()[start:], " ")
		_, err := fmt.Fprintln(w, text)
		if err != nil {
			return fmt.Errorf("write line %d: %w", n, err)
		}
	}
	return nil
}
