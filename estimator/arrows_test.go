package estimator_test

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// The packages import each other only as DEVELOPERS.md draws it: the arrows
// below, and no others within the module.
func TestArrows(t *testing.T) {
	allowed := map[string][]string{
		"elbowroom/blocks/source":            {},
		"elbowroom/blocks/source/sourcetest": {"elbowroom/blocks/source"},
		"elbowroom/blocks":                   {"elbowroom/blocks/source"},
		"elbowroom/catalog":                  {"elbowroom/blocks", "elbowroom/blocks/source"},
		"elbowroom/estimator":                {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator/pack"},
		"elbowroom/estimator/ask":            {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator"},
		"elbowroom/estimator/calibrate":      {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator"},
		"elbowroom/estimator/reconcile":      {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator"},
		"elbowroom/estimator/pack":           {},
		"elbowroom/estimator/outside":        {},
		"elbowroom/estimator/estimatortest":  {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/catalog", "elbowroom/estimator"},
		"elbowroom/estimator/chance":         {"elbowroom/blocks"},
		"elbowroom/estimator/plan":           {"elbowroom/estimator", "elbowroom/estimator/pack", "elbowroom/blocks"},
		"elbowroom/estimator/lighten":        {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator", "elbowroom/estimator/plan"},
		"elbowroom/cmd/elbowroom":            {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/catalog", "elbowroom/cmd/elbowroom/page", "elbowroom/estimator", "elbowroom/estimator/ask", "elbowroom/estimator/calibrate", "elbowroom/estimator/lighten", "elbowroom/estimator/reconcile"},
		"elbowroom/cmd/elbowroom/page":       {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/estimator", "elbowroom/estimator/ask"},
		"elbowroom/cmd/gauge":                {"elbowroom/blocks", "elbowroom/blocks/source", "elbowroom/catalog", "elbowroom/estimator"},
	}
	list := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "elbowroom/...")
	out, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		name, imports := words[0], words[1:]
		arrows, known := allowed[name]
		if !known {
			t.Errorf("%s is not drawn in DEVELOPERS.md", name)
			continue
		}
		for _, imported := range imports {
			if strings.HasPrefix(imported, "elbowroom/") && !slices.Contains(arrows, imported) {
				t.Errorf("%s imports %s, which DEVELOPERS.md does not draw", name, imported)
			}
		}
	}
}
