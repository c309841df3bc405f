package kiln

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
)

// Text writes the kiln as its file: every value with its unit, in the shortest
// form that [Load] reads back to the same number, so that the kiln is the same
// bit for bit. head stands as comments above, a line each; notes stand behind
// the values, by their paths, such as "elements.rated" or "walls[0].conducts".
// A note for a path that is not there is left out. A p that does not pass
// [Params.Check] is an error.
func (p Params) Text(head []string, notes map[string]string) ([]byte, error) {
	if problems := p.Check(); len(problems) > 0 {
		return nil, fmt.Errorf("kiln %s: %s: %s", p.Name, problems[0].Path, problems[0].Text)
	}
	comments := yaml.CommentMap{}
	for path, note := range notes {
		comments["$."+path] = []*yaml.Comment{yaml.LineComment(" " + oneLine(note))}
	}
	body, err := yaml.MarshalWithOptions(p, yaml.WithComment(comments), yaml.IndentSequence(true), yaml.CustomMarshaler(writeText))
	if err != nil {
		return nil, fmt.Errorf("kiln %s: %w", p.Name, err)
	}
	var b strings.Builder
	for _, h := range head {
		b.WriteString("# " + oneLine(h) + "\n")
	}
	b.Write(body)
	return []byte(b.String()), nil
}

// plainText is text that may stand without quotes, as far as YAML lets it.
var plainText = regexp.MustCompile(`^[\pL\pN][\pL\pN .,()/+-]*$`)

// writeText quotes all else: the YAML library leaves a tab, a line end or a
// leading question mark plain, and reads something else or nothing back.
func writeText(s string) ([]byte, error) {
	if plainText.MatchString(s) && !strings.HasSuffix(s, " ") {
		return yaml.Marshal(s)
	}
	return strconv.AppendQuote(nil, s), nil
}

// oneLine keeps a comment from ending early.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
