package report

import (
	"maps"
	"slices"
	"strings"

	"pinlash/cmd/pinlash/internal/record"
)

// command is the line that measures the photo the same way in a shell, "" if
// the settings are not known.
func command(r *record.Record) string {
	if r.Batch == nil {
		return ""
	}
	words := []string{"pinlash", string(r.Kind)}
	settings := r.Batch.Settings
	for _, key := range slices.Sorted(maps.Keys(settings)) {
		words = append(words, quoted("--"+strings.TrimLeft(key, "-")+"="+settings[key]))
	}
	switch {
	case r.Clip != nil:
		words = append(words, quoted("--clip="+r.Photo.Path))
	case len(r.Photos) > 0:
		for _, p := range r.Photos {
			words = append(words, quoted("--"+p.State+"="+p.Path))
		}
	default:
		// What begins with a dash would be taken for a flag.
		if strings.HasPrefix(r.Photo.Path, "-") {
			words = append(words, "--")
		}
		words = append(words, quoted(r.Photo.Path))
	}
	return strings.Join(words, " ")
}

// quoted protects a word from the shell.
func quoted(word string) string {
	plain := func(r rune) bool {
		return !strings.ContainsRune("-_=./,:+%@", r) && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z')
	}
	if word != "" && strings.IndexFunc(word, plain) < 0 {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
