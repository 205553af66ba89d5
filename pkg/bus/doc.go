// Package bus carries events between services over NATS JetStream.
//
// The database is the truth and the stream a delivery log: losing or replaying a whole stream loses or doubles no fact,
// because producers keep their events (package outbox) and consumers note what they applied in the transaction of the effect.
//
// Streams: one per service, RONDEAU_PLANNING for rondeau.planning.v1.> and so on, kept on disk without age limit; nobody
// can delete or purge messages. The embedded server acknowledges a message only after it is on the disk.
//
// Headers of a message are those of the CloudEvents binding for NATS (ce-id, ce-source, ce-type, ce-time, ce-subject,
// ce-specversion), traceparent, and Nats-Msg-Id for the broker's own window of duplicates.
package bus
