package storage

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// bbolt trusts the pages it maps into memory: a wrong offset makes it panic,
// a file cut short makes the process die of a memory fault, some of that in
// goroutines of its own where nobody can recover. So before bbolt sees a
// file, checkPages walks it with plain reads and proves that every page bbolt
// can reach lies within the file, is claimed once, and keeps its elements
// within itself. Values are not read; their checksums are checked when they
// are.

// The page layout of bbolt, file format 2 (go.etcd.io/bbolt,
// internal/common/page.go and meta.go). Numbers are in native byte order.
const (
	pageSize     = 4096 // fixed, so that a 16 KB kernel does not write four times as much
	pageHeader   = 16   // id 8, flags 2, count 2, overflow 4
	elementSize  = 16
	bucketHeader = 16 // root page 8, sequence 8
	boltMagic    = 0xED0CDAED
	boltVersion  = 2

	branchPage   = 0x01
	leafPage     = 0x02
	freelistPage = 0x10

	bucketElement = 0x01
	manyFree      = 0xFFFF // then the count is the first entry
	maxDepth      = 64     // a tree of two keys a page would still hold 2^64
)

var native = binary.NativeEndian

// badPage is what checkPages finds.
type badPage struct {
	kind error // ErrNotLog or ErrDamaged
	what string
}

func (e *badPage) Error() string { return e.what }

func broken(format string, args ...any) error {
	return &badPage{ErrDamaged, fmt.Sprintf(format, args...)}
}

// checkPages proves that bbolt can walk the file of this size safely.
func checkPages(r io.ReaderAt, size int64) error {
	h, err := newest(r, size)
	if err != nil {
		return err
	}
	if h.pages < 4 || h.pages > uint64(size)/pageSize {
		return broken("cut short: %d bytes, its header counts %d pages of %d", size, h.pages, pageSize)
	}
	w := walk{r: r, pages: h.pages, used: make([]uint64, h.pages/64+1)}
	if err := w.claim(0, 2); err != nil {
		return err
	}
	if err := w.freelist(h.freelist); err != nil {
		return err
	}
	return w.node(h.root, 0)
}

// walk is a check under way.
type walk struct {
	r     io.ReaderAt
	pages uint64
	used  []uint64 // a bit for each page
}

// claim marks n pages, each of which may be claimed once.
func (w *walk) claim(first, n uint64) error {
	if first >= w.pages || n > w.pages-first {
		return broken("page %d is beyond the last, %d", first+n-1, w.pages-1)
	}
	for id := first; id < first+n; id++ {
		if w.used[id/64]&(1<<(id%64)) != 0 {
			return broken("page %d is used twice", id)
		}
		w.used[id/64] |= 1 << (id % 64)
	}
	return nil
}

func (w *walk) read(off, n uint64) ([]byte, error) {
	b := make([]byte, n)
	if k, err := w.r.ReadAt(b, int64(off)); k < len(b) {
		return nil, fmt.Errorf("read at byte %d: %w", off, err)
	}
	return b, nil
}

// page reads the first page of a run, claims the run and returns its length
// in bytes.
func (w *walk) page(id uint64) (p []byte, span uint64, err error) {
	if id < 2 || id >= w.pages {
		return nil, 0, broken("page %d is beyond the last, %d", id, w.pages-1)
	}
	if p, err = w.read(id*pageSize, pageSize); err != nil {
		return nil, 0, err
	}
	if got := native.Uint64(p); got != id {
		return nil, 0, broken("page %d calls itself %d", id, got)
	}
	n := uint64(native.Uint32(p[12:])) + 1
	return p, n * pageSize, w.claim(id, n)
}

// freelist checks the list of free pages. They are claimed, so that a page
// both free and in use is found.
func (w *walk) freelist(id uint64) error {
	p, span, err := w.page(id)
	if err != nil {
		return err
	}
	if f := native.Uint16(p[8:]); f != freelistPage {
		return broken("page %d has type %#x, want the list of free pages", id, f)
	}
	n, at := uint64(native.Uint16(p[10:])), uint64(pageHeader)
	if n == manyFree {
		n, at = native.Uint64(p[at:]), at+8
	}
	if n > (span-at)/8 {
		return broken("page %d: list of %d free pages does not fit", id, n)
	}
	list, err := w.read(id*pageSize+at, n*8)
	if err != nil {
		return err
	}
	for ; len(list) > 0; list = list[8:] {
		if err := w.claim(native.Uint64(list), 1); err != nil {
			return fmt.Errorf("free %w", err)
		}
	}
	return nil
}

