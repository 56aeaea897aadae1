package vision

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// A JPEG decoder goes on where the picture data are damaged: it loses count of
// the blocks, and all that follows is shown beside its place. So the codes of
// every scan are counted off before, without making a picture of them.

// jpegPart is a colour channel of a JPEG file.
type jpegPart struct {
	id         byte
	h, v       int // sampling factors
	wide, high int // blocks that show something
	stride     int // blocks in a row, with those that fill up the last unit
	// Of a progressive file: what is known of each coefficient so far, and
	// which of a block's are not zero.
	known   [64]int8 // place of the last bit that came, -1 for none
	nonzero []uint64
}

// jpegScans counts off the scans of a JPEG file.
type jpegScans struct {
	w, h        int
	progressive bool
	parts       []jpegPart
	unitsWide   int // units of all channels together: 8 x 8 of the coarsest
	unitsHigh   int
	restart     int // units between restart marks, 0 for none
	dc, ac      [4]*huffmanTable
	buf         []byte // the codes of one restart interval
}

// damagedScans refuses a JPEG file whose picture data are not what its headers
// say, code by code (T.81, annexes F and G): wrong codes, too many or too few
// blocks, scans that are missing. What is no longer seen is a change within
// the value of a coefficient, which alters shades but moves nothing.
func damagedScans(s jpegStream) error {
	c := jpegScans{w: s.w, h: s.h}
	for pos := 2; ; {
		marker, length := s.core[pos+1], 0
		if marker == markerEOI {
			return c.complete()
		}
		length = int(binary.BigEndian.Uint16(s.core[pos+2:]))
		body := s.core[pos+4 : pos+2+length]
		pos += 2 + length
		ok := true
		switch {
		case marker == markerDHT:
			ok = c.readTables(body)
		case marker == markerDRI:
			c.restart = int(binary.BigEndian.Uint16(body))
		case markerSOF0 <= marker && marker <= markerSOF2:
			c.progressive = marker == markerSOF2
			ok = c.readParts(body)
		case marker == markerSOS:
			n, err := scanLength(s.core[pos:], c.restart)
			if err != nil {
				return err
			}
			data := s.core[pos : pos+n]
			pos += n
			ok = c.readScan(body, data)
		}
		if !ok {
			return unreadable("the JPEG file is damaged: its picture data do not agree with its headers before byte %d", pos)
		}
	}
}

// readParts reads the channels of a frame header (T.81, B.2.2), whose length
// was checked.
func (c *jpegScans) readParts(body []byte) bool {
	hMax, vMax := 1, 1
	for b := body[6:]; len(b) > 0; b = b[3:] {
		p := jpegPart{id: b[0], h: int(b[1] >> 4), v: int(b[1] & 15)}
		if p.h < 1 || p.h > 4 || p.v < 1 || p.v > 4 {
			return false
		}
		hMax, vMax = max(hMax, p.h), max(vMax, p.v)
		c.parts = append(c.parts, p)
	}
	c.unitsWide, c.unitsHigh = over(c.w, 8*hMax), over(c.h, 8*vMax)
	for i := range c.parts {
		p := &c.parts[i]
		p.wide, p.high = over(over(c.w*p.h, hMax), 8), over(over(c.h*p.v, vMax), 8)
		p.stride = c.unitsWide * p.h
		for k := range p.known {
			p.known[k] = -1
		}
		if c.progressive {
			p.nonzero = make([]uint64, p.stride*c.unitsHigh*p.v)
		}
	}
	return true
}

// over returns a / b, rounded up.
func over(a, b int) int { return (a + b - 1) / b }

// complete refuses a file that lacks some of a channel's coefficients.
func (c *jpegScans) complete() error {
	for _, p := range c.parts {
		for _, last := range p.known {
			if last != 0 {
				return unreadable("the JPEG file is damaged or cut off: part of its picture data is missing")
			}
		}
	}
	return nil
}

// jpegScan is one scan: coefficients from to to of some channels, down to the
// bit low; a refinement brings that bit alone.
type jpegScan struct {
	*jpegScans
	parts    []*jpegPart
	dc, ac   []*huffmanTable // by channel
	from, to int
	high     int
	low      int
	row      bitRow
	zeroRun  int // blocks to come that have nothing more
}

