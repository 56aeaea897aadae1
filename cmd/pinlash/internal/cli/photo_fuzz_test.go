package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinlash/cmd/pinlash/internal/record"
)

// What one photo may take: of the processor, so that a busy machine makes no
// difference, and of memory. One that never ends is given up after a minute.
const (
	mostSeconds = 5
	mostMemory  = 1000 // MB
	patience    = time.Minute
)

// FuzzPhoto takes damaged photos the whole way of pinlash joint, with the
// picture drawn, in a child process: C code is not watched by the fuzzer, and
// an abort there ends the process.
func FuzzPhoto(f *testing.F) {
	for _, file := range everyKind(f, ruled(9, false)) {
		f.Add(file.data)
	}
	child := startTrial(f)
	f.Cleanup(func() { child.stop() })
	f.Fuzz(func(t *testing.T, data []byte) {
		problem, err := child.photo(data)
		if err != nil {
			child.stop()
			child = startTrial(t)
			t.Fatalf("the process that measured it ended, or was ended after %v: %v", patience, err)
		}
		if problem != "" {
			t.Fatal(problem)
		}
	})
}

// trial is a child process that measures photos.
type trial struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Reader
}

func startTrial(t testing.TB) *trial {
	t.Helper()
	cmd := exec.Command("pinlash-trial")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &trial{cmd, in, bufio.NewReader(out)}
}

// photo returns what is wrong with how a photo was measured, "" if nothing.
// The error says that the child died, or had to be killed for its slowness.
func (c *trial) photo(data []byte) (string, error) {
	slow := time.AfterFunc(patience, func() { c.cmd.Process.Kill() })
	defer slow.Stop()
	if err := send(c.in, data); err != nil {
		return "", err
	}
	problem, err := receive(c.out)
	return string(problem), err
}

func (c *trial) stop() {
	c.in.Close()
	c.cmd.Wait()
}

// serveTrial measures the photos that are sent and answers what is wrong.
func serveTrial() {
	folder, err := os.MkdirTemp("", "trial")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	for in := bufio.NewReader(os.Stdin); ; {
		data, err := receive(in)
		if err != nil {
			return
		}
		problem := ""
		if err := measuredSoundly(folder, data); err != nil {
			problem = err.Error()
		}
		if send(os.Stdout, []byte(problem)) != nil {
			return
		}
	}
}

// measuredSoundly measures a photo and holds status, line and memory against
// what is promised.
func measuredSoundly(folder string, data []byte) error {
	path := filepath.Join(folder, "photo.jpg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		return err
	}
	var out, errs bytes.Buffer
	before := timeUsed()
	status := Main(context.Background(), []string{"joint", "--json", "--division", "0.1mm", "--chain", "06B", "--overlay", folder, path}, Streams{Out: &out, Err: &errs})
	if status != statusOK && status != statusRefused {
		return fmt.Errorf("status %d: %s", status, errs.Bytes())
	}
	line, err := record.Decode(bytes.TrimSuffix(out.Bytes(), []byte("\n")))
	if err != nil {
		return fmt.Errorf("%w in %s", err, out.Bytes())
	}
	if (line.Record.Refused != nil) != (status == statusRefused) || (len(line.Record.Results) == 0) != (status == statusRefused) {
		return fmt.Errorf("status %d with %s", status, out.Bytes())
	}
	if took := timeUsed() - before; took > mostSeconds*time.Second {
		return fmt.Errorf("%v of processor time, at most %d s are allowed", took, mostSeconds)
	}
	peak, err := peakMemory()
	if err == nil && peak > mostMemory {
		err = fmt.Errorf("%d MB of memory, at most %d MB are allowed", peak, mostMemory)
	}
	return err
}

// timeUsed is what this process has used of the processors so far.
func timeUsed() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// peakMemory returns the most memory that this process has had at once, C
// code's included, in MB; 0 where the system does not tell.
func peakMemory() (int, error) {
	status, err := os.ReadFile("/proc/self/status")
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	fields := strings.Fields(after)
	if len(fields) == 0 {
		return 0, fmt.Errorf("no peak in %q", status)
	}
	kb, err := strconv.Atoi(fields[0])
	return kb / 1024, err
}

func send(w io.Writer, message []byte) error {
	_, err := w.Write(append(binary.LittleEndian.AppendUint32(nil, uint32(len(message))), message...))
	return err
}

func receive(r io.Reader) ([]byte, error) {
	var n uint32
	if err := binary.Read(r, binary.LittleEndian, &n); err != nil {
		return nil, err
	}
	message := make([]byte, n)
	_, err := io.ReadFull(r, message)
	return message, err
}
