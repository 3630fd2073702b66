package reconcile

import (
	"path"
	"slices"
	"strings"
	"unicode"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Owner is whose a built byte is.
type Owner string

// Owners.
const (
	OfNode      Owner = "node"
	OfBlock     Owner = "block"
	OfLibrary   Owner = "library"
	OfSystem    Owner = "system"
	Unexplained Owner = "unexplained"
)

// Names of what compilers, the C library and start-up code bring (from memory of
// newlib, libgcc and CMSIS). What begins names of the user's own code as well,
// such as "mem" or "sin", stands among the whole names.
var (
	libraryBeginnings = []string{
		"__aeabi_", "__gnu_", "__ieee754", "__kernel_", "__math_", "__sflush", "__sinit", "__sread", "__swrite", "__sseek", "__sclose", "__sfp",
		"__malloc_", "__retarget_", "_printf", "_vfprintf", "_vfiprintf", "_svfprintf", "_svfiprintf", "_dtoa", "_malloc_", "_free_", "_realloc_", "_calloc_", "_fflush_", "_fwrite_", "_puts_", "_sbrk",
	}
	libraryWholes = []string{
		"printf", "vprintf", "vfprintf", "sprintf", "snprintf", "vsprintf", "vsnprintf", "iprintf", "siprintf", "puts", "putchar", "fwrite", "fflush",
		"malloc", "free", "calloc", "realloc", "memcpy", "memset", "memmove", "memcmp", "memchr", "strlen", "strcmp", "strncmp", "strcpy", "strncpy", "strcat", "strchr", "strtol", "strtod",
		"__errno", "impure_data", "_impure_ptr", "_global_impure_ptr", "__sglue", "matherr", "__fdlib_version", "__signbitf", "__signbitd", "__fpclassifyf", "__fpclassifyd",
		"npio2_hw", "pio2", "init_jk", "two_over_pi", "dp_h", "dp_l", "ln2hi", "ln2lo", "atanhi", "atanlo", "with_errno", "with_errnof", "xflow", "xflowf",
		"__exp_data", "__exp2f_data", "__log_data", "__logf_data", "__log2_data", "__log2f_data", "__pow_log_data", "__powf_log2_data", "__sincosf_table", "__inv_pio4",
	}
	// with an f behind them where they are of single precision
	mathsWholes = []string{
		"sin", "cos", "tan", "asin", "acos", "atan", "atan2", "sinh", "cosh", "tanh", "exp", "exp2", "expm1", "log", "log2", "log10", "log1p", "pow", "sqrt", "cbrt", "hypot",
		"floor", "ceil", "trunc", "round", "rint", "lrint", "lround", "nearbyint", "fmod", "fabs", "finite", "isnan", "isinf", "nan", "scalbn", "ldexp", "frexp", "modf", "copysign", "fmin", "fmax", "fma",
	}
	systemBeginnings = []string{"__vector", "__libc_", "__register_", "hal_", "nvic_", "systemcoreclock", "__do_global_"}
	systemWholes     = []string{
		"main", "_start", "reset", "vectors", "_init", "_fini", "exit", "_exit", "atexit", "systeminit", "frame_dummy", "register_fini",
		"_close", "_fstat", "_getpid", "_isatty", "_kill", "_lseek", "_read", "_write",
	}
)

// arithmetic tells whether a name is one of libgcc's for arithmetic, as
// __muldf3, __floatsisf or __udivmoddi4.
func arithmetic(lower string) bool {
	return strings.HasPrefix(lower, "__") && strings.ContainsAny(lower[len(lower)-1:], "2345fi") &&
		slices.ContainsFunc([]string{"mul", "add", "sub", "div", "udiv", "mod", "umod", "clz", "ctz", "fix", "float", "extend", "trunc", "eq", "ne", "lt", "le", "gt", "ge", "unord", "cmp", "neg", "popcount", "ashl", "ashr", "lshr"},
			func(w string) bool { return strings.HasPrefix(lower[2:], w) }) &&
		slices.ContainsFunc([]string{"sf", "df", "si", "di"}, func(w string) bool { return strings.Contains(lower, w) })
}

// isMaths tells whether a name is a function of math.h.
func isMaths(lower string) bool {
	return slices.Contains(mathsWholes, lower) || slices.Contains(mathsWholes, strings.TrimSuffix(lower, "f"))
}

func begins(lower string, with []string) bool {
	return slices.ContainsFunc(with, func(w string) bool { return strings.HasPrefix(lower, w) })
}

// words are the parts of a name, lower case: 'cave_lines', 'caveLines' and
// 'cave-lines' are alike.
func words(name string) []string {
	var b strings.Builder
	var before rune
	for _, c := range name {
		if unicode.IsUpper(c) && unicode.IsLower(before) {
			b.WriteByte(' ')
		}
		before = c
		if unicode.IsLetter(c) || unicode.IsDigit(c) {
			b.WriteRune(unicode.ToLower(c))
		} else {
			b.WriteByte(' ')
		}
	}
	return strings.Fields(b.String())
}

// owned is whose something is.
type owned struct {
	of   Owner
	name string // of a node or block
}

// named is a name of the graph, by its words.
type named struct {
	words []string
	owned
}

// owners finds whose a symbol or a section is.
type owners struct {
	patterns []estimator.SymbolPattern
	nodes    map[string]bool
	names    map[string][]named // by their first word
}

func newOwners(g *estimator.Graph) *owners {
	o := &owners{patterns: g.Symbols, nodes: map[string]bool{}, names: map[string][]named{}}
	blocks := map[string]bool{}
	add := func(name string, of Owner) {
		w := words(name)
		if len(w) > 0 {
			o.names[w[0]] = append(o.names[w[0]], named{w, owned{of, name}})
		}
	}
	for _, n := range g.Nodes { // before the blocks: of equal names the node's counts
		o.nodes[n.Name] = true
		add(n.Name, OfNode)
	}
	for _, n := range g.Nodes {
		if b := n.Block().Name; !blocks[b] {
			blocks[b] = true
			add(b, OfBlock)
		}
	}
	return o
}

// CheckPatterns records the patterns of a graph that name no node of it.
func CheckPatterns(g *estimator.Graph) {
	var known []string
	for _, n := range g.Nodes {
		known = append(known, n.Name)
	}
	known = append(known, string(OfSystem), string(OfLibrary))
	for _, p := range g.Symbols {
		if !slices.Contains(known, p.Owner) {
			p.Place.Fail(source.DidYouMean(p.Owner, known), "'%s' is no node of the graph, and neither 'system' nor 'library'", p.Owner)
		}
	}
}

// byPattern is whose the graph's patterns say that a name is.
func (o *owners) byPattern(name string) (owned, bool) {
	for _, p := range o.patterns {
		if ok, err := path.Match(p.Pattern, name); err != nil || !ok {
			continue
		}
		switch {
		case p.Owner == string(OfSystem) || p.Owner == string(OfLibrary):
			return owned{Owner(p.Owner), ""}, true
		case o.nodes[p.Owner]:
			return owned{OfNode, p.Owner}, true
		}
	}
	return owned{}, false
}

// symbol finds whose a symbol is: by the graph's patterns, of the longest name of
// a node or else a block that stands in its own, else the system's or the library's.
func (o *owners) symbol(name string) owned {
	if by, ok := o.byPattern(name); ok {
		return by
	}
	all := words(name)
	most, best := 0, owned{Unexplained, ""}
	for i, first := range all {
		for _, n := range o.names[first] {
			longer := len(n.words) > most || len(n.words) == most && best.of == OfBlock && n.of == OfNode
			if longer && len(n.words) <= len(all)-i && slices.Equal(all[i:i+len(n.words)], n.words) {
				most, best = len(n.words), n.owned
			}
		}
	}
	// A clone that the compiler made is the function's own: sinf.part.0.
	lower, _, _ := strings.Cut(strings.ToLower(name), ".")
	switch {
	case best.of != Unexplained || lower == "":
		return best
	case strings.HasSuffix(lower, "_irqhandler") || strings.HasSuffix(lower, "_handler") || begins(lower, systemBeginnings) || slices.Contains(systemWholes, lower):
		return owned{OfSystem, ""}
	case begins(lower, libraryBeginnings) || slices.Contains(libraryWholes, strings.TrimSuffix(lower, "_r")) || isMaths(lower) || arithmetic(lower):
		return owned{OfLibrary, ""}
	}
	return best
}

// Archives of the compiler and the C library, and the objects that start a
// program (from memory of GCC and newlib).
var (
	libraryArchives = []string{"libgcc.a(", "libc.a(", "libc_nano.a(", "libm.a(", "libg.a(", "libnosys.a(", "librdimon.a("}
	systemObjects   = []string{"crt0.o", "crti.o", "crtn.o", "crtbegin.o", "crtend.o"}
)

// ofObject is whose something is that nobody is known of by its name, by the
// object that it comes from.
func (o *owners) ofObject(by owned, object string) owned {
	switch {
	case by.of != Unexplained || object == "":
		return by
	case begins(object, libraryArchives):
		return owned{OfLibrary, ""}
	case slices.Contains(systemObjects, object):
		return owned{OfSystem, ""}
	}
	return by
}

// section finds whose those bytes of a section are that no symbol tells of.
func (o *owners) section(name string) owned {
	if by, ok := o.byPattern(name); ok {
		return by
	}
	if isRoom(name) || strings.Contains(strings.ToLower(name), "vector") {
		return owned{OfSystem, ""}
	}
	return owned{Unexplained, ""}
}
