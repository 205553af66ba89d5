// Package fault marks the places where a crash is most interesting, so that a test can end the process exactly there.
//
// A normal build contains none of it. Built with the tag "faultpoints", a process ends at a point that the environment
// names:
//
//	RONDEAU_FAULT=outbox.after_publish            exit at the first pass
//	RONDEAU_FAULT=outbox.after_publish:3          exit at the third pass
//	RONDEAU_FAULT=tx.before_commit:2:panic        panic instead of exit
//	RONDEAU_FAULT=a:1:exit,b:5:panic              several points
//
// "exit" ends the process at once with status 86, without deferred calls, as a kill would.
//
// Points: outbox.after_append, outbox.before_publish, outbox.after_publish, inbox.before_commit, inbox.after_commit,
// tx.before_commit, tx.after_commit.
package fault

// ExitStatus is the status with which an armed point ends the process.
const ExitStatus = 86

// Env is the environment variable that arms points.
const Env = "RONDEAU_FAULT"
