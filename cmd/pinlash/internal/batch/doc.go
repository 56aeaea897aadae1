// Package batch measures a list of photos so that the run may be stopped at
// any moment, split over several machines, and repeated for nothing.
//
// # The ledger
//
// A folder's results.jsonl is the only state. Every finished task adds one
// line to it in a single write, so that neither an interrupt nor the kill of
// the program loses what is finished; the disk has it within half a second,
// for when the power fails. A line carries its task in batch.task: the SHA-256
// of the work's name, its settings and the contents of its inputs. The next
// run keeps every line whose task is still in its work and whose pictures
// (batch.pictures) are in the folder, and measures the rest. Contents are
// always read, never guessed from size or date.
//
// Once every task has its line, the ledger is replaced by the lines in the
// order of the work with the further lines of whole chains at its end, and
// results.csv, which has the same figures one a row, is written beside it.
// Both appear whole or not at all, and are left alone where they would be the
// same. They depend on nothing but the work: a run that was killed and taken
// up again, or split into shards, ends with the same bytes as one that was
// left in peace. Until then results.csv is that of the last run that ended.
// Tasks that could not be measured by a fault of pinlash are missing in both.
//
// A last line that was cut short by a kill is dropped. A ledger that is broken
// elsewhere, or holds lines that no batch wrote, is left as it is, and the
// error says what to do. The file is locked while a run is at work, so that a
// second is refused; the lock goes with the program however it ends. On a file
// system that knows no locks there is none, and nobody must start two.
//
// A task whose photo was refused is finished. One whose input could not be
// read is tried again by the next run, and so is one that could not be
// measured by a fault of pinlash.
//
// # Shards
//
// Shard K of N measures the works i with i mod N = K-1 and writes
// results-K-of-N.jsonl, its own ledger, to which it only adds. All shards may
// run at once, in one folder or in folders whose shard files are brought
// together afterwards. [Join] then makes results.jsonl and results.csv of
// them, or says which shards have to be run again.
package batch
