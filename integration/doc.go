// Package integration holds black-box tests of the suite in its production shape: a process per service, a broker of
// its own, mutual TLS. They ask what a person and an operator ask: is nothing lost and nothing doubled when processes
// are killed, does the kitchen go on while a part is away, can a request be followed through all services.
//
// They have the build tag "integration" and need nothing but Go, and for the tests in containers Docker and the
// PostgreSQL server programs, from which the images are made; nothing is pulled:
//
//	go test -tags=integration ./integration/...
//	RONDEAU_REQUIRE=docker,postgres go test -tags=integration ./integration/...   # missing means failed
//
// Whatever is left to chance comes from a seed, which is printed; RONDEAU_SEED sets it. The logs of the processes or
// containers of a failed test are printed; RONDEAU_KEEP_LOGS=folder keeps them whole.
//
// Package harness brings the suite up; see there how to write such a test.
package integration
