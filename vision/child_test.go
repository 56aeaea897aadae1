package vision

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"gocv.io/x/gocv"
)

// childMode is the environment variable that turns the test binary into a
// decoding child: "guarded" decodes as the package does, "bare" hands the
// bytes straight to OpenCV, "clip" opens a clip.
const childMode = "PINLASH_TEST_CHILD"

// fuzzLimits keeps the work on one input small.
var fuzzLimits = Limits{MinSide: 1, MaxPixels: 1 << 20}

// serveDecode decodes files sent as length and bytes, and answers one byte
// each: 0 for a refusal, 1 for a sound photo, 2 for an unsound answer.
func serveDecode(mode string, in io.Reader, out io.Writer) {
	for r := bufio.NewReader(in); ; {
		var n uint32
		if err := binary.Read(r, binary.LittleEndian, &n); err != nil {
			return
		}
		data := make([]byte, n)
		if _, err := io.ReadFull(r, data); err != nil {
			return
		}
		answer := byte(0)
		switch mode {
		case "bare":
			mat, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
			if err == nil {
				mat.Close()
			}
		case "clip":
			answer = openedClip(data)
		default:
			p, err := Decode(data, "", fuzzLimits)
			switch {
			case unsound(p, err) != "":
				answer = 2
			case err == nil:
				answer = 1
			}
		}
		if _, err := out.Write([]byte{answer}); err != nil {
			return
		}
	}
}

// What one clip may take: of the processor, so that a busy machine makes no
// difference, and of memory. One that never ends is given up after a minute.
const (
	mostTime = 5 * time.Second
	mostMB   = 1000
	patience = time.Minute
)

// openedClip writes a clip to a file, opens it and answers like serveDecode.
func openedClip(data []byte) byte {
	file, err := os.CreateTemp("", "clip")
	if err != nil {
		return 2
	}
	defer os.Remove(file.Name())
	_, err = file.Write(data)
	if err = errors.Join(err, file.Close()); err != nil {
		return 2
	}
	before := used()
	problem, opened := openSoundly(file.Name())
	after := used()
	took := time.Duration(after.Utime.Nano() + after.Stime.Nano() - before.Utime.Nano() - before.Stime.Nano())
	switch {
	case problem != "" || took > mostTime || after.Maxrss>>10 > mostMB:
		fmt.Fprintln(os.Stderr, problem, took, after.Maxrss>>10, "MB")
		return 2
	case opened:
		return 1
	}
	return 0
}

func used() (u syscall.Rusage) {
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return u
}

// decodeChild is a child process that decodes, so that an abort or a crash in
// C code can be seen instead of suffered.
type decodeChild struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out io.Reader
}

func startChild(t testing.TB, mode string) *decodeChild {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childMode+"="+mode)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if mode != "bare" {
		cmd.Stderr = os.Stderr // how it died
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &decodeChild{cmd, in, out}
}

// decode returns the child's answer; an error means that the child died, or
// had to be ended.
func (c *decodeChild) decode(data []byte) (byte, error) {
	slow := time.AfterFunc(patience, func() { c.cmd.Process.Kill() })
	defer slow.Stop()
	message := binary.LittleEndian.AppendUint32(nil, uint32(len(data)))
	if _, err := c.in.Write(append(message, data...)); err != nil {
		return 0, err
	}
	var answer [1]byte
	_, err := io.ReadFull(c.out, answer[:])
	return answer[0], err
}

func (c *decodeChild) stop() {
	c.in.Close()
	c.cmd.Wait()
}

// OpenCV alone does not survive a header of more than 2^30 pixels, which is
// why sizes are checked first; and the child process shows it.
func TestHugeHeaderKillsOnlyUnguarded(t *testing.T) {
	huge := resizePNG(pngFile(t, scene(64, 48)), 40000, 40000)
	bare := startChild(t, "bare")
	defer bare.stop()
	if _, err := bare.decode(huge); err == nil {
		t.Error("the unguarded child survived")
	}
	guarded := startChild(t, "guarded")
	defer guarded.stop()
	if answer, err := guarded.decode(huge); err != nil || answer != 0 {
		t.Errorf("the guarded child answered %d, %v; want a refusal", answer, err)
	}
}
