package record

import _ "embed"

// Schema is the JSON schema (draft 2020-12) of every line that pinlash
// prints with --json.
//
//go:embed schema.json
var Schema []byte