// readScan counts off a scan, given the body of its header (T.81, B.2.3).
func (c *jpegScans) readScan(header, data []byte) bool {
	if len(header) < 1 || len(header) != 4+2*int(header[0]) || header[0] < 1 {
		return false
	}
	s := jpegScan{jpegScans: c}
	for b := header[1 : len(header)-3]; len(b) > 0; b = b[2:] {
		found := false
		for i := range c.parts {
			if p := &c.parts[i]; p.id == b[0] && !found {
				found = true
				s.parts = append(s.parts, p)
			}
		}
		dc, ac := b[1]>>4, b[1]&15
		if !found || dc > 3 || ac > 3 {
			return false
		}
		s.dc, s.ac = append(s.dc, c.dc[dc]), append(s.ac, c.ac[ac])
	}
	last := header[len(header)-3:]
	s.from, s.to, s.high, s.low = int(last[0]), int(last[1]), int(last[2]>>4), int(last[2]&15)
	if !c.progressive {
		s.from, s.to, s.high, s.low = 0, 63, 0, 0 // whatever stands there
	}
	return s.allowed() && s.count(data)
}

// allowed says whether the scan comes in its turn (T.81, G.1.1.1) and has its
// tables.
func (s *jpegScan) allowed() bool {
	if s.from > s.to || s.to > 63 || s.low > 13 || s.high != 0 && s.high != s.low+1 {
		return false
	}
	if s.progressive && s.from == 0 != (s.to == 0) || s.from > 0 && len(s.parts) != 1 {
		return false
	}
	for i, p := range s.parts {
		if s.from == 0 && s.high == 0 && s.dc[i] == nil || s.to > 0 && s.ac[i] == nil {
			return false
		}
		for k := s.from; k <= s.to; k++ {
			if s.high == 0 && p.known[k] != -1 || s.high > 0 && int(p.known[k]) != s.high {
				return false // twice, or out of turn
			}
			p.known[k] = int8(s.low)
		}
	}
	return true
}

// count counts off all units of the scan, interval by interval. It was seen
// before that the restart marks come in order.
func (s *jpegScan) count(data []byte) bool {
	// A scan of one channel goes block by block, without those that fill up.
	alone := len(s.parts) == 1
	wide, high := s.unitsWide, s.unitsHigh
	if alone {
		wide, high = s.parts[0].wide, s.parts[0].high
	}
	for unit := 0; unit < wide*high; {
		data = s.interval(data)
		s.zeroRun = 0
		end := wide * high
		if s.restart > 0 {
			end = min(end, unit+s.restart)
		}
		for ; unit < end; unit++ {
			x, y := unit%wide, unit/wide
			if alone {
				if !s.block(0, y*s.parts[0].stride+x) {
					return false
				}
				continue
			}
			for i, p := range s.parts {
				for v := range p.v {
					for h := range p.h {
						if !s.block(i, (y*p.v+v)*p.stride+x*p.h+h) {
							return false
						}
					}
				}
			}
		}
		if s.zeroRun > 0 || !s.row.ended() {
			return false
		}
	}
	return len(data) == 0
}

// interval makes the codes up to the next restart mark the scan's row of bits
// and returns what follows that mark.
func (s *jpegScan) interval(data []byte) (rest []byte) {
	out := s.buf[:0]
	for {
		n := bytes.IndexByte(data, 0xff)
		if n < 0 {
			out, data = append(out, data...), nil
			break
		}
		out = append(out, data[:n]...)
		data = data[n+1:]
		for len(data) > 0 && data[0] == 0xff { // fill bytes
			data = data[1:]
		}
		if len(data) == 0 {
			break
		}
		mark := data[0]
		data = data[1:]
		if mark != 0 {
			break
		}
		out = append(out, 0xff)
	}
	s.row = bitRow{data: append(out, make([]byte, afterRow)...), end: 8 * len(out)}
	s.buf = s.row.data
	return data
}

