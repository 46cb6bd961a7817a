package main

import (
	"regexp"
	"strings"
	"testing"
)

// The check of a device in the README runs as it stands there, and the device is as bad as the text says. Common practice, no
// published source: a device begins to act at 1.06 to 1.3 times its U_C, 1.06 x 820 V = 869.2 V, and 0.8 U_W = 0.8 x 800 V = 640 V
// is the most that may reach the equipment.
func TestCheckInReadme(t *testing.T) {
	commands := regexp.MustCompile(`(?s)echo '([^']*)' \|\s+go run \. check-device -\n`).FindAllStringSubmatch(string(readFile(t, "README.md")), -1)
	if len(commands) != 1 {
		t.Fatalf("%d commands with check-device, want 1", len(commands))
	}
	status, out, errs := command(t, commands[0][1], "check-device", "-")
	for _, want := range []string{"ineffective\n", "869.2", "640 V"} {
		if status != exitOK || !strings.Contains(out, want) {
			t.Errorf("status %d, without %q: %s%s", status, want, out, errs)
		}
	}
}

// What the README shows of the demonstration is what the program prints.
func TestSummaryInReadme(t *testing.T) {
	blocks := regexp.MustCompile("(?s)\n```\n(Answer .*?)```\n").FindAllStringSubmatch(string(readFile(t, "README.md")), -1)
	if len(blocks) != 1 {
		t.Fatalf("%d blocks of a summary, want 1", len(blocks))
	}
	status, out, errs := command(t, "", "assess", "testdata/demo/health-post.json")
	if status != exitOK {
		t.Fatalf("status %d: %s", status, errs)
	}
	for _, part := range strings.Split(blocks[0][1], "…\n") {
		if !strings.Contains(out, part) {
			t.Errorf("the summary has no lines\n%s", part)
		}
	}
}
