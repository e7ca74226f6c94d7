package replay

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip" // a fifth less time than that of the standard library, for the same errors
)

// blockSize is how much text is parsed at a time.
const blockSize = 256 << 10

// maxLine is the longest line that can be a row; a longer one is a bad row.
const maxLine = 64 << 10

// block is a run of whole lines on its way to a parser and back.
type block struct {
	text  []byte
	first int64 // number of its first line in the file, from 1
	done  chan struct{}
	parsed
}

// open returns the text of the input, unpacked if it begins as gzip does.
func open(in io.Reader) (*bufio.Reader, error) {
	b := bufio.NewReaderSize(in, 64<<10)
	magic, err := b.Peek(2)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the input: %w", err)
	}
	if !bytes.Equal(magic, []byte{0x1f, 0x8b}) {
		return b, nil
	}
	z, err := gzip.NewReader(b)
	if err != nil {
		return nil, fmt.Errorf("read the input: %w", err)
	}
	return bufio.NewReaderSize(z, 64<<10), nil
}

// headerLine reads the first line.
func headerLine(in *bufio.Reader) ([]byte, error) {
	line, err := in.ReadSlice('\n')
	if errors.Is(err, bufio.ErrBufferFull) {
		return nil, fmt.Errorf("line 1: longer than %d bytes; is this CSV?", maxLine)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the input: %w", err)
	}
	line = bytes.TrimPrefix(line, []byte("\xEF\xBB\xBF"))
	line = bytes.TrimRight(line, "\r\n")
	if len(line) == 0 {
		return nil, errors.New("line 1: no header line; want time,loop and columns of values")
	}
	return bytes.Clone(line), nil
}

// lines cuts the input into blocks of whole lines.
type lines struct {
	in   io.Reader
	line int64  // number of the next line
	rest []byte // begun line of the last block
	skip bool   // the last block ended inside a line that is too long
	end  error  // io.EOF, or why the input could not be read on
}

// next fills b with whole lines; false when there are none left. A line longer
// than a block is cut: its beginning is handed out, to be a bad row, the rest
// left out.
func (s *lines) next(b *block) bool {
	for s.end == nil || len(s.rest) > 0 {
		b.text = append(b.text[:0], s.rest...)
		s.rest = s.rest[:0]
		if s.end == nil {
			b.text, s.end = fill(s.in, b.text)
		}
		if s.skip {
			b.text = s.drop(b.text)
		}
		if s.end == nil {
			s.keep(b)
		}
		b.first = s.line
		s.line += int64(bytes.Count(b.text, []byte{'\n'}))
		if len(b.text) > 0 {
			return true
		}
	}
	return false
}

// drop leaves out the rest of a line that was too long.
func (s *lines) drop(text []byte) []byte {
	i := bytes.IndexByte(text, '\n')
	if i < 0 {
		return text[:0]
	}
	s.skip = false
	s.line++
	return text[i+1:]
}

// keep leaves the begun line at the end of a block for the next one.
func (s *lines) keep(b *block) {
	cut := bytes.LastIndexByte(b.text, '\n') + 1
	if cut == 0 {
		s.skip = len(b.text) == blockSize
		if !s.skip {
			s.rest = append(s.rest, b.text...)
			b.text = b.text[:0]
		}
		return
	}
	s.rest = append(s.rest, b.text[cut:]...)
	b.text = b.text[:cut]
}

// fill appends to text until a block is full or the input ends.
func fill(in io.Reader, text []byte) ([]byte, error) {
	if cap(text) < blockSize {
		text = append(make([]byte, 0, blockSize), text...)
	}
	for len(text) < blockSize {
		n, err := in.Read(text[len(text):blockSize])
		text = text[:len(text)+n]
		if err != nil {
			return text, err
		}
	}
	return text, nil
}
