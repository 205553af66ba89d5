package cli

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/units"
)

func envOr(name, otherwise string) string {
	if value := os.Getenv(name); value != "" {
		return value
	}
	return otherwise
}

// newRequestID names one change, so that sending it again after a broken connection changes nothing twice.
func newRequestID() string { return uuid.NewString() }

// pair parts KEY=VALUE.
func pair(word, shape string) (key, value string, err error) {
	key, value, found := strings.Cut(word, "=")
	if !found || key == "" || value == "" {
		return "", "", usagef("%q: give it as %s", word, shape)
	}
	return key, value, nil
}

// mass reads a mass such as 12.5kg, 10 lb or a plain number of kilograms.
func mass(text string) (float64, error) {
	if number, err := strconv.ParseFloat(text, 64); err == nil {
		return number, nil
	}
	m, err := units.ParseMass(text)
	if err != nil {
		return 0, usagef("%v", err)
	}
	return m.Kilograms(), nil
}

// temperature reads 4C, 39.2F or a plain number of degrees Celsius.
func temperature(text string) (float64, error) {
	if number, err := strconv.ParseFloat(text, 64); err == nil {
		return number, nil
	}
	t, err := units.ParseTemperature(text)
	if err != nil {
		return 0, usagef("%v", err)
	}
	return float64(t.Celsius()), nil
}

func count(text string) (int32, error) {
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil {
		return 0, usagef("%q is not a whole number", text)
	}
	return int32(n), nil
}

// moment reads RFC 3339, or a civil time without zone, which is taken in the site's zone; "" is no moment.
func moment(text string, zone *time.Location) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return timestamppb.New(t), nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return timestamppb.New(t), nil
		}
	}
	return nil, usagef("%q is not a moment; give it as 2027-03-01T14:30 in the kitchen's time, or with a zone as 2027-03-01T14:30:00Z", text)
}

// day checks a civil day.
func day(text string) (string, error) {
	_, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return "", usagef("%q is not a day; give it as 2027-03-01", text)
	}
	return text, nil
}

// perItem reads words ITEM=QUANTITY and gives each with its full item name.
func perItem[T any](a *app, words []string, shape, pattern string, read func(string) (T, error), each func(name string, value T)) error {
	for _, word := range words {
		id, text, err := pair(word, shape)
		if err != nil {
			return err
		}
		value, err := read(text)
		if err != nil {
			return fmt.Errorf("%s: %w", id, err)
		}
		name, err := a.name(pattern, id)
		if err != nil {
			return err
		}
		each(name, value)
	}
	return nil
}

// dayAfter adds a number of days to a civil day.
func dayAfter(start, days string) (string, error) {
	first, err := time.Parse(time.DateOnly, start)
	if err != nil {
		return "", usagef("%q is not a day; give it as 2027-03-01", start)
	}
	n, err := strconv.Atoi(days)
	if err != nil || n < 1 || n > 366 {
		return "", usagef("%q is not a number of days from 1 to 366", days)
	}
	return first.AddDate(0, 0, n).Format(time.DateOnly), nil
}

func (a *app) requestID() string {
	if a.request != "" {
		return a.request
	}
	return newRequestID()
}

// article puts "a" or "an" before a word.
func article(word string) string {
	if strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}
