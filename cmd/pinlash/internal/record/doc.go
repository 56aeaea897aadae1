// Package record has the one form in which a result leaves pinlash, and its
// writers: a table for people, a JSON line for programs.
//
// The JSON is a contract: schema.json describes it, and every printed line is
// held against it in the tests. Its numbers are always finite.
package record
