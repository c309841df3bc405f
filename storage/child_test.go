package storage

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// Some tests need a process of their own, to kill or to starve: the test
// binary runs itself with the name of the job and the path of the log.
const (
	envJob  = "CALX_TEST_JOB"
	envPath = "CALX_TEST_PATH"
)

var jobs = map[string]func(path string) error{
	"write until killed": writeUntilKilled,
}

func TestMain(m *testing.M) {
	job, ok := jobs[os.Getenv(envJob)]
	if !ok {
		os.Exit(m.Run())
	}
	if err := job(os.Getenv(envPath)); err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
}

// child starts a job; its output ends when it does.
func child(t *testing.T, job, path string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), envJob+"="+job, envPath+"="+path)
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		io.Copy(io.Discard, out)
		cmd.Wait()
		if errs.Len() > 0 {
			t.Errorf("child: %s", errs.String())
		}
	})
	return cmd, bufio.NewScanner(out)
}
