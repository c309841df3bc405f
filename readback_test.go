package calx_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An output line that is read back through periph is no output any more: on
// Linux its Read and Func ask the kernel for the line anew, as an input with a
// pull, and the relay does what the pull says. So nobody may. What is wanted
// of an output is its level as the kernel drives it, and that the plug's own
// request can tell without asking anew.

const gpioPackage = "periph.io/x/conn/v3/gpio"

// fatal are the methods of a pin that move it or let go of it, though they
// only seem to look.
var fatal = []string{"Read", "Func", "Function", "SetFunc", "In", "WaitForEdge", "Pull", "Halt"}

// mayListen are the places that have inputs.
var mayListen = []string{"cmd/calx/board/door.go", "sim/..."}

// mayAskKernel are the functions that ask a line request for its values: each
// asks the request it holds itself.
var mayAskKernel = map[string]string{
	"verify": "line_linux.go",  // the level of an output, by the request that drives it
	"High":   "input_linux.go", // an input
}

func TestNoOutputIsReadBack(t *testing.T) {
	checked := 0
	for _, p := range packages(t) {
		if strings.HasPrefix(p.ImportPath, module+"/sim/") {
			continue // it is the pins, and what they are soldered to
		}
		checked++
		for _, f := range p.check(t) {
			assert.Fail(t, "an output may be read back", "%s", f)
		}
	}
	assert.NotZero(t, checked, "nothing has pins any more: mend this test")
}

// The test of the test: each of these must be found.
func TestReadBackIsFound(t *testing.T) {
	all := packages(t)
	for _, c := range []struct{ body, says string }{
		{`func f(p gpio.PinIO) { p.Read() }`, "Read of a gpio.PinIO"},
		{`func f(p gpio.PinIO) { g := p.Read; _ = g }`, "Read of a gpio.PinIO"},
		{`func f(p gpio.PinOut) { p.Halt() }`, "Halt of a gpio.PinOut"},
		{`type relay struct{ gpio.PinIO }; func f(r relay) { r.In(gpio.PullUp, gpio.NoEdge) }`, "In of a bad.relay"},
		{`func f(p gpio.PinIO) { gpio.PinIO.Read(p) }`, "Read of a gpio.PinIO"},
		{`func f(p gpio.PinIO) { g(p) }; func g(p gpio.PinIn) { p.Read() }`, "gpio.PinIn"},
		{`func f(p gpio.PinIO) { p.(interface{ Read() gpio.Level }).Read() }`, "Read of an interface that gives a level"},
	} {
		file := filepath.Join(t.TempDir(), "bad.go")
		body := "package bad\nimport \"" + gpioPackage + "\"\n" + c.body + "\n"
		require.NoError(t, os.WriteFile(file, []byte(body), 0o600))
		p := listed{ImportPath: "bad", Dir: filepath.Dir(file), GoFiles: []string{"bad.go"}, exports: all[0].exports}
		found := p.check(t)
		require.NotEmpty(t, found, "%s", c.body)
		assert.Contains(t, strings.Join(found, "\n"), c.says, "%s", c.body)
	}
}

func TestOnlyItsOwnRequestIsAskedForALevel(t *testing.T) {
	asked := map[string]string{}
	for _, s := range sources(t) {
		for pkg, at := range s.imports() {
			direct := strings.HasPrefix(pkg, "periph.io/x/host/v3/")
			assert.Falsef(t, direct && !s.test, "%s: %s: lines are found by name, and owned by the plug", s.at(at), pkg)
		}
		if s.test || !within(s.room, []string{"cmd/..."}) {
			continue
		}
		for _, d := range s.ast.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if id, ok := n.(*ast.Ident); ok && id.Name == "iocGetValues" {
					asked[f.Name.Name] = filepath.Base(s.path)
				}
				if l, ok := n.(*ast.BasicLit); ok {
					assert.NotContainsf(t, l.Value, "/sys/class/gpio", "%s: the old way to the lines, which moves them", s.at(l))
				}
				return true
			})
		}
	}
	assert.Equal(t, mayAskKernel, asked)
}

