// Package outbox makes state and event one thing: an event is a row in the database of the service that states the
// fact, written in the transaction that makes it true, and a relay brings it to the broker afterwards.
//
// Guarantees:
//   - An event exists if and only if its transaction was committed.
//   - Every event reaches the broker at least once, in the order of insertion for all events of one aggregate (two
//     transactions that change the same aggregate cannot interleave); the relay stops at the first failure instead of
//     overtaking.
//   - A consumer that applies events through [Once] applies each exactly once, because the note that it was applied is
//     committed together with the effect.
//   - Rows stay after sending, so a lost or damaged stream is rebuilt by [Republish].
//
// The package owns four tables, migrated by [Migrate] into the service's own database: outbox, inbox, parked_messages
// and request_log (idempotent calls, see package rpc).
package outbox
