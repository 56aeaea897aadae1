package report

import (
	"os"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

func TestDev(t *testing.T) {
	set := os.Getenv("REPSET")
	if set == "" {
		t.Skip()
	}
	f, err := os.Open(set)
	if err != nil {
		t.Fatal(err)
	}
	var lines []record.Line
	if err := record.Read(f, func(l record.Line, _ []byte) error { lines = append(lines, l); return nil }); err != nil {
		t.Fatal(err)
	}
	out, _ := os.Create(os.Getenv("REPOUT"))
	start := time.Now()
	err = Page(out, Input{Title: "Filler drive, cam chain", Source: "results.jsonl", Lines: lines, Pictures: os.DirFS(os.Getenv("REPRES")), Made: time.Now(), Version: "0.1.0", Inches: os.Getenv("REPIN") != ""})
	info, _ := out.Stat()
	t.Log(err, time.Since(start), info.Size())
}
