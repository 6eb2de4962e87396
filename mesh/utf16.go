package mesh

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// utf16Of tells in which order the bytes of UTF-16 come, by the mark that a document
// begins with or by its first character, which in XML is "<" (XML 1.0, appendix F);
// nil for UTF-8. Packages may hold either (ECMA-376, part 2, given from memory).
func utf16Of(head []byte) binary.ByteOrder {
	switch {
	case bytes.HasPrefix(head, []byte("\xFE\xFF")), bytes.HasPrefix(head, []byte("\x00<")):
		return binary.BigEndian
	case bytes.HasPrefix(head, []byte("\xFF\xFE")), bytes.HasPrefix(head, []byte("<\x00")):
		return binary.LittleEndian
	}
	return nil
}

// utf16Reader gives as UTF-8 what it reads as UTF-16, in constant memory.
type utf16Reader struct {
	r     io.Reader
	order binary.ByteOrder
	in    [4096]byte
	have  int    // bytes of in that are not yet used
	out   []byte // UTF-8 that was not yet asked for
	room  []byte
	err   error // of r, told after what came before it
}

var errUTF16 = errors.New("the text is no valid UTF-16")

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.out) == 0 {
		if u.err != nil {
			return 0, u.err
		}
		u.fill()
	}
	n := copy(p, u.out)
	u.out = u.out[n:]
	return n, nil
}

// fill turns some more of r into UTF-8.
func (u *utf16Reader) fill() {
	n, err := u.r.Read(u.in[u.have:])
	u.have += n
	u.err = err
	u.room = u.room[:0]
	at := 0
	for u.have-at >= 2 {
		r := rune(u.order.Uint16(u.in[at:]))
		size := 2
		if utf16.IsSurrogate(r) {
			if u.have-at < 4 {
				break // its other half comes next
			}
			r, size = utf16.DecodeRune(r, rune(u.order.Uint16(u.in[at+2:]))), 4
			if r == utf8.RuneError {
				u.err = errUTF16
				break
			}
		}
		u.room = utf8.AppendRune(u.room, r)
		at += size
	}
	u.have = copy(u.in[:], u.in[at:u.have])
	u.out = u.room
	if u.err == io.EOF && u.have > 0 {
		u.err = errUTF16 // half a character is left
	}
}

// unmarshalXML is xml.Unmarshal for UTF-8 and for UTF-16.
func unmarshalXML(data []byte, v any) error {
	var r io.Reader = bytes.NewReader(data)
	if order := utf16Of(data); order != nil {
		r = &utf16Reader{r: r, order: order}
	}
	d := xml.NewDecoder(r)
	d.CharsetReader = func(charset string, input io.Reader) (io.Reader, error) {
		if utf16Of(data) == nil {
			return nil, errors.New("the text is in " + charset + ", which packages may not hold")
		}
		return input, nil // it has become UTF-8
	}
	return d.Decode(v)
}
