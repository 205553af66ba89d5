package foodsafety

import "time"

// Lot is what the service knows of a lot of the inventory: enough to judge it.
type Lot struct {
	Name       string
	Item       string
	Batch      string   // batch that made it, "" for a lot bought in
	Inputs     []string // lots that it was made from
	CreateTime time.Time
}

// Made says that the lot was made here and needs a release.
func (l *Lot) Made() bool { return l.Batch != "" }

// LotStatus is the safety state of one lot.
type LotStatus struct {
	Lot        string
	Known      bool
	Made       bool
	Released   bool
	Clear      bool // no hold, no open deviation on it, its batch or an ancestor; every ancestor known
	Shippable  bool
	Holds      []string
	Deviations []string
	Reasons    []string
}

// Release is the signed decision that a lot may be shipped.
type Release struct {
	Name               string
	UID                string
	Lot                string
	Batch              string
	Signer             string
	SignTime           time.Time
	Sequence           int64 // of the signature in the audit trail
	Meaning            string
	Note               string
	NoChillReason      string
	ReviewedChills     []string
	ReviewedDeviations []string
	RecordMakers       []string
	Voided             bool // computed: a hold was placed after the signature
}

// Meaning of the signature under a release.
const releaseMeaning = "I reviewed the records of this lot, its batch and the lots it was made from, and release it for shipment."

// Record is one entry of the audit trail.
type Record struct {
	Site       string
	Sequence   int64
	Resource   string
	Action     string
	Actor      string
	ActorRole  string
	RecordTime time.Time
	OldValue   string // JSON, "" for a new resource
	NewValue   string // JSON
	Reason     string
}

// Name is the resource name of the entry.
func (r *Record) Name() string { return nameOf(r.Site, recordsCollection, itoa(r.Sequence)) }

// Cursor is the place of the entry in lists.
func (r *Record) Cursor() string { return itoa(r.Sequence) }
