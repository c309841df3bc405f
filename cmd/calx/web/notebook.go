package web

import (
	"errors"
	"net/http"
	"time"

	"calx/storage"
	"calx/storage/record"
)

// notebook adds the paths of the notebook: the daemon has the log, so the
// commands come here.
func (a *api) notebook(m *http.ServeMux) {
	m.HandleFunc("GET /api/notebook", a.notes)
	m.HandleFunc("POST /api/notebook", a.addNote)
}

var noteKinds = map[string]record.NoteKind{"piece": record.PieceNote, "casting": record.CastingNote}

// notes answers with every revision of every entry of a kind.
func (a *api) notes(w http.ResponseWriter, r *http.Request) {
	kind, ok := noteKinds[r.URL.Query().Get("kind")]
	if !ok {
		refuse(w, http.StatusBadRequest, "kind is %q; it must be piece or casting", r.URL.Query().Get("kind"))
		return
	}
	answer := struct {
		Notes    []record.Note `json:"notes"`
		Problems []string      `json:"problems,omitempty"` // revisions that cannot be read
	}{Notes: []record.Note{}}
	notes, err := a.Log.Notes(kind)
	switch {
	case errors.Is(err, storage.ErrDamaged):
		answer.Problems = []string{err.Error()}
	case err != nil:
		refuse(w, http.StatusInternalServerError, "%v", err)
		return
	}
	answer.Notes = append(answer.Notes, notes...)
	write(w, http.StatusOK, answer)
}

// addNote writes a revision. Its time is that of this board.
func (a *api) addNote(w http.ResponseWriter, r *http.Request) {
	var n record.Note
	if !take(w, r, &n) {
		return
	}
	n.At = time.Now()
	n, err := a.Log.AddNote(n)
	var field record.FieldError
	switch {
	case err == nil:
		write(w, http.StatusCreated, n)
	case errors.As(err, &field):
		write(w, http.StatusUnprocessableEntity, problem{"the note cannot be taken", []string{err.Error()}})
	case errors.Is(err, storage.ErrChanged):
		refuse(w, http.StatusConflict, "%v", err)
	case errors.Is(err, storage.ErrNoNote), errors.Is(err, storage.ErrNoFiring):
		refuse(w, http.StatusUnprocessableEntity, "%v", err)
	default:
		a.Logf("add to the notebook: %v", err)
		refuse(w, http.StatusServiceUnavailable, "%v", err)
	}
}
