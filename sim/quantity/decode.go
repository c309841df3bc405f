package quantity

import (
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Bounds of a file. The YAML parser works for minutes on brackets that are
// opened a hundred thousand times; no file calx reads has 4 kB or nests deeper
// than 4.
const (
	maxDepth = 32
	maxFile  = 64 << 10 // bytes
)

// Decode reads one YAML document into v, a pointer to a struct. It is strict:
// a field v does not know, a field given twice and a missing field are errors.
// A field tagged `yaml:"name,omitempty"` may be missing and then keeps the
// value v came with; so defaults are set before the call. Anchors, aliases,
// tags and several documents are refused, since none of the files needs them.
//
// file is used only to name places. The error is of type [Errors] and holds
// every problem found; v is then unchanged. If v is a [Checker], it is
// asked once everything has been read.
func Decode(file string, data []byte, v any) error { return decode(file, data, "", v) }

// DecodeField reads one field of a document into v, as strictly as Decode, and
// looks at nothing beside it.
func DecodeField(file string, data []byte, name string, v any) error {
	return decode(file, data, name, v)
}

// decode reads the field of that name, or with "" the whole.
func decode(file string, data []byte, name string, v any) error {
	target := reflect.ValueOf(v)
	if target.Kind() != reflect.Pointer || target.IsNil() {
		return fmt.Errorf("decode %s: need a pointer to read into, got %T", file, v)
	}
	d := decoder{file: file, places: map[string]*token.Token{}}
	fresh := reflect.New(target.Type().Elem())
	fresh.Elem().Set(target.Elem())
	body, err := d.document(data)
	if err == nil && name != "" {
		body, err = d.field(body, name)
	}
	if err != nil {
		return err
	}
	d.node(body, fresh.Elem(), name, 0)
	if c, ok := fresh.Interface().(Checker); ok && len(d.found) == 0 {
		for _, p := range c.Check() {
			path := strings.Trim(name+"."+p.Path, ".")
			d.add(d.place(path), "%s", strings.TrimPrefix(path+": "+p.Text, ": "))
		}
	}
	if len(d.found) > 0 {
		return d.found.sorted()
	}
	target.Elem().Set(fresh.Elem())
	return nil
}

type decoder struct {
	file   string
	places map[string]*token.Token // where each path stands
	found  Errors
}

// document parses data and returns its one body.
func (d *decoder) document(data []byte) (ast.Node, error) {
	if len(data) > maxFile {
		return nil, Errors{{d.file, 1, 1, fmt.Sprintf("the file is %d kB long; at most %d kB are read, is this the right file?", len(data)>>10, maxFile>>10)}}
	}
	tokens := lexer.Tokenize(string(data))
	if at := tooDeep(tokens); at != nil {
		return nil, Errors{{d.file, at.Line, at.Column, fmt.Sprintf("brackets nested more than %d deep; close them", maxDepth)}}
	}
	if at := tabbed(tokens); at != nil {
		return nil, Errors{{d.file, at.Line, at.Column, "a tab stands in this value; write a space in its place"}}
	}
	tree, err := parser.Parse(tokens, 0)
	if err != nil {
		e := Error{File: d.file, Line: 1, Column: 1, Text: "not readable as YAML: " + firstLine(err.Error())}
		var syntax yaml.Error
		if errors.As(err, &syntax) && syntax.GetToken() != nil {
			at := syntax.GetToken().Position
			e.Line, e.Column, e.Text = at.Line, at.Column, "not readable as YAML: "+syntax.GetMessage()
		}
		return nil, Errors{e}
	}
	var bodies []ast.Node
	for _, doc := range tree.Docs {
		if doc.Body != nil && doc.Body.Type() != ast.CommentType {
			bodies = append(bodies, doc.Body)
		}
	}
	switch len(bodies) {
	case 0:
		return nil, Errors{{d.file, 1, 1, "the file is empty; lines such as \"name: value\" are needed"}}
	case 1:
		return bodies[0], nil
	}
	at := position(bodies[1])
	return nil, Errors{{d.file, at.Line, at.Column, "a second document starts here; one file holds one document"}}
}

// field is what stands at the field of that name.
func (d *decoder) field(body ast.Node, name string) (found ast.Node, err error) {
	if m, ok := body.(ast.MapNode); ok {
		for it := m.MapRange(); it.Next(); {
			switch at := it.Key().GetToken(); {
			case at.Value != name:
			case found != nil:
				return nil, Errors{{d.file, at.Position.Line, at.Position.Column, name + ": given twice; keep one"}}
			default:
				found = it.Value()
			}
		}
	}
	if found == nil {
		return nil, Errors{{d.file, 1, 1, name + ": missing; it must be given"}}
	}
	return found, nil
}

// tooDeep finds the bracket that nests too deep, before the parser has to.
func tooDeep(ts token.Tokens) *token.Position {
	depth := 0
	for _, t := range ts {
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			if depth++; depth > maxDepth {
				return t.Position
			}
		case token.SequenceEndType, token.MappingEndType:
			depth--
		}
	}
	return nil
}

