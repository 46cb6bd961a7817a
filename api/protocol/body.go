package protocol

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strconv"

	"levinward/api/refusal"

	"github.com/labstack/echo/v4"
)

// IsTooLarge reports whether reading ended at the limit of the body.
func IsTooLarge(err error) bool {
	var m *http.MaxBytesError
	return errors.As(err, &m)
}

// MediaTypeOf is a media type without its parameters, in lower case.
func MediaTypeOf(header string) string {
	if header == echo.MIMEApplicationJSON {
		return header
	}
	t, _, err := mime.ParseMediaType(header)
	if err != nil {
		return header
	}
	return t
}

// Limits of a request body.
const (
	MaxBody     = 2 << 20
	MaxBodyText = "2 MiB"
)

// Body reads a request body of the given media type.
func Body(c echo.Context, mediaType string) ([]byte, error) { return BodyUpTo(c, mediaType, MaxBody) }

// BodyUpTo reads a request body of the given media type and of so many bytes, a number of MiB.
func BodyUpTo(c echo.Context, mediaType string, most int64) ([]byte, error) {
	exceeded := refusal.TooLarge.Problem("at most " + strconv.FormatInt(most>>20, 10) + " MiB")
	r := c.Request()
	if got := MediaTypeOf(r.Header.Get(echo.HeaderContentType)); got != mediaType {
		return nil, refusal.WrongMediaType.Problem("send " + mediaType + "; found " + strconv.Quote(got))
	}
	if r.Header.Get(echo.HeaderContentEncoding) != "" {
		return nil, refusal.WrongMediaType.Problem("send the body without a content encoding")
	}
	if r.ContentLength > most {
		return nil, exceeded
	}
	size := r.ContentLength
	if size < 0 {
		size = 4096
	}
	buffer := make([]byte, 0, size+1)
	reader := http.MaxBytesReader(c.Response(), r.Body, most)
	for {
		n, err := reader.Read(buffer[len(buffer):cap(buffer)])
		buffer = buffer[:len(buffer)+n]
		switch {
		case err == io.EOF:
			return buffer, nil
		case IsTooLarge(err):
			return nil, exceeded
		case err != nil:
			return nil, refusal.NotJSON.Problem("the body ended early")
		}
		if len(buffer) == cap(buffer) {
			buffer = append(buffer, 0)[:len(buffer)]
		}
	}
}
