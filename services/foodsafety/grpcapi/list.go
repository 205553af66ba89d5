package grpcapi

import (
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/services/foodsafety"
)

// listRequest is what every list request of the service has.
type listRequest interface {
	proto.Message
	GetParent() string
	GetPageSize() int32
	GetPageToken() string
}

// listOptions declares the filterable fields of a list, the one field it can be ordered by, and its page sizes.
type listOptions struct {
	fields       aip.Fields
	order        string // "" : by name only
	size, atMost int    // 0: 50 and 1000
}

// list is a checked list request.
type list struct {
	page  foodsafety.Page
	token aip.Page
}

func newList(q listRequest, o listOptions, filter, orderBy string) (*list, error) {
	if o.size == 0 {
		o.size, o.atMost = 50, 1000
	}
	token, err := aip.ParsePage(q.GetPageSize(), q.GetPageToken(), q, o.size, o.atMost)
	if err != nil {
		return nil, err
	}
	parsed, err := aip.ParseFilter(filter, o.fields)
	if err != nil {
		return nil, err
	}
	l := &list{token: token, page: foodsafety.Page{Site: q.GetParent(), Filter: parsed, Cursor: token.Cursor, Limit: token.Size}}
	if o.order != "" {
		order, err := aip.ParseOrderBy(orderBy, map[string]string{o.order: o.order}, o.order)
		if err != nil {
			return nil, err
		}
		l.page.Descending = order.Terms[0].Desc
	}
	return l, nil
}

// next is the token of the page after these results, "" when there is none.
func next[T any](l *list, results []T, more bool, cursor func(T) []string) string {
	if !more || len(results) == 0 {
		return ""
	}
	return l.token.Next(cursor(results[len(results)-1])...)
}

func micros(t time.Time) string { return strconv.FormatInt(t.UnixMicro(), 10) }

func text(column string) aip.Field    { return aip.Field{Column: column, Type: aip.String} }
func moments(column string) aip.Field { return aip.Field{Column: column, Type: aip.Timestamp} }

// words is an enum field whose column holds the names of the API.
func words(column string, values map[string]int32) aip.Field {
	names := make(map[string]any, len(values))
	for name, number := range values {
		if number != 0 {
			names[name] = name
		}
	}
	return aip.Field{Column: column, Type: aip.Enum, Values: names}
}