// tabbed finds a value with a tab in it that the lexer dropped, which makes 21/2
// in of 2 and 1/2 in.
func tabbed(ts token.Tokens) *token.Position {
	for _, t := range ts {
		if t.Type == token.CommentType || strings.Contains(t.Value, "\t") {
			continue
		}
		for line := range strings.SplitSeq(t.Origin, "\n") {
			if strings.Contains(strings.TrimSpace(line), "\t") {
				return t.Position
			}
		}
	}
	return nil
}

func (d *decoder) add(at *token.Position, format string, args ...any) {
	if at == nil {
		at = &token.Position{Line: 1, Column: 1}
	}
	d.found = append(d.found, Error{d.file, at.Line, at.Column, fmt.Sprintf(format, args...)})
}

// place finds where path stands in the file, or the nearest parent that does.
func (d *decoder) place(path string) *token.Position {
	for path != "" {
		if t := d.places[path]; t != nil {
			return t.Position
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return nil
}

// node reads n into dst, which must be settable.
func (d *decoder) node(n ast.Node, dst reflect.Value, path string, depth int) {
	d.places[path] = n.GetToken()
	if depth > maxDepth {
		d.add(position(n), "%s: nested more than %d deep", label(path), maxDepth)
		return
	}
	switch n.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode, *ast.MergeKeyNode:
		d.add(position(n), "%s: YAML anchors, aliases and tags are not used here; write the value itself", label(path))
		return
	case *ast.NullNode:
		d.add(position(n), "%s: no value; give one or remove the line", label(path))
		return
	}
	if dst.Kind() == reflect.Pointer {
		dst.Set(reflect.New(dst.Type().Elem()))
		d.node(n, dst.Elem(), path, depth)
		return
	}
	if reader, ok := dst.Addr().Interface().(encoding.TextUnmarshaler); ok {
		d.text(n, reader, path)
		return
	}
	switch dst.Kind() {
	case reflect.Struct:
		d.mapping(n, dst, path, depth)
	case reflect.Slice:
		d.sequence(n, dst, path, depth)
	default:
		d.scalar(n, dst, path)
	}
}

func (d *decoder) text(n ast.Node, reader encoding.TextUnmarshaler, path string) {
	s, ok := scalarText(n)
	if !ok {
		d.add(position(n), "%s: one value is needed, read %s", label(path), n.Type().YAMLName())
		return
	}
	if err := reader.UnmarshalText([]byte(s)); err != nil {
		d.add(position(n), "%s: %v", label(path), err)
	}
}

func (d *decoder) mapping(n ast.Node, dst reflect.Value, path string, depth int) {
	fields := fieldsOf(dst.Type())
	m, ok := n.(ast.MapNode)
	if !ok {
		d.add(position(n), "%s: read %s; fields are needed here: %s", label(path), n.Type().YAMLName(), names(fields))
		return
	}
	seen := map[string]bool{}
	for it := m.MapRange(); it.Next(); {
		key := it.Key().GetToken().Value
		f, known := fields.find(key)
		switch {
		case !known:
			d.add(position(it.Key()), "%s: unknown field; the fields here are %s", join(path, key), names(fields))
		case seen[key]:
			d.add(position(it.Key()), "%s: given twice; keep one", join(path, key))
		default:
			d.node(it.Value(), dst.Field(f.index), join(path, key), depth+1)
		}
		seen[key] = true
	}
	for _, f := range fields {
		if !f.optional && !seen[f.name] {
			d.add(position(n), "%s: missing; it must be given", join(path, f.name))
		}
	}
}

func (d *decoder) sequence(n ast.Node, dst reflect.Value, path string, depth int) {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		d.add(position(n), "%s: read %s; a list is needed, each entry starting with \"- \"", label(path), n.Type().YAMLName())
		return
	}
	list := reflect.MakeSlice(dst.Type(), len(s.Values), len(s.Values))
	for i, v := range s.Values {
		d.node(v, list.Index(i), fmt.Sprintf("%s[%d]", path, i), depth+1)
	}
	dst.Set(list)
}

