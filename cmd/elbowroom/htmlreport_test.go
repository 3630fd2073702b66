package main

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"elbowroom/cmd/elbowroom/page"
)

// figuresOf are the figures of an answer by the names that the report gives
// them.
func figuresOf(a *Answer) map[string]float64 {
	f := map[string]float64{
		"cycles.budget": a.Cycles.Budget, "cycles.mean": a.Cycles.Mean.Total.Value, "cycles.worst": a.Cycles.Worst.Total.Value,
	}
	for _, r := range a.Resources {
		if r.Kind != "jack" {
			f["resource."+r.Name+".used"], f["resource."+r.Name+".limit"], f["resource."+r.Name+".left"] = r.Used.Value, r.Limit, r.Left
			for _, p := range r.Parts {
				f["part."+r.Name+"."+p.Name] = float64(p.Bytes)
			}
		}
	}
	for _, s := range a.Shelves {
		f["shelf."+s.Bank+".used"], f["shelf."+s.Bank+".usable"], f["shelf."+s.Bank+".free"] = float64(s.Used), float64(s.Usable), float64(s.Free)
		for i, item := range s.Items {
			f[fmt.Sprintf("item.%s.%d", s.Bank, i)] = float64(item.Bytes)
		}
	}
	for i := range a.Nodes {
		n := &a.Nodes[i]
		f["node."+n.Name+".mean"], f["node."+n.Name+".worst"], f["node."+n.Name+".stalls"] = n.Mean.Value, n.Worst.Value, n.Stalls.Value
		f["node."+n.Name+".bytes"] = float64(n.Bytes)
	}
	if a.Latency != nil {
		f["latency.samples"] = a.Latency.Samples
	}
	return f
}

var shownFigure = regexp.MustCompile(`<data value="([^"]*)" data-figure="([^"]*)"`)

// tells holds every figure that a text shows to those of check, and every one of
// check's to be shown.
func tells(t *testing.T, what, text string, want map[string]float64) {
	t.Helper()
	shown := map[string]bool{}
	for _, m := range shownFigure.FindAllStringSubmatch(text, -1) {
		name := html.UnescapeString(m[2])
		got, err := strconv.ParseFloat(html.UnescapeString(m[1]), 64)
		value, known := want[name]
		if err != nil || !known || got != value {
			t.Errorf("%s shows %s = %s, check --format json has %v", what, name, m[1], value)
		}
		shown[name] = true
	}
	for name, value := range want {
		if !shown[name] {
			t.Errorf("%s does not show %s, which check --format json has as %v", what, name, value)
		}
	}
}

// TestPicturesTellWhatCheckTells holds every figure of the report and of the
// page to check's JSON, and every figure of the JSON to be shown.
func TestPicturesTellWhatCheckTells(t *testing.T) {
	const address = "127.0.0.1:8080"
	for _, file := range graphFiles(t) {
		text, ok := answers(t, file, "--format", "json")
		if !ok {
			t.Errorf("check --format json %s gives no answer", file)
			continue
		}
		var r Report
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatal(err)
		}
		want := figuresOf(&r.Graphs[0])
		var out, complaints strings.Builder
		if code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"report", file, "-o", "-"}); code != 0 {
			t.Errorf("report %s exits with %d: %s", file, code, complaints.String())
			continue
		}
		tells(t, "the report of "+filepath.Base(file), out.String(), want)
		handler := page.NewServer((&app{}).program(file, nil)).Handler(address)
		both := ""
		for _, path := range []string{"/", "/sources"} {
			w := httptest.NewRecorder()
			handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://"+address+path, nil))
			both += w.Body.String()
		}
		tells(t, "the page of "+filepath.Base(file), both, want)
	}
}
