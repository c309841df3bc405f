package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A mistake in one answer must not take the daemon, or the connection, along.
func TestPanicIsAnswered(t *testing.T) {
	said := ""
	a := &api{Options: Options{Logf: func(f string, args ...any) { said = fmt.Sprintf(f, args...) }}}
	h := a.recovering(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("oh") }))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/api/status", nil))
	assert.Equal(t, http.StatusInternalServerError, w.Code)
	assert.Contains(t, w.Body.String(), "calx made a mistake")
	assert.Contains(t, said, "BUG: GET /api/status: oh")
	assert.Contains(t, said, "recover_test.go", "says where")

	h = a.recovering(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	assert.PanicsWithValue(t, http.ErrAbortHandler, func() { h.ServeHTTP(w, httptest.NewRequest("GET", "/", nil)) }, "cuts the answer short")
}