func (d *decoder) scalar(n ast.Node, dst reflect.Value, path string) {
	s, ok := scalarText(n)
	want := "text"
	if ok {
		switch dst.Kind() {
		case reflect.String:
			dst.SetString(s)
			return
		case reflect.Bool:
			want = "true or false"
			if s == "true" || s == "false" {
				dst.SetBool(s == "true")
				return
			}
		case reflect.Int, reflect.Int64:
			want = "a whole number"
			if v, err := strconv.ParseInt(s, 10, 64); err == nil && !dst.OverflowInt(v) {
				dst.SetInt(v)
				return
			}
		case reflect.Float64:
			want = "a plain number"
			if v, err := strconv.ParseFloat(s, 64); err == nil && v-v == 0 {
				dst.SetFloat(v)
				return
			}
		default:
			d.add(position(n), "%s: cannot be read from a file", label(path))
			return
		}
	}
	read := n.Type().YAMLName() // a list or a map, however long
	if ok {
		read = s
	}
	d.add(position(n), "%s: read %s; %s is needed", label(path), read, want)
}

// scalarText is the text of a scalar as written, without its quotes.
func scalarText(n ast.Node) (string, bool) {
	switch v := n.(type) {
	case *ast.StringNode:
		return v.Value, true
	case *ast.LiteralNode:
		return v.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

type field struct {
	name     string
	index    int
	optional bool
}

type fieldList []field

func (l fieldList) find(name string) (field, bool) {
	for _, f := range l {
		if f.name == name {
			return f, true
		}
	}
	return field{}, false
}

// fieldsOf lists the exported fields of t by their yaml tags.
func fieldsOf(t reflect.Type) fieldList {
	var out fieldList
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if !f.IsExported() || name == "-" {
			continue
		}
		if name == "" {
			name = strings.ToLower(f.Name)
		}
		out = append(out, field{name, i, strings.Contains(options, "omitempty")})
	}
	return out
}

func names(l fieldList) string {
	out := make([]string, len(l))
	for i, f := range l {
		out[i] = f.name
	}
	return strings.Join(out, ", ")
}

// position is where n starts; for a mapping, its first key.
func position(n ast.Node) *token.Position {
	if m, ok := n.(ast.MapNode); ok {
		if it := m.MapRange(); it.Next() {
			return it.Key().GetToken().Position
		}
	}
	if t := n.GetToken(); t != nil {
		return t.Position
	}
	return nil
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func label(path string) string {
	if path == "" {
		return "the file"
	}
	return path
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}
