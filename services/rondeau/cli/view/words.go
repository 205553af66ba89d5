package view

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// EnumWords writes an enum value as people do: without the prefix that repeats the enum's name, in small letters.
func EnumWords(value protoreflect.EnumValueDescriptor) string {
	name := string(value.Name())
	prefix := strings.ToUpper(strings.ReplaceAll(spaced(string(value.Parent().Name())), " ", "_")) + "_"
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}

// EnumValue finds the value that a person's words mean; false when there is none. Zero values are never found.
func EnumValue(enum protoreflect.EnumDescriptor, words string) (protoreflect.EnumNumber, bool) {
	wanted := strings.ToLower(strings.NewReplacer("_", " ", "-", " ").Replace(strings.TrimSpace(words)))
	for i := range enum.Values().Len() {
		value := enum.Values().Get(i)
		if value.Number() != 0 && (EnumWords(value) == wanted || strings.ToLower(strings.ReplaceAll(string(value.Name()), "_", " ")) == wanted) {
			return value.Number(), true
		}
	}
	return 0, false
}

// EnumChoices lists all words of an enum but its zero value.
func EnumChoices(enum protoreflect.EnumDescriptor) string {
	var choices []string
	for i := range enum.Values().Len() {
		if value := enum.Values().Get(i); value.Number() != 0 {
			choices = append(choices, EnumWords(value))
		}
	}
	return strings.Join(choices, ", ")
}
