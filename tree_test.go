package calx_test

import (
	"go/ast"
	"go/build/constraint"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// module is the import path of the module, and of the folder of this test.
const module = "calx"

// source is one Go file of the tree.
type source struct {
	path string // from the root, with slashes: "controller/step.go"
	room string // its folder: "controller"; "" for the root
	test bool
	ast  *ast.File
	set  *token.FileSet
}

// at is a position to print: file and line.
func (s source) at(n ast.Node) string {
	return s.path + ":" + strconv.Itoa(s.set.Position(n.Pos()).Line)
}

// imports lists what s imports, by the node that does.
func (s source) imports() map[string]ast.Node {
	list := map[string]ast.Node{}
	for _, i := range s.ast.Imports {
		name, err := strconv.Unquote(i.Path.Value)
		if err == nil {
			list[name] = i
		}
	}
	return list
}

// calls visits every selector of a package that s imports from the standard
// library or elsewhere: pkg is its import path, name what is taken from it.
func (s source) calls(visit func(pkg, name string, at ast.Node)) {
	names := map[string]string{}
	for _, i := range s.ast.Imports {
		pkg, err := strconv.Unquote(i.Path.Value)
		if err != nil {
			continue
		}
		name := path.Base(pkg)
		if len(name) > 1 && name[0] == 'v' && name[1] >= '2' && name[1] <= '9' {
			name = path.Base(path.Dir(pkg))
		}
		if i.Name != nil {
			name = i.Name.Name
		}
		names[name] = pkg
	}
	ast.Inspect(s.ast, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		// An identifier with an object is a local name that hides the package.
		if id, ok := sel.X.(*ast.Ident); ok && id.Obj == nil {
			if pkg, ok := names[id.Name]; ok {
				visit(pkg, sel.Sel.Name, sel)
			}
		}
		return true
	})
}

// files lists every file of the tree that is ours, from the root, with slashes.
func files(t *testing.T) []string {
	t.Helper()
	var list []string
	err := filepath.WalkDir(".", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		hidden := strings.HasPrefix(d.Name(), ".") && p != "."
		if d.IsDir() && (d.Name() == ".git" || hidden && d.Name() != ".ci") {
			return filepath.SkipDir
		}
		if d.Type().IsRegular() && d.Name() != ".git" { // a file where the tree is one of several
			list = append(list, filepath.ToSlash(p))
		}
		return nil
	})
	require.NoError(t, err)
	return list
}

// sources parses the Go files of the tree. Files that no build takes
// (go:build ignore: generators) are left out.
func sources(t *testing.T) []source {
	t.Helper()
	set := token.NewFileSet()
	var list []source
	for _, p := range files(t) {
		if !strings.HasSuffix(p, ".go") || strings.Contains(p, "testdata/") {
			continue
		}
		f, err := parser.ParseFile(set, p, nil, parser.ParseComments)
		require.NoError(t, err)
		if ignored(f) {
			continue
		}
		room := path.Dir(p)
		if room == "." {
			room = ""
		}
		list = append(list, source{path: p, room: room, test: strings.HasSuffix(p, "_test.go"), ast: f, set: set})
	}
	require.NotEmpty(t, list)
	return list
}

func ignored(f *ast.File) bool {
	for _, g := range f.Comments {
		for _, c := range g.List {
			if c.Pos() < f.Package && constraint.IsGoBuild(c.Text) && strings.Contains(c.Text, "ignore") {
				return true
			}
		}
	}
	return false
}

// text reads a file of the tree; ok is false where it is not text.
func text(t *testing.T, p string) (s string, ok bool) {
	t.Helper()
	b, err := os.ReadFile(filepath.FromSlash(p))
	require.NoError(t, err)
	return string(b), !strings.ContainsRune(string(b), 0)
}
