package web

import (
	"bytes"
	"net/http"
	"net/url"
)

// Carried is what a page that stands alone carries beside what is shipped.
type Carried struct {
	KartFile  string            `json:"kart_file"` // name of the profile, "" for none
	Kart      string            `json:"kart"`      // its text
	Rules     []string          `json:"rules"`     // names of the rule files to load
	RuleFiles map[string]string `json:"rule_files"`
	Club      string            `json:"club"`  // name of the club's file, which the page can edit; "" for none
	Words     []string          `json:"words"` // shipped word files
}

// A Reply is what a page answers to a request that came over no network.
type Reply struct {
	Status   int
	Location string   // where to go instead, if Status says so
	Cookies  []string // NAME=VALUE, to be sent with the next request
	Body     []byte
}

// Respond answers a request that was made inside the page itself, which has no
// host and no other origin. Target is a path of the site with its query.
func (s *Site) Respond(method, target, contentType, cookies string, body []byte) (Reply, error) {
	u, err := url.ParseRequestURI(ownPath(target))
	if err != nil {
		return Reply{}, err
	}
	r := &http.Request{Method: method, URL: u, Header: http.Header{}, RequestURI: u.RequestURI(), ContentLength: int64(len(body))}
	w := &reply{header: http.Header{}}
	r.Body = http.MaxBytesReader(w, readCloser{bytes.NewReader(body)}, maxBody)
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	if cookies != "" {
		r.Header.Set("Cookie", cookies)
	}
	s.routes().ServeHTTP(w, r)
	out := Reply{Status: w.status, Location: w.header.Get("Location"), Body: w.body.Bytes()}
	for _, c := range (&http.Response{Header: w.header}).Cookies() {
		out.Cookies = append(out.Cookies, c.Name+"="+c.Value)
	}
	return out, nil
}

type readCloser struct{ *bytes.Reader }

func (readCloser) Close() error { return nil }

// reply collects an answer.
type reply struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (w *reply) Header() http.Header { return w.header }

func (w *reply) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
}

func (w *reply) Write(b []byte) (int, error) {
	w.WriteHeader(http.StatusOK)
	return w.body.Write(b)
}
