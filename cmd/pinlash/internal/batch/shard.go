package batch

import (
	"fmt"
	"strconv"
	"strings"
)

// Shard is one of N parts of the work, K from 1. The zero Shard is the whole.
type Shard struct{ K, N int }

// ParseShard reads a shard as String writes it, such as 2/8.
func ParseShard(s string) (Shard, error) {
	k, n, ok := strings.Cut(s, "/")
	part, err1 := strconv.ParseUint(k, 10, 31)
	parts, err2 := strconv.ParseUint(n, 10, 31)
	if !ok || err1 != nil || err2 != nil || part < 1 || part > parts {
		return Shard{}, fmt.Errorf("%q is no shard: it wants K/N, such as 2/8, K from 1 to N", s)
	}
	return Shard{int(part), int(parts)}, nil
}

// Whole says whether the shard is all of the work, and not one part of one.
func (s Shard) Whole() bool { return s.N == 0 }

// Has says whether work i is the shard's.
func (s Shard) Has(i int) bool { return s.Whole() || i%s.N == s.K-1 }

func (s Shard) String() string { return fmt.Sprintf("%d/%d", s.K, s.N) }

// File is the name of the shard's ledger.
func (s Shard) File() string {
	if s.Whole() {
		return Results
	}
	return fmt.Sprintf("results-%d-of-%d.jsonl", s.K, s.N)
}

// shardOfFile returns the shard whose ledger has that name.
func shardOfFile(name string) (Shard, bool) {
	middle, ok := strings.CutPrefix(name, "results-")
	middle, jsonl := strings.CutSuffix(middle, ".jsonl")
	k, n, of := strings.Cut(middle, "-of-")
	s, err := ParseShard(k + "/" + n)
	return s, ok && jsonl && of && err == nil && s.File() == name
}

// ShardFromEnv returns the shard that a cluster's scheduler gave this process
// in its environment, and who did. ok is false when none did.
//
// A SLURM job array numbers its tasks in SLURM_ARRAY_TASK_ID, from
// SLURM_ARRAY_TASK_MIN in steps of SLURM_ARRAY_TASK_STEP, and says in
// SLURM_ARRAY_TASK_COUNT how many there are. An indexed Kubernetes job numbers
// its pods in JOB_COMPLETION_INDEX from 0; PINLASH_SHARDS has to say how many
// there are.
func ShardFromEnv(getenv func(string) string) (shard Shard, source string, ok bool, err error) {
	switch {
	case getenv("SLURM_ARRAY_TASK_ID") != "":
		shard, err = slurmShard(getenv)
		return shard, "SLURM job array", err == nil, err
	case getenv("JOB_COMPLETION_INDEX") != "":
		shard, err = indexedShard(getenv)
		return shard, "indexed job", err == nil, err
	}
	return Shard{}, "", false, nil
}

func slurmShard(getenv func(string) string) (Shard, error) {
	const id, first, count, step = "SLURM_ARRAY_TASK_ID", "SLURM_ARRAY_TASK_MIN", "SLURM_ARRAY_TASK_COUNT", "SLURM_ARRAY_TASK_STEP"
	n := map[string]int{}
	for _, name := range []string{id, first, count, step} {
		value := getenv(name)
		if name == step && value == "" {
			value = "1"
		}
		var err error
		if n[name], err = number(name, value); err != nil {
			return Shard{}, err
		}
	}
	past := n[id] - n[first]
	if n[step] < 1 || past < 0 || past%n[step] != 0 || past/n[step] >= n[count] {
		return Shard{}, fmt.Errorf("%s=%d is not one of %d tasks from %d in steps of %d: number the array without gaps, such as --array=1-8",
			id, n[id], n[count], n[first], n[step])
	}
	return Shard{past/n[step] + 1, n[count]}, nil
}

func indexedShard(getenv func(string) string) (Shard, error) {
	const index, shards = "JOB_COMPLETION_INDEX", "PINLASH_SHARDS"
	if getenv(shards) == "" {
		return Shard{}, fmt.Errorf("%s is set, but not %s, which says how many shards there are", index, shards)
	}
	k, err := number(index, getenv(index))
	if err != nil {
		return Shard{}, err
	}
	n, err := number(shards, getenv(shards))
	if err != nil {
		return Shard{}, err
	}
	if k >= n {
		return Shard{}, fmt.Errorf("%s=%d is not below %s=%d", index, k, shards, n)
	}
	return Shard{k + 1, n}, nil
}

func number(name, value string) (int, error) {
	n, err := strconv.ParseUint(value, 10, 31)
	if err != nil {
		return 0, fmt.Errorf("%s=%q is no whole number", name, value)
	}
	return int(n), nil
}
