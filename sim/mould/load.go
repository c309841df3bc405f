package mould

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/invopop/jsonschema"

	"calx/sim/quantity"
)

//go:embed moulds/*.yaml
var shipped embed.FS

// Shipped lists the names of the moulds that come with calx, sorted.
func Shipped() []string {
	entries, err := shipped.ReadDir("moulds")
	if err != nil {
		panic("BUG: the embedded moulds are gone: " + err.Error())
	}
	var out []string
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(out)
	return out
}

// ShippedFile returns the YAML text of a shipped mould, fit for [Load]. The
// error names the moulds there are.
func ShippedFile(name string) ([]byte, error) {
	if !slices.Contains(Shipped(), name) {
		return nil, fmt.Errorf("mould %q does not come with calx; there are %s", name, strings.Join(Shipped(), ", "))
	}
	return shipped.ReadFile("moulds/" + name + ".yaml")
}

// Load reads and checks one mould. file only names the place in errors, which
// are of type [quantity.Errors]: file, line, column, the value read and what
// would be right, all problems at once.
func Load(file string, data []byte) (Params, error) {
	var p Params
	if err := quantity.Decode(file, data, &p); err != nil {
		return Params{}, err
	}
	return p, nil
}

// Schema is the JSON Schema (draft 2020-12) of a mould file, for editors.
func Schema() []byte {
	r := jsonschema.Reflector{DoNotReference: true, Anonymous: true, FieldNameTag: "yaml"}
	s := r.Reflect(&Params{})
	s.Title = "calx mould"
	s.Description = "A flask with its investment and patterns. Every value carries its unit, such as 90 mm or 12 %."
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(s); err != nil {
		panic("BUG: the mould schema cannot be written: " + err.Error())
	}
	return out.Bytes()
}
