package source

import (
	"regexp"
	"sync"
)

// Lazily compiles a regular expression when it is first asked for. A program
// compiles those of its package variables before it does anything, and most
// runs need few of them. An expression that is wrong panics then.
func Lazily(expression string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expression) })
}
