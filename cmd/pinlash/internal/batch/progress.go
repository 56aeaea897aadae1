package batch

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// quietFor is how long nothing is said away from a terminal.
const quietFor = 30 * time.Second

// Progress shows how far a run is: on a terminal a bar with the time left,
// elsewhere a line at the start, one each half minute and one at the end. It
// is also the writer for what is said meanwhile, which would else run into the
// bar. A nil *Progress shows nothing.
type Progress struct {
	mu      sync.Mutex
	w       io.Writer
	now     func() time.Time
	bar     *progressbar.ProgressBar // nil away from a terminal
	isTerm  bool
	total   int
	done    int
	refused int
	began   time.Time
	said    time.Time
}

// NewProgress shows progress on w, usually the standard error.
func NewProgress(w io.Writer) *Progress {
	f, ok := w.(*os.File)
	return &Progress{w: w, now: time.Now, isTerm: ok && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb"}
}

// Write writes whole lines of other text.
func (p *Progress) Write(text []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		p.bar.Clear()             //nolint:errcheck // a bar that cannot be drawn is no loss
		defer p.bar.RenderBlank() //nolint:errcheck // nor is one that is not drawn again
	}
	return p.w.Write(text)
}

func (p *Progress) start(total int) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.total, p.done, p.refused = total, 0, 0
	p.began = p.now()
	p.said = p.began
	if p.isTerm {
		p.bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(p.w), progressbar.OptionFullWidth(),
			progressbar.OptionShowCount(), progressbar.OptionSetPredictTime(true),
			progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(),
			progressbar.OptionUseANSICodes(true))
		return
	}
	fmt.Fprintf(p.w, "batch: %d to do\n", total)
}

// step notes that one more work is done with.
func (p *Progress) step(refused bool) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	if refused {
		p.refused++
	}
	if p.bar != nil {
		p.bar.Add(1) //nolint:errcheck // a bar that cannot be drawn is no loss
		return
	}
	if now := p.now(); now.Sub(p.said) >= quietFor && p.done < p.total {
		p.said = now
		spent := now.Sub(p.began)
		left := time.Duration(float64(spent) / float64(p.done) * float64(p.total-p.done))
		fmt.Fprintf(p.w, "batch: %s, about %s left\n", p.count(), left.Round(time.Second))
	}
}

func (p *Progress) end() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		p.bar.Clear() //nolint:errcheck // a bar that cannot be drawn is no loss
		p.bar = nil
	}
	fmt.Fprintf(p.w, "batch: %s in %s\n", p.count(), p.now().Sub(p.began).Round(time.Second/10))
}

func (p *Progress) count() string {
	text := fmt.Sprintf("%d of %d done", p.done, p.total)
	if p.refused > 0 {
		text += fmt.Sprintf(", %d refused", p.refused)
	}
	return text
}
