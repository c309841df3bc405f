package calx_test

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/config"
	"calx/controller/notice"
)

// The example is what people copy: it must be read without a complaint, and
// show every field there is.
func TestExampleConfiguration(t *testing.T) {
	const file = "deploy/calx.yaml"
	_, err := config.Load(file)
	require.NoError(t, err)
	body, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, name := range fields(reflect.TypeFor[config.Config]()) {
		assert.Regexpf(t, `(?m)^[ #-]*`+name+`:`, string(body), "%s does not show the field %s", file, name)
	}
}

// fields lists the names of a file's fields, those of nested structures too.
func fields(s reflect.Type) (names []string) {
	for i := range s.NumField() {
		f := s.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if name == "" {
			continue
		}
		names = append(names, name)
		below := f.Type
		if below.Kind() == reflect.Slice {
			below = below.Elem()
		}
		if below.Kind() == reflect.Struct {
			names = append(names, fields(below)...)
		}
	}
	return names
}

// Who is woken at night looks the words up in README.md.
func TestManualListsEveryAlarm(t *testing.T) {
	body, err := os.ReadFile("README.md")
	require.NoError(t, err)
	for _, n := range notice.All() {
		if n.Severity != notice.Info {
			assert.Containsf(t, string(body), "| `"+n.Code+"` |", "README.md has no row for the notice %s", n.Code)
		}
	}
}

// The manual gives every field of calx.yaml, too.
func TestManualListsEverySetting(t *testing.T) {
	body, err := os.ReadFile("README.md")
	require.NoError(t, err)
	for _, name := range fields(reflect.TypeFor[config.Config]()) {
		assert.Containsf(t, string(body), name+"` |", "README.md has no row for the setting %s", name)
	}
}
