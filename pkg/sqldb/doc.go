// Package sqldb gives every store one database, in one of two dialects, with the guarantees that a kitchen's records need.
//
// What it promises:
//   - A write transaction that returned nil is on the disk: SQLite runs in WAL mode with synchronous=FULL, PostgreSQL
//     with synchronous_commit=on ([DB.Durability] shows the settings).
//   - Write transactions are serializable. On SQLite there is one writer at a time; on PostgreSQL the whole function is
//     run again, a bounded number of times, when the database reports a conflict. The function must therefore have no
//     effect outside of the transaction, except through [DB.AfterCommit].
//   - [DB.InTx] is atomic also when it joins an outer transaction: an inner failure undoes the inner part (savepoint).
//   - Writing outside of InTx fails: what Conn returns without a transaction is read only.
//
// Both drivers accept $1 placeholders, so one set of queries serves both dialects as long as it uses no vendor
// functions. Column conventions: text for names; bigint for integers, for times (unix microseconds UTC, suffix _us) and
// for conserved masses (milligrams, suffix _mg); civil days as text YYYY-MM-DD; boolean; double precision for measured
// values; JSON documents as text.
package sqldb
