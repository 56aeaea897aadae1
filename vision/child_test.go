package vision

import (
	"bufio"
	"encoding/binary"
	"io"
	"os"
	"os/exec"
	"testing"

	"gocv.io/x/gocv"
)

// childMode is the environment variable that turns the test binary into a
// decoding child: "guarded" decodes as the package does, "bare" hands the
// bytes straight to OpenCV.
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
		if mode == "bare" {
			mat, err := gocv.IMDecode(data, gocv.IMReadGrayScale)
			if err == nil {
				mat.Close()
			}
		} else {
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
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &decodeChild{cmd, in, out}
}

// decode returns the child's answer; an error means that the child died.
func (c *decodeChild) decode(data []byte) (byte, error) {
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
