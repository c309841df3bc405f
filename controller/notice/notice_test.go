package notice

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCatalogue(t *testing.T) {
	kebab := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	seen := map[string]bool{}
	for _, n := range All() {
		assert.Regexp(t, kebab, n.Code)
		assert.False(t, seen[n.Code], "%s is there twice", n.Code)
		seen[n.Code] = true
		assert.NotEmpty(t, n.Means, n.Code)
		assert.False(t, strings.HasSuffix(n.Means, ".") || strings.HasSuffix(n.Do, "."), "%s: no full stop", n.Code)
		if n.Severity == Alarm {
			assert.NotEmpty(t, n.Do, "%s: an alarm says what to do", n.Code)
		}
		assert.Equal(t, n, For(n.Code))
	}
}

// constants are the codes declared in this package, by name.
func constants(t *testing.T) map[string]string {
	f, err := parser.ParseFile(token.NewFileSet(), "notice.go", nil, 0)
	require.NoError(t, err)
	out := map[string]string{}
	ast.Inspect(f, func(n ast.Node) bool {
		v, is := n.(*ast.ValueSpec)
		if !is || len(v.Values) != 1 {
			return true
		}
		if s, is := v.Values[0].(*ast.BasicLit); is && s.Kind == token.STRING {
			code, err := strconv.Unquote(s.Value)
			require.NoError(t, err)
			out[v.Names[0].Name] = code
		}
		return true
	})
	return out
}

// Every code is in the catalogue, and every entry has its code.
func TestEveryCodeIsInTheCatalogue(t *testing.T) {
	codes := constants(t)
	require.Len(t, All(), len(codes))
	for name, code := range codes {
		assert.NotPanics(t, func() { For(code) }, name)
	}
}

// What nobody raises does not belong in the catalogue.
func TestEveryCodeIsRaised(t *testing.T) {
	var source strings.Builder
	for _, dir := range []string{"..", "../guard", "../../cmd/calx/station"} {
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, f := range files {
			if strings.HasSuffix(f, "_test.go") {
				continue
			}
			b, err := os.ReadFile(f)
			require.NoError(t, err)
			source.Write(b)
		}
	}
	for name := range constants(t) {
		assert.True(t, strings.Contains(source.String(), "notice."+name), "nothing raises %s", name)
	}
}

func TestSeverities(t *testing.T) {
	assert.Equal(t, []string{"info", "warn", "alarm"}, []string{Info.String(), Warn.String(), Alarm.String()})
}

func TestUnknownCodeIsABug(t *testing.T) {
	assert.PanicsWithValue(t, `BUG: notice code "no-such" is not in the catalogue`, func() { For("no-such") })
}

func TestAllIsACopy(t *testing.T) {
	All()[0].Code = "spoilt"
	assert.NotEqual(t, "spoilt", All()[0].Code)
}
