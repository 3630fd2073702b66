package page

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"io"
	"regexp"
	"strings"
	"sync"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static/style.css
var style string

//go:embed static/light.js
var light string

// templates are parsed when first asked for: most commands show none.
var templates = sync.OnceValue(func() *template.Template {
	// An amount stays on one line: its digits, and its unit.
	amount := regexp.MustCompile(`\d( \d{3}\b)*( (%|[KM]?i?B\b|[kM]?Hz\b|[mµ]?s\b|dB\b|cycles\b|points\b|samples\b))?`)
	together := func(text string) string {
		return amount.ReplaceAllStringFunc(text, func(a string) string { return strings.ReplaceAll(a, " ", "\u00a0") })
	}
	return template.Must(template.New("").Funcs(template.FuncMap{"together": together}).ParseFS(templateFiles, "templates/*.html"))
})

// Report writes a graph as one HTML file, which asks for nothing else: its style
// and its script lie in it, and its policy allows these two by their hashes.
func Report(w io.Writer, s Subject) error {
	return templates().ExecuteTemplate(w, "report.html", struct {
		View          *view
		Policy        string
		Style, Script template.HTML
	}{
		newView(s),
		"default-src 'none'; style-src " + hashed(style) + "; script-src " + hashed(light) + "; base-uri 'none'; form-action 'none'",
		template.HTML("<style>" + style + "</style>"),
		template.HTML("<script>" + light + "</script>"),
	})
}

// hashed is how a policy names an inline text that is allowed.
func hashed(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
