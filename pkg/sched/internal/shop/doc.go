// Package shop searches for good plans of shop problems: jobs whose operations follow one another in a fixed order, each
// operation run in one of several modes, each mode taking a set of resources that serve one operation at a time. That
// covers the job shop, the flexible job shop, the flexible job shop with workers, a limited number of identical
// operators, and machines that stay blocked until the next operation takes the material. The objective is the makespan
// or the weighted tardiness of the jobs.
//
// The plan is a graph: the order of the operations on each resource. Tabu search moves operations that lie on a
// critical path to another place or mode (after Mastrolilli and Gambardella, "Effective neighbourhood functions for the
// flexible job shop problem", J. Scheduling 2000), and the best plans found are recombined by walking from one towards
// another (after Peng, Lu and Cheng, "A tabu search/path relinking algorithm to solve the job shop scheduling problem",
// Computers and Operations Research 2015). Both papers are cited from memory. Weighted tardiness and blocking are searched
// by simulated annealing instead (tardy.go, blocking.go, reinsert.go).
//
// Moves in blocks.go and the changes of mode in a problem with one resource per operation are valued by estimates, since
// many cheap moves beat fewer exact ones; where operations take several resources, a few operations of the critical path
// are valued exactly (consider). Operators of a pool are unary resources in the graph, assigned anew after every move.
//
// The search is deterministic: the same problem, seed, number of workers and iteration budget give the same result. A
// deadline is asked through a function of the caller; the package itself reads no clock.
package shop
