// Package kitchen reads and writes kitchen files: the declarative description of one site that a manager keeps as
// YAML. A file names the site, its suppliers and items, vessels, crews, calendars, formulas, products, outlets and
// pars; orders and deliveries may be added from CSV.
//
// The format follows the API. A section holds one kind of resource by id, and the keys below an id are the fields of
// that resource, with three conveniences for people:
//
//   - A field that ends in a unit may be written without it and with any unit of that kind: `mass: 10 lb` for
//     `mass_kg`, `max_receipt_temperature: 41 F` for `max_receipt_temperature_celsius`, `hold: 8 h` for `hold_duration`.
//   - A reference to a resource is its id: `item: veal-bones`.
//   - An enumeration is written in words: `kind: purchased`.
//
// Reading checks everything before anything is written and reports every fault with line and column. Applying a file
// is idempotent: what is already as the file says is left alone, and the plan of changes can be shown first.
package kitchen
