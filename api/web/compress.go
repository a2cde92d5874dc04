package web

import (
	"compress/gzip"
	"net/http"
	"regexp"
	"strings"

	"github.com/klauspost/compress/gzhttp"
)

// smallBody is what fits into a packet anyhow.
const smallBody = 1024 // bytes

// Compressed packs the text that h answers as the client takes it: zstd or
// gzip. Its entity tag then ends in the name of the coding (RFC 9110 section
// 8.8.3.3), which conditions on tags take, too.
func Compressed(h http.Handler) (http.Handler, error) {
	wrap, err := gzhttp.NewWrapper(
		gzhttp.MinSize(smallBody), gzhttp.CompressionLevel(gzip.BestSpeed),
		gzhttp.SuffixETag("-gzip"), // -zstd where it is that
		gzhttp.ContentTypeFilter(isText), gzhttp.SetContentType(false),
	)
	if err != nil {
		return nil, err
	}
	return wrap(h), nil
}

// isText tells text from pictures and workbooks, which are packed already.
func isText(contentType string) bool {
	kind, _, _ := strings.Cut(contentType, ";")
	switch kind = strings.ToLower(strings.TrimSpace(kind)); kind {
	case "application/json", "application/javascript":
		return true
	}
	return strings.HasPrefix(kind, "text/") || strings.HasSuffix(kind, "+json") ||
		(strings.HasSuffix(kind, "+xml") && !strings.HasPrefix(kind, "image/"))
}

var codingOfTag = regexp.MustCompile(`-(gzip|zstd)"$`)

// withoutCoding is the tag of the same answer as it was before it was packed.
func withoutCoding(tag string) string { return codingOfTag.ReplaceAllString(tag, `"`) }
