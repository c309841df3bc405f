package web_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

const pieceJSON = `{"piece":{"name":"T1","material":"twig","section_m":0.011,"hold_c":700,"hold_s":3600,"state":"charred"}}`

func TestNotebookThroughTheAPI(t *testing.T) {
	r := newRig(t, 600)
	w := r.ask("POST", "/api/notebook", pieceJSON)
	require.Equal(t, http.StatusCreated, w.Code, w.Body)
	var n record.Note
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &n))
	require.EqualValues(t, 1, n.ID)
	require.EqualValues(t, 1, n.Revision)
	require.False(t, n.At.IsZero())

	w = r.ask("GET", "/api/notebook?kind=piece", "")
	require.Equal(t, http.StatusOK, w.Code)
	var list struct{ Notes []record.Note }
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &list))
	require.Equal(t, []record.Note{n}, list.Notes)
	kept, err := r.log.Notes(record.PieceNote)
	require.NoError(t, err)
	require.Equal(t, list.Notes, kept)
}

func TestNotebookRefusals(t *testing.T) {
	r := newRig(t, 600)
	for _, c := range []struct {
		name, body string
		code       int
		says       string
	}{
		{"nothing in it", `{}`, http.StatusUnprocessableEntity, "neither a piece nor a casting"},
		{"bad state", `{"piece":{"material":"twig","section_m":0.011,"hold_c":700,"hold_s":9,"state":"grey"}}`, http.StatusUnprocessableEntity, "char core"},
		{"no such entry", `{"id":4,"revision":1,"casting":{}}`, http.StatusUnprocessableEntity, "no such entry"},
		{"no such firing", `{"casting":{"firings":[8]}}`, http.StatusUnprocessableEntity, "no such firing"},
		{"unknown field", `{"casting":{"colour":"red"}}`, http.StatusBadRequest, "colour"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := r.ask("POST", "/api/notebook", c.body)
			require.Equal(t, c.code, w.Code, w.Body)
			require.Contains(t, w.Body.String(), c.says)
		})
	}
	require.Equal(t, http.StatusCreated, r.ask("POST", "/api/notebook", pieceJSON).Code)
	mend := `{"id":1,"revision":1,` + pieceJSON[1:]
	require.Equal(t, http.StatusCreated, r.ask("POST", "/api/notebook", mend).Code)
	w := r.ask("POST", "/api/notebook", mend)
	require.Equal(t, http.StatusConflict, w.Code, w.Body)
	require.Contains(t, w.Body.String(), "mended meanwhile")

	require.Equal(t, http.StatusBadRequest, r.ask("GET", "/api/notebook?kind=cake", "").Code)
	w = r.ask("POST", "/api/notebook", pieceJSON, "Sec-Fetch-Site", "cross-site")
	require.Equal(t, http.StatusForbidden, w.Code, "another site's page")
}