// block counts off a block of channel i; at is its place among the channel's.
func (s *jpegScan) block(i, at int) bool {
	switch {
	case !s.progressive:
		return s.row.dc(s.dc[i]) && s.sequential(s.ac[i])
	case s.from == 0 && s.high == 0:
		return s.row.dc(s.dc[i])
	case s.from == 0:
		return s.row.skip(1)
	case s.high == 0:
		return s.first(s.ac[i], &s.parts[i].nonzero[at])
	}
	return s.refined(s.ac[i], &s.parts[i].nonzero[at])
}

// sequential counts off the coefficients after the first (T.81, F.2.2.2). It
// is where the time goes: the bits ahead are looked at in a register.
func (s *jpegScan) sequential(t *huffmanTable) bool {
	r := &s.row
	ahead, start, at := r.peek(), r.at, r.at
	k := 1
	for k < 64 {
		if at-start > peeked-longestCode-longestValue {
			r.at = at
			ahead, start = r.peek(), at
		}
		step := t.steps[ahead>>(64-shortCode)]
		if step == 0 {
			if step = t.step(ahead); step == 0 {
				return false
			}
		}
		n := int(step >> 8)
		ahead <<= n
		at += n
		k += int(step & 0xff)
	}
	r.at = at
	// Exactly filled, or ended early.
	return (k == 64 || k >= endOfBlock) && at <= r.end
}

// first counts off the first bits of coefficients (T.81, G.1.2.2).
func (s *jpegScan) first(t *huffmanTable, nonzero *uint64) bool {
	if s.zeroRun > 0 {
		s.zeroRun--
		return true
	}
	r := &s.row
	for k := s.from; k <= s.to; k++ {
		symbol, n := t.next(r.peek())
		if n == 0 {
			return false
		}
		r.at += n
		run, size := int(symbol>>4), int(symbol&15)
		if size == 0 && run < 15 {
			s.zeroRun = r.take(run) + 1<<run - 1
			break
		}
		r.at += size
		if k += run; k > s.to {
			return false
		}
		if size > 0 {
			*nonzero |= 1 << k
		}
	}
	return r.at <= r.end
}

// refined counts off one further bit of coefficients (T.81, G.1.2.3).
func (s *jpegScan) refined(t *huffmanTable, nonzero *uint64) bool {
	r := &s.row
	k := s.from
	for s.zeroRun == 0 && k <= s.to {
		symbol, n := t.next(r.peek())
		if n == 0 {
			return false
		}
		r.at += n
		run, size := int(symbol>>4), int(symbol&15)
		switch {
		case size > 1:
			return false
		case size == 1:
			r.at++ // its sign
		case run < 15:
			s.zeroRun = r.take(run) + 1<<run
			continue
		}
		// Over the run of those still zero, with a bit for each that is not.
		for ; k <= s.to; k++ {
			if *nonzero>>k&1 != 0 {
				r.at++
			} else if run--; run < 0 {
				break
			}
		}
		if k > s.to && (size > 0 || run > 0) {
			return false
		}
		if size > 0 {
			*nonzero |= 1 << k
		}
		k++
	}
	if s.zeroRun > 0 {
		left := *nonzero >> k << k
		if s.to < 63 {
			left &= 1<<(s.to+1) - 1
		}
		r.at += bits.OnesCount64(left)
		s.zeroRun--
	}
	return r.at <= r.end
}

const (
	peeked       = 57
	longestCode  = 16
	longestValue = 15 // bits that follow a code
)

// bitRow is a row of bits, the most significant of a byte first.
type bitRow struct {
	data    []byte // with afterRow bytes more
	at, end int    // bits
}

// afterRow is the room for a block that reaches beyond the end: 64 codes of up
// to 16 bits and their values of up to 15, and a last look.
const afterRow = 64*(longestCode+longestValue)/8 + 16

// peek returns the next bits, highest first; peeked of them are there.
func (r *bitRow) peek() uint64 {
	return binary.BigEndian.Uint64(r.data[r.at>>3:]) << (r.at & 7)
}

func (r *bitRow) skip(n int) bool {
	r.at += n
	return r.at <= r.end
}