// node checks a branch or leaf and all below it.
func (w *walk) node(id uint64, depth int) error {
	if depth > maxDepth {
		return broken("page %d is nested too deeply", id)
	}
	p, span, err := w.page(id)
	if err != nil {
		return err
	}
	flags, count := native.Uint16(p[8:]), uint64(native.Uint16(p[10:]))
	table := pageHeader + count*elementSize
	if table > span {
		return broken("page %d: %d elements do not fit", id, count)
	}
	if table > pageSize {
		if p, err = w.read(id*pageSize, table); err != nil {
			return err
		}
	}
	n := elements{p: p, span: span, at: id * pageSize, name: id}
	switch flags {
	case branchPage:
		if count == 0 {
			return broken("page %d: branch without children", id)
		}
		return w.branch(n, count, depth)
	case leafPage:
		return w.leaf(n, count, depth)
	default:
		return broken("page %d has unknown type %#x", id, flags)
	}
}

// elements is one page, or one bucket small enough to live in its parent.
type elements struct {
	p    []byte // from the page header on, at least the table
	span uint64 // bytes the page may use
	at   uint64 // byte offset in the file
	name uint64 // page number, for people
	last []byte // key before this one
}

// key checks that size bytes at pos, counted from element i, lie inside, and
// that keys ascend as far as they are at hand.
func (n *elements) key(i, pos, ksize, vsize uint64) (value uint64, err error) {
	at := pageHeader + i*elementSize + pos
	if end := at + ksize + vsize; end > n.span || ksize == 0 || pos < elementSize {
		return 0, broken("page %d: element %d reaches outside it", n.name, i)
	}
	if at+ksize <= uint64(len(n.p)) {
		k := n.p[at : at+ksize]
		if n.last != nil && bytes.Compare(n.last, k) >= 0 {
			return 0, broken("page %d: keys out of order", n.name)
		}
		n.last = k
	}
	return at + ksize, nil
}

func (w *walk) branch(n elements, count uint64, depth int) error {
	for i := range count {
		e := n.p[pageHeader+i*elementSize:]
		if _, err := n.key(i, uint64(native.Uint32(e)), uint64(native.Uint32(e[4:])), 0); err != nil {
			return err
		}
		if err := w.node(native.Uint64(e[8:]), depth+1); err != nil {
			return err
		}
	}
	return nil
}

func (w *walk) leaf(n elements, count uint64, depth int) error {
	for i := range count {
		e := n.p[pageHeader+i*elementSize:]
		flags, vsize := native.Uint32(e), uint64(native.Uint32(e[12:]))
		value, err := n.key(i, uint64(native.Uint32(e[4:])), uint64(native.Uint32(e[8:])), vsize)
		if err != nil {
			return err
		}
		if flags > bucketElement {
			return broken("page %d: element %d has unknown type %#x", n.name, i, flags)
		}
		if flags == bucketElement {
			if err := w.bucket(n, value, vsize, depth+1); err != nil {
				return err
			}
		}
	}
	return nil
}

// bucket follows a bucket to its root page, or into the element itself.
func (w *walk) bucket(n elements, at, size uint64, depth int) error {
	if size < bucketHeader {
		return broken("page %d: bucket of %d bytes", n.name, size)
	}
	v, err := w.read(n.at+at, size)
	if err != nil {
		return err
	}
	if root := native.Uint64(v); root != 0 {
		return w.node(root, depth)
	}
	p := v[bucketHeader:]
	if len(p) < pageHeader {
		return broken("page %d: bucket of %d bytes", n.name, size)
	}
	count := uint64(native.Uint16(p[10:]))
	if native.Uint16(p[8:]) != leafPage || pageHeader+count*elementSize > uint64(len(p)) {
		return broken("page %d: bad small bucket", n.name)
	}
	if depth > maxDepth {
		return broken("page %d is nested too deeply", n.name)
	}
	in := elements{p: p, span: uint64(len(p)), at: n.at + at + bucketHeader, name: n.name}
	return w.leaf(in, count, depth)
}
