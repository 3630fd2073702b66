package main

import (
	"os"
	"strings"
	"testing"
)

// The table of residuals in DEVELOPERS.md is what 'gauge residuals' prints. After
// new figures ELBOWROOM_UPDATE=1 rewrites it; read the difference.
func TestResidualsAreTold(t *testing.T) {
	const page = "../../DEVELOPERS.md"
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	const head, fence = "`go run ./cmd/gauge residuals` tells how far the terms are from the points that were kept out:\n\n```\n", "```\n"
	before, rest, found := strings.Cut(string(text), head)
	told, after, ends := strings.Cut(rest, fence)
	if !found || !ends {
		t.Fatal("DEVELOPERS.md has no table of residuals.")
	}
	var printed strings.Builder
	if err := residuals(&printed, "../../catalog/emulated", nil); err != nil {
		t.Fatal(err)
	}
	if printed.String() == told {
		return
	}
	if os.Getenv("ELBOWROOM_UPDATE") == "" {
		t.Fatalf("DEVELOPERS.md tells of the residuals\n%s\nand they are\n%s", told, printed.String())
	}
	if err := os.WriteFile(page, []byte(before+head+printed.String()+fence+after), 0o644); err != nil {
		t.Fatal(err)
	}
}
