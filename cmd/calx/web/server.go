package web

import (
	"context"
	"errors"
	"log"
	"net"
	"net/http"
	"time"
)

// endWithin is how long answers under way may take when the daemon ends.
const endWithin = 2 * time.Second

// Serve answers on l until ctx ends; live streams end with it. It closes l.
// errorLog takes what net/http has to say; nil is standard error.
func Serve(ctx context.Context, l net.Listener, h http.Handler, errorLog *log.Logger) error {
	s := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       15 * time.Second,
		WriteTimeout:      30 * time.Second, // streams and copies set their own
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ErrorLog:          errorLog,
	}
	done := make(chan error, 1)
	go func() { done <- s.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), endWithin)
	defer cancel()
	err := s.Shutdown(end)
	if errors.Is(err, context.DeadlineExceeded) {
		err = s.Close()
	}
	<-done
	return err
}
