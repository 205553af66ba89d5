// Package gs1 reads and writes the identification of the GS1 General Specifications: keys with
// check digits (GTIN, GLN, SSCC), element strings of application identifiers, what a scanner sends, and
// GS1 Digital Link URIs.
//
// A [Message] is a list of [Element]. It can be written as an element string for a symbol
// ([Message.Encode]), as text for people with AIs in brackets ([Message.String]) and
// as a URI ([Message.DigitalLink]); the Parse functions read each back. Parsing checks the form of every element: length,
// character set, check digit, date. [Message.Check] checks the elements together: which need and which
// exclude each other.
//
// The table of application identifiers covers what a kitchen that makes, packs and ships food
// needs, see [Lookup]; others are refused by name rather than guessed at. Whether a country code exists or a
// company prefix is assigned is not checked. Short forms of GTINs in URIs are refused.
package gs1
