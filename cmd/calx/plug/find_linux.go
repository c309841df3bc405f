package plug

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// address is where a line sits.
type address struct {
	chip   string // device file
	offset uint32
}

func (a address) String() string { return fmt.Sprintf("%s:%d", filepath.Base(a.chip), a.offset) }

// find resolves a line's name. It asks every chip: chip numbers move between
// board models, the names of lines do not.
func find(name string) (address, error) {
	if chip, offset, ok := strings.Cut(name, ":"); ok && strings.HasPrefix(chip, "gpiochip") {
		return findByNumber(name, chip, offset)
	}
	chips, err := chipFiles()
	if err != nil {
		return address{}, err
	}
	var found []address
	var unread []error
	for _, c := range chips {
		at, err := findOn(c, name)
		found = append(found, at...)
		if err != nil {
			unread = append(unread, err)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return address{}, fmt.Errorf("GPIO line %s is not unique: %v; name it by one of these", name, found)
	case len(unread) > 0:
		return address{}, fmt.Errorf("GPIO line %s: not on the chips that can be read; the user must be in the group that owns /dev/gpiochip*: %w", name, errors.Join(unread...))
	case len(chips) == 0:
		return address{}, fmt.Errorf("GPIO line %s: %w: this machine has no /dev/gpiochip*", name, ErrNoLine)
	}
	return address{}, fmt.Errorf("GPIO line %s: %w on %s", name, ErrNoLine, strings.Join(chips, ", "))
}

func findByNumber(name, chip, offset string) (address, error) {
	n, err := strconv.ParseUint(offset, 10, 32)
	if err != nil {
		return address{}, fmt.Errorf("GPIO line %s: want chip and line number, like gpiochip0:17", name)
	}
	at := address{chip: filepath.Join("/dev", chip), offset: uint32(n)}
	lines, err := countLines(at.chip)
	if errors.Is(err, os.ErrNotExist) {
		return address{}, fmt.Errorf("GPIO line %s: %w: no %s", name, ErrNoLine, at.chip)
	}
	if err != nil {
		return address{}, fmt.Errorf("GPIO line %s: %w", name, err)
	}
	if at.offset >= lines {
		return address{}, fmt.Errorf("GPIO line %s: %w: %s has lines 0 to %d", name, ErrNoLine, chip, lines-1)
	}
	return at, nil
}

// chipFiles lists the chips, each once: some systems keep a second name for a
// chip as a symbolic link.
func chipFiles() ([]string, error) {
	names, err := filepath.Glob("/dev/gpiochip*")
	if err != nil {
		return nil, err
	}
	var chips []string
	seen := map[string]bool{}
	for _, n := range names {
		if real, err := filepath.EvalSymlinks(n); err == nil {
			n = real
		}
		if !seen[n] {
			seen[n] = true
			chips = append(chips, n)
		}
	}
	return chips, nil
}

// findOn looks for lines of that name on one chip.
func findOn(chip, name string) ([]address, error) {
	lines, err := countLines(chip)
	if err != nil {
		return nil, err
	}
	fd, err := unix.Open(chip, unix.O_RDONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: chip, Err: err}
	}
	defer unix.Close(fd)
	var found []address
	for i := range lines {
		info := lineInfo{offset: i}
		if err := ioctl(fd, iocLineInfo, &info); err != nil {
			return found, &os.PathError{Op: "read line info of", Path: chip, Err: err}
		}
		if text(info.name) == name {
			found = append(found, address{chip: chip, offset: i})
		}
	}
	return found, nil
}

func countLines(chip string) (uint32, error) {
	fd, err := unix.Open(chip, unix.O_RDONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		return 0, &os.PathError{Op: "open", Path: chip, Err: err}
	}
	defer unix.Close(fd)
	var info chipInfo
	if err := ioctl(fd, iocChipInfo, &info); err != nil {
		return 0, &os.PathError{Op: "read chip info of", Path: chip, Err: err}
	}
	return info.lines, nil
}
