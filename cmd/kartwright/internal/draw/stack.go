package draw

import (
	"fmt"
	"html"
	"regexp"
	"strconv"
	"strings"
)

var viewBox = regexp.MustCompile(`viewBox="0 0 ([0-9.]+) ([0-9.]+)"`)

// Stack puts images of this package below each other into one.
func Stack(title string, images ...string) string {
	var b strings.Builder
	y := 0.
	for _, im := range images {
		m := viewBox.FindStringSubmatch(im)
		if m == nil {
			continue
		}
		h, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			continue
		}
		place := fmt.Sprintf(`<svg y="%s" width="%s" height="%s" `, num(y), m[1], m[2])
		im = strings.Replace(im, `width="100%" style="max-width:40rem" `, "", 1)
		b.WriteString(strings.Replace(strings.TrimSpace(im), "<svg ", place, 1))
		y += h + 8
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="100%%" style="max-width:40rem"><title>%s</title>%s</svg>`+"\n", num(width), num(max(1, y-8)), html.EscapeString(title), b.String())
}
