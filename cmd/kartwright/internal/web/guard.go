package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// maxBody is the largest request body that is read.
const maxBody = 512 << 10

// Handler returns the site for a server that answers on the loopback address,
// or, with a door, also on the addresses of the local network that it names.
//
// The loopback address is no boundary by itself: a page on the internet can
// have a name of its own resolve to it. So any name but a loopback one is
// refused with 421, a form from another origin with 403, and the pages may load
// nothing but what this site sends.
func (s *Site) Handler(door *Door) http.Handler {
	var h http.Handler = s.routes()
	h = http.NewCrossOriginProtection().Handler(h)
	h = http.MaxBytesHandler(h, maxBody)
	if door != nil {
		h = door.guard(s, h)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", policy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		host := hostName(r.Host)
		if !loopback(host) && (door == nil || !slices.Contains(door.Hosts, host)) {
			http.Error(w, "This page answers only under the address that 'kartwright serve' printed.", http.StatusMisdirectedRequest)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// policy lets a page load what this site sends and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// hostName is the host of a Host header without its port and brackets, in lower
// case; "" if it is none.
func hostName(host string) string {
	if h, port, err := net.SplitHostPort(host); err == nil {
		if _, err := strconv.ParseUint(port, 10, 16); err != nil {
			return ""
		}
		host = h
	}
	return strings.ToLower(strings.TrimSuffix(strings.TrimPrefix(host, "["), "]"))
}

// loopback reports whether a host name can only mean this machine.
func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback() && a.Zone() == ""
}

// A Door lets devices of the local network in, each with a key that works once.
// Requests from this machine itself need none.
type Door struct {
	// Hosts are the addresses, as in a URL's host but without brackets or port,
	// under which the site may be asked.
	Hosts []string
	// NewKey is told the key for the next device: at once, and whenever one was
	// used.
	NewKey func(key string)

	mu   sync.Mutex
	key  [sha256.Size]byte
	open map[[sha256.Size]byte]bool // by the hash of a device's cookie
}

// Open makes the first key.
func (d *Door) Open() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.open = map[[sha256.Size]byte]bool{}
	d.renew()
}

// renew makes a new key; the old one opens nothing any more.
func (d *Door) renew() {
	key := secret()
	d.key = sha256.Sum256([]byte(key))
	d.NewKey(key)
}

func secret() string {
	var b [16]byte
	rand.Read(b[:])
	return base64.RawURLEncoding.EncodeToString(b[:])
}

const doorCookie = "door"

// enter exchanges a key for the cookie of a device.
func (d *Door) enter(key string) (device string, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	sum := sha256.Sum256([]byte(key))
	if subtle.ConstantTimeCompare(sum[:], d.key[:]) != 1 {
		return "", false
	}
	device = secret()
	d.open[sha256.Sum256([]byte(device))] = true
	d.renew()
	return device, true
}

func (d *Door) knows(device string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.open[sha256.Sum256([]byte(device))]
}

// guard asks every device but this machine for its key. The key is given with a
// button, not by opening the address, so that a preview of the link does not use
// it up.
func (d *Door) guard(s *Site, inside http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /assets/{f}", inside)
	mux.HandleFunc("GET /enter", func(w http.ResponseWriter, r *http.Request) {
		s.page(w, r, http.StatusOK, "enter", "Open the page on this device", r.FormValue("key"))
	})
	mux.Handle("POST /enter", http.NewCrossOriginProtection().Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, 4096)
		device, ok := d.enter(r.PostFormValue("key"))
		if !ok {
			s.page(w, r, http.StatusForbidden, "error", "This address was used already", "Each address opens the page on one device. The next one is on the screen of the machine that runs kartwright; read it from there.")
			return
		}
		setCookie(w, doorCookie, device)
		http.Redirect(w, r, "/", http.StatusSeeOther)
	})))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if from, err := netip.ParseAddrPort(r.RemoteAddr); err == nil && from.Addr().Unmap().IsLoopback() || d.knows(cookie(r, doorCookie)) {
			inside.ServeHTTP(w, r)
			return
		}
		s.page(w, r, http.StatusForbidden, "error", "This device has no key yet", "Read the square code, or type the whole address, that is on the screen of the machine that runs kartwright.")
	})
	return mux
}

// page answers with a page and, should that fail, with plain text.
func (s *Site) page(w http.ResponseWriter, r *http.Request, status int, page, title string, body any) {
	if err := s.render(w, r, status, page, title, body); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
	}
}
