package calx_test

import (
	"go/ast"
	"go/token"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// room is one folder of the house: which others it may import, and why no
// more than those. "*" is every room; "controller/..." is a folder and all
// below it.
type room struct {
	may  []string
	pure bool // no os, net or log, no clock, no goroutine, no printing
	why  string
}

var rooms = map[string]room{
	"cmd/calx":         {may: []string{"*"}, why: "wires everything together; nothing else may"},
	"cmd/calx/config":  {may: []string{"controller/relay", "controller/resume", "controller/tidings", "sensor/thermocouple", "sim/quantity"}, why: "reads a file and opens nothing that it names"},
	"cmd/calx/board":   {may: []string{"cmd/calx/config", "cmd/calx/plug", "controller", "controller/warden", "sensor/...", "storage/record"}, why: "turns names into devices; it does not ask whether metal or an emulator stands behind them"},
	"cmd/calx/inside":  {may: []string{"controller", "profile", "profile/pieces", "storage/record", "sim/kiln", "sim/mould", "sim/quantity"}, why: "what is expected of moulds before a firing: it runs none"},
	"cmd/calx/rerun":   {may: []string{"cmd/calx/inside", "controller/...", "profile", "sensor", "storage/record", "sim/kiln", "sim/mould"}, why: "derives a firing again from its records: what is not in them cannot get in here"},
	"cmd/calx/station": {may: []string{"cmd/calx/board", "cmd/calx/config", "cmd/calx/inside", "cmd/calx/plug", "cmd/calx/rerun", "controller/...", "profile", "sensor/...", "storage/...", "sim/kiln", "sim/mould", "sim/quantity"}, why: "runs one kiln: chips, log, loop and plug meet here; it prints nothing and serves nothing"},
	"cmd/calx/web":     {may: []string{"controller/...", "storage/...", "profile", "sensor", "sim/kiln", "sim/mould", "cmd/calx/station", "cmd/calx/outbox", "cmd/calx/chart", "cmd/calx/summary", "cmd/calx/health"}, why: "shows snapshots and passes commands on; it opens no chip and no pin"},
	"cmd/calx/outbox":  {may: []string{"cmd/calx/config", "cmd/calx/station", "controller", "controller/notice", "controller/tidings", "profile", "sensor", "storage", "storage/record"}, why: "tells people; the loop never waits for it, and it presses nothing"},
	"cmd/calx/health":  {may: []string{"cmd/calx/summary", "sim/kiln", "storage/record"}, why: "condenses firings to figures and draws lines through them; it fetches none"},
	"cmd/calx/intake":  {may: []string{"controller/notice", "profile", "storage/record"}, why: "turns a stranger's table into records; it writes none of them"},
	"cmd/calx/whatif":  {may: []string{"cmd/calx/summary", "controller/...", "profile", "sensor", "storage/record", "sim/bench", "sim/kiln", "sim/mould"}, why: "fires on a simulated kiln only: it can reach no pin"},
	"cmd/calx/plug":    {may: []string{"controller/warden"}, why: "the process that owns the outputs opens no SPI port, no network and no database, so nothing that hangs the daemon can hang it"},
	"deploy/rig/guest": {may: []string{"sensor/thermocouple", "sim/chip", "sim/kiln", "storage/..."}, why: "process 1 of the board on which the real calx is tried: it has kiln and chip simulated, and nothing of what it tries"},
	"deploy/rig/host":  {why: "sees the board from outside only"},
	"cmd/calx/chart":   {may: []string{"storage/record", "profile", "sensor", "sim/quantity", "cmd/calx/summary"}, why: "draws records; it does not fetch them"},
	"cmd/calx/summary": {may: []string{"storage/record", "profile", "sensor", "sim/quantity"}, why: "measures records; it does not fetch them"},

	"controller":          {pure: true, may: []string{"controller/law", "controller/guard", "controller/relay", "controller/notice", "controller/warden", "profile", "sensor", "storage/record", "sim/mould"}, why: "a firing must be derived again from its log, so it may depend on nothing that has state elsewhere"},
	"controller/law":      {pure: true, why: "arithmetic: it knows no kiln, no profile and no pin"},
	"controller/guard":    {pure: true, may: []string{"sensor", "controller/notice", "controller/twin"}, why: "a guard that shares code with what it watches fails with it; a verdict is a notice code"},
	"controller/twin":     {pure: true, may: []string{"sim/kiln"}, why: "what the kiln file expects of the relay as commanded; it judges nothing and knows no law"},
	"controller/resume":   {pure: true, why: "a judgement over figures: what they rest on is read by whoever asks"},
	"controller/relay":    {pure: true, why: "duty in, edges out"},
	"controller/notice":   {pure: true, why: "a catalogue of words; it raises nothing itself"},
	"controller/tidings":  {pure: true, may: []string{"controller/notice", "profile", "storage/record"}, why: "what is told and when follows from events, rules and the clock given to it; it sends nothing"},
	"controller/warden":   {pure: true, why: "the rule by which heat is lent must be small enough to read whole"},
	"controller/identify": {pure: true, may: []string{"sim/kiln", "sim/quantity", "controller/law", "controller/guard", "controller/twin"}, why: "fits a kiln to numbers given to it and derives the figures that law and guards need; it reads no log"},

	"sensor":              {pure: true, why: "the types that drivers produce and the controller consumes: below both"},
	"sensor/thermocouple": {pure: true, why: "reference functions of a standard; they change when the standard does"},
	"sensor/max31855":     {may: []string{"sensor", "sensor/thermocouple"}, why: "a driver never knows what a firing is"},
	"sensor/max31856":     {may: []string{"sensor", "sensor/thermocouple"}, why: "a driver never knows what a firing is"},
	"sensor/max6675":      {may: []string{"sensor", "sensor/thermocouple"}, why: "a driver never knows what a firing is"},

	"profile":        {pure: true, why: "a text means the same on every kiln; limits are passed in"},
	"profile/plan":   {pure: true, may: []string{"profile", "profile/pieces", "sim/mould", "sim/kiln", "sim/quantity"}, why: "reasons about a firing that has not begun: no log, no controller"},
	"profile/pieces": {pure: true, why: "statistics on evidence given to it"},
	"profile/sheet":  {pure: true, may: []string{"sim/mould", "sim/quantity"}, why: "arithmetic for the bench: it plans no firing and knows no kiln"},

	"storage":        {may: []string{"storage/record"}, why: "keeps records; it never knows what a kiln is beyond them"},
	"storage/record": {pure: true, why: "bytes of today must be readable in ten years, whatever else has changed"},

	"sim/quantity": {pure: true, why: "numbers with units, as people write them"},
	"sim/kiln":     {pure: true, may: []string{"sim/quantity"}, why: "physics; it must not know who controls it"},
	"sim/mould":    {pure: true, may: []string{"sim/quantity"}, why: "physics; it must not know who observes it"},
	"sim/chip":     {may: []string{"sensor/thermocouple"}, why: "emulates a chip from its data sheet; sharing code with the driver under test would hide the driver's mistakes"},
	"sim/bench":    {may: []string{"sim/...", "controller/...", "sensor/...", "storage/...", "profile/..."}, why: "puts simulated parts under the unchanged daemon; cmd and tests alone import it, so no real firing can run on it by accident"},
}

// impure lists files of pure rooms that are the shell around the pure part.
var impure = map[string]string{
	"controller/loop.go": "calls Step from a ticker it is given",
}

// outside lists modules that only some rooms may use.
var outside = []struct {
	module string
	rooms  []string
	why    string
}{
	{"periph.io/", []string{"sensor/max31855", "sensor/max31856", "sensor/max6675", "sim/chip", "sim/bench", "cmd/...", "deploy/rig/..."}, "its types stop at the driver: inside, temperatures are float64 °C"},
	{"go.etcd.io/bbolt", []string{"storage"}, "one room knows the file's layout"},
	{"github.com/prometheus/", []string{"cmd/calx/web", "cmd/calx"}, "metrics are one view of a snapshot, not a way to pass values about"},
	{"github.com/alecthomas/kong", []string{"cmd/calx"}, "flags live in one place"},
	{"github.com/nicholas-fedor/shoutrrr", []string{"cmd/calx/outbox"}, "one room speaks to the services"},
	{"github.com/alecthomas/participle/", []string{"profile"}, "one room reads the language"},
	{"golang.org/x/sys", []string{"cmd/...", "storage", "deploy/rig/..."}, "system calls belong to the shell"},
}

// within reports whether name is one of list, whose entries may end in "/...".
func within(name string, list []string) bool {
	return slices.ContainsFunc(list, func(e string) bool {
		base, below := strings.CutSuffix(e, "/...")
		return e == "*" || name == base || below && strings.HasPrefix(name, base+"/")
	})
}

// below is an import path without the module: "sensor" for "calx/sensor".
func below(pkg string) (name string, ours bool) {
	return strings.CutPrefix(pkg, module+"/")
}

func TestEveryRoomIsInTheTable(t *testing.T) {
	for _, s := range sources(t) {
		if s.room == "" {
			assert.Truef(t, s.test, "%s: the root holds tests only", s.path)
			continue
		}
		r, known := rooms[s.room]
		assert.Truef(t, known, "%s: add the room to the table in rules_test.go, with what it may import and why no more", s.path)
		assert.Truef(t, !known || r.why != "", "%s: the table gives no reason", s.room)
	}
}

func TestImportsGoOneWay(t *testing.T) {
	for _, s := range sources(t) {
		r, known := rooms[s.room]
		for pkg, at := range s.imports() {
			name, ours := below(pkg)
			if !ours || name == s.room {
				continue
			}
			command := within(name, []string{"cmd/..."})
			assert.Falsef(t, command && s.room != "" && !within(s.room, []string{"cmd/..."}),
				"%s: imports %s: nothing outside cmd imports cmd, a program is not a library", s.at(at), pkg)
			if s.test || !known {
				continue // a test may build what it likes around its room
			}
			assert.Truef(t, within(name, r.may), "%s: %s may not import %s: %s", s.at(at), s.room, name, r.why)
			assert.Falsef(t, name == "sim/bench" && !within(s.room, []string{"cmd/..."}),
				"%s: only cmd and tests import sim/bench", s.at(at))
		}
	}
}

func TestModulesStayInTheirRooms(t *testing.T) {
	for _, s := range sources(t) {
		for pkg, at := range s.imports() {
			for _, o := range outside {
				if strings.HasPrefix(pkg, o.module) && !s.test {
					assert.Truef(t, within(s.room, o.rooms), "%s: %s may not use %s: %s", s.at(at), s.room, pkg, o.why)
				}
			}
		}
	}
}

// What a pure room may not import or take from a package it may import.
var (
	effects = regexp.MustCompile(`^(os|net|log|syscall|unsafe|plugin)(/|$)|^(io/ioutil|runtime/debug|crypto/rand|golang.org/x/.*)$`)
	clocks  = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer", "Local", "LoadLocation"}
	chance  = regexp.MustCompile(`^(New|Rand|Source|PCG|ChaCha8|Zipf)`) // generators that are given their seed
)

// pureFiles are the files that must give the same output for the same input.
func pureFiles(t *testing.T) []source {
	return slices.DeleteFunc(sources(t), func(s source) bool {
		return !rooms[s.room].pure || s.test || impure[s.path] != ""
	})
}

func TestPureRoomsHaveNoEffects(t *testing.T) {
	for _, s := range pureFiles(t) {
		for pkg, at := range s.imports() {
			assert.Falsef(t, effects.MatchString(pkg), "%s: a pure room may not import %s: pass the value in", s.at(at), pkg)
		}
		s.calls(func(pkg, name string, at ast.Node) {
			clock := pkg == "time" && slices.Contains(clocks, name)
			assert.Falsef(t, clock, "%s: time.%s in a pure room: time is an input", s.at(at), name)
			prints := pkg == "fmt" && strings.HasPrefix(name, "Print")
			assert.Falsef(t, prints, "%s: fmt.%s in a pure room: return the text", s.at(at), name)
			random := strings.HasPrefix(pkg, "math/rand") && !chance.MatchString(name)
			assert.Falsef(t, random, "%s: rand.%s in a pure room: take a seeded generator", s.at(at), name)
		})
		ast.Inspect(s.ast, func(n ast.Node) bool {
			_, starts := n.(*ast.GoStmt)
			assert.Falsef(t, starts, "%s: a goroutine in a pure room: order of events must be an input", s.path)
			return true
		})
	}
}

// The race detector is slow, so the Makefile lists where it is worth its time:
// all rooms that start a goroutine.
func TestEveryGoroutineIsRaced(t *testing.T) {
	body, ok := text(t, "Makefile")
	assert.True(t, ok)
	m := regexp.MustCompile(`(?m)^RACE_ROOMS = (.*)$`).FindStringSubmatch(body)
	if !assert.NotNil(t, m, "the Makefile has no RACE_ROOMS") {
		return
	}
	raced := strings.Fields(strings.ReplaceAll(m[1], "./", ""))
	for _, s := range sources(t) {
		ast.Inspect(s.ast, func(n ast.Node) bool {
			if g, starts := n.(*ast.GoStmt); starts && !s.test && !within(s.room, []string{"deploy/..."}) { // what has no tests
				assert.Truef(t, within(s.room, raced), "%s: a goroutine in %s, which is not among RACE_ROOMS of the Makefile", s.at(g), s.room)
			}
			return true
		})
	}
}

func TestTestsDoNotWait(t *testing.T) {
	for _, s := range sources(t) {
		if _, bubble := s.imports()["testing/synctest"]; bubble || !s.test {
			continue // in a bubble time is fake and sleeping is free
		}
		s.calls(func(pkg, name string, at ast.Node) {
			assert.Falsef(t, pkg == "time" && name == "Sleep", "%s: a test that sleeps is slow or flaky: use testing/synctest, or wait for what you want to see", s.at(at))
			now := pkg == "time" && name == "Now" && rooms[s.room].pure
			assert.Falsef(t, now, "%s: time.Now in a test of a pure room: give a fixed time", s.at(at))
		})
		ast.Inspect(s.ast, func(n ast.Node) bool {
			c, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			f, ok := c.Fun.(*ast.SelectorExpr)
			if !ok || !strings.HasPrefix(f.Sel.Name, "Listen") {
				return true
			}
			for _, a := range c.Args {
				l, ok := a.(*ast.BasicLit)
				fixed := ok && l.Kind == token.STRING && fixedPort.MatchString(l.Value)
				assert.Falsef(t, fixed, "%s: a fixed port may be taken: listen on port 0", s.at(c))
			}
			return true
		})
	}
}

var fixedPort = regexp.MustCompile(`:[1-9]\d*["` + "`" + `]$`)

func TestEveryPackageSaysWhatItIsFor(t *testing.T) {
	docs := map[string][]string{}
	for _, s := range sources(t) {
		if s.test || s.room == "" {
			continue
		}
		if _, seen := docs[s.room]; !seen {
			docs[s.room] = nil
		}
		if s.ast.Doc.Text() != "" {
			docs[s.room] = append(docs[s.room], s.path)
		}
	}
	for room, list := range docs {
		assert.Lenf(t, list, 1, "%s: exactly one file carries the package comment", room)
	}
}

func TestExportedNamesAreExplained(t *testing.T) {
	for _, s := range sources(t) {
		if s.test || s.ast.Name.Name == "main" {
			continue
		}
		for _, d := range s.ast.Decls {
			for _, n := range undocumented(d) {
				assert.Failf(t, "no comment", "%s: %s is exported: say what it is, with unit and range", s.at(n), n.Name)
			}
		}
	}
}

// standard names methods whose meaning the standard library fixes.
var standard = []string{"String", "Error", "Unwrap", "Is", "As", "Len", "Less", "Swap", "MarshalJSON", "UnmarshalJSON", "MarshalText", "UnmarshalText"}

// undocumented lists the exported names of d without a comment. In a group the
// comment of the group, one at the line's end, or one further up that names it
// will do.
func undocumented(d ast.Decl) (bare []*ast.Ident) {
	switch d := d.(type) {
	case *ast.FuncDecl:
		ofHidden := d.Recv != nil && !ast.IsExported(receiver(d.Recv.List[0].Type))
		if d.Name.IsExported() && d.Doc.Text() == "" && !ofHidden && !(d.Recv != nil && slices.Contains(standard, d.Name.Name)) {
			bare = append(bare, d.Name)
		}
	case *ast.GenDecl:
		before := "" // what the spec above says: one comment may explain a run of names
		for _, spec := range d.Specs {
			switch spec := spec.(type) {
			case *ast.TypeSpec:
				if spec.Name.IsExported() && d.Doc.Text()+spec.Doc.Text()+spec.Comment.Text() == "" {
					bare = append(bare, spec.Name)
				}
			case *ast.ValueSpec:
				if spec.Doc != nil {
					before = spec.Doc.Text()
				}
				for _, n := range spec.Names {
					if n.IsExported() && d.Doc.Text()+spec.Doc.Text()+spec.Comment.Text() == "" && !strings.Contains(before, n.Name) {
						bare = append(bare, n)
					}
				}
			}
		}
	}
	return bare
}

func receiver(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.StarExpr:
		return receiver(e.X)
	case *ast.IndexExpr:
		return receiver(e.X)
	case *ast.Ident:
		return e.Name
	}
	return ""
}

// Marks of work left undone, and paths that exist on one machine only. Written
// in pieces, since this file is searched as well.
var unwanted = regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X|HA` + `CK)\b|/wo` + `rk/|/ro` + `ot/|/ho` + `me/[a-z]|C:\\Us` + `ers|/Us` + `ers/`)

func TestNothingUnfinishedAndNoMachinePaths(t *testing.T) {
	for _, p := range files(t) {
		body, ok := text(t, p)
		if !ok {
			continue
		}
		for i, line := range strings.Split(body, "\n") {
			assert.Falsef(t, unwanted.MatchString(line), "%s:%d: %q", p, i+1, unwanted.FindString(line))
		}
	}
}
