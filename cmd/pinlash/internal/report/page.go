package report

import (
	"bufio"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"strings"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

// Input is what a page is made from.
type Input struct {
	Title  string
	Source string // where the lines come from, for people
	Lines  []record.Line
	// Pictures is the folder of the results, in which the names of the
	// pictures hold; nil where there is none.
	Pictures fs.FS
	Inches   bool // show lengths in inches
	Made     time.Time
	Version  string // of the pinlash that makes the page
	// Problems are what could not be read, a sentence each.
	Problems []string
}

//go:embed templates
var files embed.FS

// script and style are taken as they stand: the page names the script's hash,
// and no other may run.
var (
	script = mustRead("templates/page.js")
	style  = mustRead("templates/page.css")
	layout = template.Must(template.ParseFS(files, "templates/*.html"))
)

func mustRead(name string) string {
	data, err := files.ReadFile(name)
	if err != nil {
		panic("report: " + err.Error()) // embedded at build time
	}
	return string(data)
}

// page is what the template shows.
type page struct {
	Title, Source, Version string
	Whole                  string // the title uncut, where it is cut
	Made                   time.Time
	Policy                 string
	Style, Script          template.HTML
	Inches                 bool
	Verdicts               []verdict
	Overall                string // of several chains, how many stand how
	Sections               []section
	Problems               []string
}

// section is a chapter after the verdict. A new chapter is an entry in
// chapters and a template of that name.
type section struct {
	ID, Title string
	Template  string
	Data      any
}

// Body is the chapter's content.
func (s section) Body() (template.HTML, error) {
	var b strings.Builder
	err := layout.ExecuteTemplate(&b, s.Template, s.Data)
	return template.HTML(b.String()), err //nolint:gosec // escaped by the template
}

// Page writes the page. Pictures that cannot be had are named on it; its
// errors are those of w.
func Page(w io.Writer, in Input) error {
	b := newBuilder(in)
	p := page{
		Title: shorten(in.Title, 80), Source: record.SafeName(in.Source), Version: in.Version, Made: in.Made,
		Policy: policy(),
		Style:  template.HTML("<style>" + style + "</style>"),    //nolint:gosec // our own
		Script: template.HTML("<script>" + script + "</script>"), //nolint:gosec // our own
		Inches: in.Inches,
	}
	if whole := record.SafeName(in.Title); whole != p.Title {
		p.Whole = whole
	}
	for _, problem := range in.Problems {
		p.Problems = append(p.Problems, record.SafeName(problem))
	}
	for _, c := range b.chains {
		if !c.scaleOnly() {
			p.Verdicts = append(p.Verdicts, c.Verdict)
		}
	}
	p.Overall = overall(p.Verdicts)
	p.Sections = b.chapters()
	out := bufio.NewWriter(w)
	if err := layout.ExecuteTemplate(out, "page.html", p); err != nil {
		return err
	}
	return out.Flush()
}

// policy lets nothing be fetched and no script run but ours.
func policy() string {
	sum := sha256.Sum256([]byte(script))
	return fmt.Sprintf("default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-%s'; base-uri 'none'; form-action 'none'",
		base64.StdEncoding.EncodeToString(sum[:]))
}

// chapters lists what stands after the verdicts, in order.
func (b *builder) chapters() []section {
	var all []section
	for _, c := range b.chains {
		if c.scaleOnly() {
			continue
		}
		all = append(all, section{c.ID, c.Label, "chain.html", c})
	}
	if c := b.compared(); c != nil {
		all = append(all, section{"compared", c.title(), "compared.html", c})
	}
	if r := b.repeats(); r != nil {
		all = append(all, section{"repeats", "How well measuring repeats", "repeats.html", r})
	}
	if len(b.measured) > 0 {
		all = append(all, section{"photos", "Photos and their figures", "photos.html", b.photosByChain()})
	}
	if len(b.refused) > 0 {
		all = append(all, section{"refused", "Refused photos", "refused.html", b.refused})
	}
	return append(all,
		section{"method", "How it was measured", "method.html", b.method()},
		section{"cautions", "Cautions", "cautions.html", b.cautions()},
		section{"files", "Files and versions", "files.html", b.origin()},
	)
}