// listed is a package as the go command knows it.
type listed struct {
	ImportPath, Dir, Export string
	GoFiles                 []string
	exports                 map[string]string // type information of everything imported
}

// packages are those of the module that have pins.
func packages(t *testing.T) (ours []listed) {
	t.Helper()
	named := map[string]bool{}
	for _, s := range sources(t) {
		if _, ok := s.imports()[gpioPackage]; ok && !s.test {
			named["./"+s.room] = true
		}
	}
	all, err := list(slices.Sorted(maps.Keys(named)))
	require.NoError(t, err)
	for _, p := range all {
		if named["./"+strings.TrimPrefix(p.ImportPath, module+"/")] {
			ours = append(ours, p)
		}
	}
	return ours
}

// list asks the go command for packages and all that they import.
func list(names []string) (all []listed, err error) {
	cmd := exec.Command("go", append([]string{"list", "-export", "-deps", "-json=ImportPath,Dir,Export,GoFiles"}, names...)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w: %s", err, said.Bytes())
	}
	exports := map[string]string{}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, err
		}
		exports[p.ImportPath] = p.Export
		p.exports = exports
		all = append(all, p)
	}
}

// check lists where a pin that may be an output is asked what it must not be.
func (p listed) check(t *testing.T) (found []string) {
	t.Helper()
	set := token.NewFileSet()
	var parsed []*ast.File
	for _, name := range p.GoFiles {
		f, err := parser.ParseFile(set, filepath.Join(p.Dir, name), nil, 0)
		require.NoError(t, err)
		parsed = append(parsed, f)
	}
	read := func(pkg string) (io.ReadCloser, error) { return os.Open(p.exports[pkg]) }
	info := &types.Info{Selections: map[*ast.SelectorExpr]*types.Selection{}, Uses: map[*ast.Ident]types.Object{}}
	_, err := (&types.Config{Importer: importer.ForCompiler(set, "gc", read)}).Check(p.ImportPath, set, parsed, info)
	require.NoError(t, err)
	say := func(n ast.Node, what string) {
		at := set.Position(n.Pos())
		found = append(found, filepath.Base(at.Filename)+":"+strconv.Itoa(at.Line)+": "+what)
	}
	for sel, s := range info.Selections {
		if s.Kind() == types.FieldVal || !slices.Contains(fatal, sel.Sel.Name) {
			continue
		}
		switch {
		case drives(s.Recv()):
			say(sel, fmt.Sprintf("%s of a %s", sel.Sel.Name, types.TypeString(s.Recv(), (*types.Package).Name)))
		case givesLevel(s) && !p.listens(set, sel):
			say(sel, sel.Sel.Name+" of an interface that gives a level")
		}
	}
	for id, o := range info.Uses {
		if o.Pkg() != nil && o.Pkg().Path() == gpioPackage && o.Name() == "PinIn" && !p.listens(set, id) {
			say(id, "gpio.PinIn: what is behind it may be an output; inputs are opened in "+mayListen[0])
		}
	}
	return found
}

// listens reports whether a place is one that has inputs.
func (p listed) listens(set *token.FileSet, n ast.Node) bool {
	room, _ := below(p.ImportPath)
	return within(room+"/"+filepath.Base(set.Position(n.Pos()).Filename), mayListen)
}

// drives reports whether a type has Out(gpio.Level): it may be an output.
func drives(of types.Type) bool {
	o, _, _ := types.LookupFieldOrMethod(of, true, nil, "Out")
	f, ok := o.(*types.Func)
	if !ok {
		return false
	}
	params := f.Signature().Params()
	return params.Len() == 1 && isLevel(params.At(0).Type())
}

// givesLevel reports whether a method returns a gpio.Level.
func givesLevel(s *types.Selection) bool {
	f, ok := s.Obj().(*types.Func)
	return ok && f.Signature().Results().Len() == 1 && isLevel(f.Signature().Results().At(0).Type())
}

func isLevel(of types.Type) bool {
	n, ok := of.(*types.Named)
	return ok && n.Obj().Name() == "Level" && n.Obj().Pkg() != nil && n.Obj().Pkg().Path() == gpioPackage
}
