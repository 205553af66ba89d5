// Package inventory is the stock of a kitchen: items, suppliers, places, deliveries, lots, moves, reservations, containers,
// shipments, and the genealogy that joins a container to the deliveries that went into it.
//
// # What it owns and keeps true
//
//   - Stock changes only by a [Move] in double entry. In every move the masses of each lot add up to zero, so nothing appears and
//     nothing vanishes; masses are integer milligrams. A batch is an account too: what goes in must come out as lots or as
//     losses before its books are closed ([Service.CloseBatch]).
//   - No place holds less than nothing, and no lot promises more than it has. The database enforces both once more.
//   - A container belongs to exactly one lot. For a packed lot the containers in the kitchen weigh what the books say.
//   - A lot that is held, expired or, where its item asks for it, not released cannot be used, packed or shipped. Nor can a lot
//     while a hold lies on anything that went into it.
//   - A shipment leaves only when the food-safety service, asked at that moment, lets every lot in it pass. No answer
//     means that nothing leaves.
//   - Moves and their entries are never changed and never deleted.
//
// # What it tells others, and hears
//
// Every change publishes a fact (events.go) in the same transaction. It hears of purchases that a plan proposes, of
// cancelled batches, of holds and of releases (inbound.go), each of them any number of times and in any order.
//
// # What it never does
//
// It does not judge food safety: it keeps what it was told and asks again before shipping. It does not know whether a batch or an outlet
// exists; their names are the business of others. It does not guess: what it cannot answer completely is an error.
package inventory
