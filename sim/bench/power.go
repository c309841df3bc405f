package bench

import (
	"context"
	"errors"
	"time"

	"calx/sim/chip"
)

// ErrPowerCut is what Sleep returns when the power of the workshop goes. The
// board is dead from that moment on, and so is whoever slept: he must forget
// all but what he wrote down, call PowerBack, and start again.
var ErrPowerCut = errors.New("bench: the power is gone")

// Dead reports whether the board has no power.
func (b *Bench) Dead() bool { return b.dead }

// PowerBack lets time pass, without board and heat, until the power is back and
// the board has booted, which takes boot. It returns how long that was.
// The chips have lost their registers. Mono and Wall go on as if the board had
// a clock with a battery; a mishap of kind clock makes it a wrong one. With the
// power there it does nothing.
func (b *Bench) PowerBack(ctx context.Context, boot time.Duration) (time.Duration, error) {
	began := b.now
	for b.mishaps(); b.dead && b.dist.cut; b.mishaps() {
		if err := ctx.Err(); err != nil {
			return b.now - began, err
		}
		b.step(time.Second)
	}
	if !b.dead {
		return 0, nil
	}
	for _, c := range []*chip.Chip{b.chip, b.second} {
		if c == nil {
			continue
		}
		if err := c.Inject(chip.Fault{Kind: chip.BrownOut}); err != nil {
			return b.now - began, err
		}
	}
	b.pass(boot)
	b.dead = b.dist.cut // it may have gone again
	if b.dead {
		return b.now - began, ErrPowerCut
	}
	return b.now - began, nil
}

// blackout takes the power from kiln and board: all coils drop.
func (b *Bench) blackout() {
	b.dist.cut, b.dead = true, true
	b.off()
}
