package devices

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// Request is one read of one loop, addresses relative to the loop's base.
type Request struct {
	Table Table
	Addr  uint16
	Count uint16 // registers that are needed
	Max   uint16 // registers that may be asked for from Addr: ≥ Count where a declared block goes on
}

// Longest returns the most registers that are really asked for from Addr when
// the number varies on serial frames.
func (r Request) Longest() uint16 { return r.Count + min(max(r.Max, r.Count)-r.Count, spread) }

// spread is by how many registers a serial request varies: a register or two
// more cost little and suffice to tell answers apart.
const spread = 2

// MaxRegisters is the most registers that one request of function 03 or 04 may
// ask for (MODBUS Application Protocol V1.1b3, sections 6.3 and 6.4).
const MaxRegisters = 125

// limit is the most registers a request of this profile may ask for.
func (p *Profile) limit() uint16 {
	if p.MaxRead <= 0 || p.MaxRead > MaxRegisters {
		return MaxRegisters
	}
	return uint16(p.MaxRead)
}

// blocks returns the declared blocks in order, or the one from the lowest to
// the highest field.
func (p *Profile) blocks() []Block {
	if len(p.Blocks) > 0 {
		b := slices.Clone(p.Blocks)
		slices.SortFunc(b, func(x, y Block) int { return cmp.Compare(x.Addr, y.Addr) })
		return b
	}
	if len(p.Fields) == 0 {
		return nil
	}
	lo, hi := uint32(1<<16), uint32(0)
	for i := range p.Fields {
		f := &p.Fields[i]
		lo = min(lo, uint32(f.Addr))
		hi = max(hi, uint32(f.Addr)+uint32(f.Registers()))
	}
	return []Block{{Addr: uint16(lo), Count: uint16(hi - lo)}}
}

// Plan returns the requests that read every field of the profile once, in
// address order: one request a block where it fits, never a register outside a
// declared block. A profile that Validate refuses has no plan.
func (p *Profile) Plan() []Request {
	var plan []Request
	for _, b := range p.blocks() {
		plan = p.planBlock(plan, b)
	}
	return plan
}

// planBlock covers the fields of one block. It cuts between fields, never
// inside one, when the block is longer than a request may be.
func (p *Profile) planBlock(plan []Request, b Block) []Request {
	end := uint32(b.Addr) + uint32(b.Count)
	var open *Request
	for _, f := range p.fieldsIn(b) {
		last := uint32(f.Addr) + uint32(f.Registers())
		if open != nil && last-uint32(open.Addr) <= uint32(p.limit()) {
			open.Count = max(open.Count, uint16(last-uint32(open.Addr)))
			continue
		}
		plan = append(plan, Request{Table: p.Table, Addr: f.Addr, Count: f.Registers()})
		open = &plan[len(plan)-1]
	}
	for i := range plan {
		if r := &plan[i]; r.Max == 0 {
			r.Max = uint16(min(end-uint32(r.Addr), uint32(p.limit())))
		}
	}
	return plan
}

func (p *Profile) fieldsIn(b Block) []*Field {
	var in []*Field
	for i := range p.Fields {
		if f := &p.Fields[i]; inside(f, b) {
			in = append(in, f)
		}
	}
	slices.SortStableFunc(in, func(x, y *Field) int { return cmp.Compare(x.Addr, y.Addr) })
	return in
}

func inside(f *Field, b Block) bool {
	return f.Addr >= b.Addr && uint32(f.Addr)+uint32(f.Registers()) <= uint32(b.Addr)+uint32(b.Count)
}

// Validate reports everything that is wrong with the profile, joined; nil when
// it can be polled. Each error names the field.
func (p *Profile) Validate() error {
	var errs []error
	add := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	if p.Table != Holding && p.Table != Input {
		add("table: want holding or input")
	}
	if p.MaxRead < 0 || p.MaxRead > MaxRegisters {
		add("max-read %d: want 1..%d", p.MaxRead, MaxRegisters)
	}
	if len(p.Fields) == 0 {
		add("no fields: nothing to read")
	}
	blocks := p.blocks()
	errs = append(errs, checkBlocks(blocks)...)
	for i := range p.Fields {
		errs = append(errs, p.checkField(&p.Fields[i], blocks)...)
	}
	return errors.Join(errs...)
}

func checkBlocks(blocks []Block) []error {
	var errs []error
	for i, b := range blocks {
		if b.Count == 0 || uint32(b.Addr)+uint32(b.Count) > 1<<16 {
			errs = append(errs, fmt.Errorf("block at %d with %d registers: outside the address space", b.Addr, b.Count))
		}
		if i > 0 && uint32(blocks[i-1].Addr)+uint32(blocks[i-1].Count) > uint32(b.Addr) {
			errs = append(errs, fmt.Errorf("block at %d overlaps the block at %d", b.Addr, blocks[i-1].Addr))
		}
	}
	return errs
}

func (p *Profile) checkField(f *Field, blocks []Block) []error {
	var errs []error
	add := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	if f.Quantity == QuantityNone || int(f.Quantity) >= len(quantityNames) {
		add("field at %d: no quantity", f.Addr)
	}
	if f.Type > Float64 {
		add("%s: unknown type", f.Quantity)
		return errs
	}
	if f.Registers() == 1 && f.Order != ABCD && f.Order != BADC {
		add("%s: order %s on %s, which has one register; want ABCD or BADC", f.Quantity, f.Order, f.Type)
	}
	if _, err := f.linear(); err != nil {
		errs = append(errs, err)
	}
	if f.Registers() > p.limit() {
		add("%s: %d registers, but max-read is %d", f.Quantity, f.Registers(), p.limit())
	}
	if !slices.ContainsFunc(blocks, func(b Block) bool { return inside(f, b) }) {
		add("%s: registers %d..%d lie in no declared block", f.Quantity, f.Addr, uint32(f.Addr)+uint32(f.Registers())-1)
	}
	for _, inv := range f.Invalid {
		if inv&^f.Type.mask() != 0 {
			add("%s: invalid value %#x has more bits than %s", f.Quantity, inv, f.Type)
		}
	}
	if len(f.Status) > 0 && f.Quantity != StatusWord {
		add("%s: only a status field has status bits", f.Quantity)
	}
	return errs
}