func (r *bitRow) take(n int) int {
	v := int(r.peek() >> 1 >> (63 - n))
	r.at += n
	return v
}

// dc counts off a first coefficient (T.81, F.2.2.1).
func (r *bitRow) dc(t *huffmanTable) bool {
	size, n := t.next(r.peek())
	return n > 0 && size <= 15 && r.skip(n+int(size))
}

// ended says whether nothing is left but the filling of the last byte, or
// zeros that some cameras fill up with.
func (r *bitRow) ended() bool {
	return r.at <= r.end && len(bytes.Trim(r.data[(r.at+7)/8:r.end/8], "\x00")) == 0
}

// huffmanTable finds codes.
type huffmanTable struct {
	// short holds length<<8 | symbol by the next shortCode bits, 0 where the
	// code is longer or none.
	short [1 << shortCode]uint16
	// steps holds, in the same way and for the coefficients after the first,
	// length of code and value<<8 | coefficients that they stand for.
	steps [1 << shortCode]uint16
	// By length: codes of that length end before below, left-aligned in 16
	// bits, and the first has the symbol number first - its code.
	below   [17]uint32
	first   [17]int
	symbols []byte
}

const shortCode = 10

// readTables reads a segment of Huffman tables (T.81, B.2.4.2).
func (c *jpegScans) readTables(body []byte) bool {
	for len(body) > 0 {
		if len(body) < 17 {
			return false
		}
		class, place, n := body[0]>>4, body[0]&15, 0
		for _, count := range body[1:17] {
			n += int(count)
		}
		if class > 1 || place > 3 || n > 256 || len(body) < 17+n {
			return false
		}
		t := newHuffmanTable(body[1:17], body[17:17+n])
		if t == nil {
			return false
		}
		if class == 0 {
			c.dc[place] = t
		} else {
			c.ac[place] = t
		}
		body = body[17+n:]
	}
	return true
}

// newHuffmanTable makes the codes of a table (T.81, annex C), nil if there are
// more of a length than it allows.
func newHuffmanTable(counts, symbols []byte) *huffmanTable {
	t := &huffmanTable{symbols: symbols}
	code, k := 0, 0
	for length := 1; length <= 16; length++ {
		t.first[length] = k - code
		for range counts[length-1] {
			if length <= shortCode {
				for i := range 1 << (shortCode - length) {
					at := code<<(shortCode-length) | i
					if at >= len(t.short) {
						return nil
					}
					t.short[at] = uint16(length)<<8 | uint16(symbols[k])
				}
			}
			code++
			k++
		}
		if code > 1<<length {
			return nil
		}
		t.below[length] = uint32(code) << (16 - length)
		code <<= 1
	}
	for i, e := range t.short {
		if e != 0 {
			t.steps[i] = stepOf(byte(e), int(e>>8))
		}
	}
	return t
}

// endOfBlock is more coefficients than there are.
const endOfBlock = 128

// stepOf returns the entry of steps for a code, 0 for a symbol that a
// sequential file does not have (T.81, F.1.2.2.1).
func stepOf(symbol byte, length int) uint16 {
	run, size := uint16(symbol>>4), uint16(symbol&15)
	switch {
	case symbol == 0:
		return uint16(length)<<8 | endOfBlock
	case size == 0 && run < 15:
		return 0
	}
	return (uint16(length)+size)<<8 | (run + 1)
}

// step returns stepOf for the code that the bits begin with, 0 for none.
func (t *huffmanTable) step(ahead uint64) uint16 {
	symbol, length := t.next(ahead)
	if length == 0 {
		return 0
	}
	return stepOf(symbol, length)
}

// next returns the symbol of the code that the bits begin with and its length,
// 0 for none.
func (t *huffmanTable) next(ahead uint64) (symbol byte, length int) {
	if e := t.short[ahead>>(64-shortCode)]; e != 0 {
		return byte(e), int(e >> 8)
	}
	for length := shortCode + 1; length <= 16; length++ {
		if code := uint32(ahead >> 48); code < t.below[length] {
			return t.symbols[t.first[length]+int(code>>(16-length))], length
		}
	}
	return 0, 0
}
