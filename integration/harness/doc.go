// Package harness brings the suite up in its production shape, for tests that treat it as a whole.
//
// [Containers] reads deploy/compose.yaml, builds its images with deploy/images.sh once per test process, and starts what
// the file says with testcontainers: images, commands, environments, volumes, order of start, ports. What it adds is a
// simulated clock (a mounted file and --clock-file), labels, and ports on 127.0.0.1 that Docker chooses. What it leaves
// out is "restart:", because a test decides itself when something comes back.
//
// [Processes] is the faster twin: the same program with the same flags as child processes, each with an SQLite file or
// an own PostgreSQL database, and nats-server with deploy/nats.conf. Only here a process can be started with more
// environment, which arms a crash point (see package fault; both kinds of program are built with them).
//
//	s := harness.Processes(t, harness.Options{})
//	orders := planningpb.NewPlanningServiceClient(s.Conns(person)("planning"))
//	...
//	s.Kill9("planning")
//	s.Start("planning")            // or s.Start("planning", "RONDEAU_FAULT=outbox.after_publish")
//	s.Settle(30 * time.Second)     // until every event has had its effect
//
// A connection of [Suite.Conns] follows its service over restarts. Everything ends with the test: children are killed by
// their own id (and end with the test process on Linux, however it ends), containers, networks and volumes are removed.
// What an earlier test process left behind, because it was killed itself, is removed at the next start: only things
// that carry the label org.testcontainers=true and were made by a harness whose process no longer exists.
//
// A TestMain calls [Main], which removes the built programs at the end.
package harness
