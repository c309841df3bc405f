package main

import (
	_ "embed"
	"html/template"
	"io"
	"regexp"
	"strings"

	"calx/profile/sheet"
)

//go:embed sheet.html
var sheetHTML string

var sheetPage = template.Must(template.New("sheet").Funcs(template.FuncMap{"tied": tied}).Parse(sheetHTML))

// figure is a number before its unit.
var figure = regexp.MustCompile(`\d (?:°C|°F|%|(?:mm|cm3|g|kg|min|h|C|F)\b)`)

// tied keeps figures and their units on one line.
func tied(s string) string {
	return figure.ReplaceAllStringFunc(s, func(m string) string { return strings.Replace(m, " ", "\u00a0", 1) })
}

// writeSheetPage writes one page a sheet: nothing is fetched to show it.
func writeSheetPage(w io.Writer, sheets []sheet.Sheet, inF bool) error {
	data := struct {
		Sheets []sheetView
		Marks  string
	}{Marks: sheetMarks}
	for _, s := range sheets {
		data.Sheets = append(data.Sheets, viewSheet(s, inF))
	}
	return sheetPage.Execute(w, data)
}
