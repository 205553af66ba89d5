// Package sqlstore keeps the resources of planning in a SQL database of either dialect.
//
// Each resource is one row: columns for what is searched, ordered and constrained, and the whole resource as a JSON
// document. Both are written in one place, so that they cannot differ. Name, uid, version and times are read from the
// columns.
package sqlstore
