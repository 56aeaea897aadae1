package jobcard

import (
	"bytes"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// stretchTables are the tables of a card that pinlash stretch understands.
var stretchTables = []string{"drive", "limit", "forecast"}

// outline returns what Card.Drive promises, nil if the card has none of those
// tables, and the lines on which each array table begins. The text has to be
// valid TOML. Each expression of TOML begins on a line of its own, so whole
// lines are kept or blanked.
func outline(text []byte) (stated []byte, lines map[string][]int) {
	var p unstable.Parser
	p.Reset(text)
	lines = map[string][]int{}
	blank := blanked(text)
	kept := slices.Clone(blank)
	found, keep, table, from := false, false, "", 0
	upTo := func(end int) {
		if keep {
			copy(kept[from:end], text[from:end])
			found = true
		}
	}
	for p.NextExpression() {
		e := p.Expression()
		key := e.Key()
		if !key.Next() {
			continue
		}
		first, at := strings.ToLower(string(key.Node().Data)), int(key.Node().Raw.Offset)
		begin := bytes.LastIndexByte(text[:at], '\n') + 1
		upTo(begin)
		from = begin
		switch e.Kind {
		case unstable.ArrayTable:
			if key.IsLast() {
				lines[first] = append(lines[first], 1+bytes.Count(text[:at], []byte("\n")))
			}
			table = first
		case unstable.Table:
			table = first
		default:
			if table != "" {
				first = table
			}
		}
		keep = slices.Contains(stretchTables, first)
	}
	upTo(len(text))
	if !found {
		return nil, lines
	}
	return kept, lines
}

// blanked returns the text with everything but the ends of its lines turned
// into spaces.
func blanked(text []byte) []byte {
	out := bytes.Repeat([]byte(" "), len(text))
	for i, c := range text {
		if c == '\n' || c == '\r' && i+1 < len(text) && text[i+1] == '\n' {
			out[i] = c
		}
	}
	return out
}
