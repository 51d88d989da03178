package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/netip"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"rsc.io/qr"

	"kartwright/advisor/profile/demo"
	"kartwright/advisor/safefile"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/rules/diag"
	"kartwright/rulesets"
)

type serveOptions struct {
	kart  string
	rules []string
	club  string
	words wordFlags
	past  pastFlags
	days  string
	port  port
	lan   bool
}

func (a *app) serveCommand() *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use:   "serve [--port N] [--lan]",
		Short: "The same as a page for a phone or a laptop",
		Long: `serve opens a page in which everything is tapped instead of typed: what the
driver says to turns on this kart, every adjuster to turn and see what becomes
of it, a job card to print, the rules. It ends with Ctrl-C.

Only this machine can open it. With --lan phones in the same network can, each
by an address that works once; the command shows it, also as a square code to
photograph, and makes the next one when it was used. Whoever has been let in can
read the kart, ask for advice and change the club's rules, the test days and the
log, and others in the network may read along, as the page is not encrypted: do
not use it in a network that you do not trust.

--club names the club's own rule file, which the page can edit; it is made when
it is saved for the first time. --days names the folder that the page keeps its
test days in, the same files as those of 'kartwright day'; without it that is
days beside the journal.`,
		Example: `  kartwright serve
  kartwright serve --kart mykart.toml --club club.toml
  kartwright serve --lan --port 8080`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return a.runServe(ctx, o)
		},
	}
	kartFlag(cmd, &o.kart)
	rulesFlag(cmd, &o.rules)
	o.words.add(cmd)
	o.past.add(cmd)
	o.past.addProfile(cmd)
	f := cmd.Flags()
	f.StringVar(&o.days, "days", "", "the `FOLDER` of the test days; if not given, $KARTWRIGHT_DAYS or days beside the journal")
	f.StringVar(&o.club, "club", "", "the club's own rule `FILE`.toml, to be edited on the page")
	o.port = 7410
	f.Var(&o.port, "port", "`PORT` to listen on; 0 takes any that is free")
	f.BoolVar(&o.lan, "lan", false, "let devices of the local network in, each by an address that works once")
	return cmd
}

// port is a TCP port; 0 is any that is free.
type port uint16

func (p *port) String() string { return strconv.Itoa(int(*p)) }
func (*port) Type() string     { return "PORT" }

func (p *port) Set(text string) error {
	n, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return flagError{fmt.Errorf("--port must be 1 to 65535, or 0 for any that is free, not %q", text)}
	}
	*p = port(n)
	return nil
}

// site makes the page's site from what the flags name.
func (a *app) site(o serveOptions) (*web.Site, error) {
	c := web.Config{}
	var err error
	if o.kart != "" || a.Getenv("KARTWRIGHT_KART") != "" {
		if c.Kart, _, err = a.loadKart(o.kart); err != nil {
			return nil, err
		}
		c.KartName = cmp.Or(o.kart, a.Getenv("KARTWRIGHT_KART"))
		if _, isDemo := demo.Read(c.KartName); !isDemo {
			if c.KartName, err = filepath.Abs(c.KartName); err != nil {
				return nil, err
			}
		}
	}
	if c.RuleFS, c.Rules, err = ruleFiles(o.rules, rulesets.Default); err != nil {
		return nil, err
	}
	if o.club != "" {
		c.Club = web.Club{Load: func() ([]byte, error) { return readIfThere(o.club) }, Save: func(text []byte) error { return safefile.Write(o.club, text) }}
		c.RuleFS, c.Club.Name = clubFS(o.club, o.rules)
		if c.Club.Text, err = c.Club.Load(); err != nil {
			return nil, readError("the club's rule file", o.club, err)
		}
	}
	if c.Words, err = a.lexicon(o.words); err != nil {
		return nil, err
	}
	if _, err := a.hasJournal(o.past); err != nil {
		return nil, err
	}
	c.Log = a.pageLog(o.past)
	if c.Days, err = a.pageDays(o.days, o.past.journal); err != nil {
		return nil, err
	}
	s, found, err := web.New(c)
	if diag.HasErrors(found) {
		return nil, fileError{found}
	}
	return s, err
}

// readIfThere reads a file; nil if there is none.
func readIfThere(name string) ([]byte, error) {
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if data == nil && err == nil {
		data = []byte{}
	}
	return data, err
}

type serveJSON struct {
	Command string   `json:"command"`
	Address string   `json:"address" jsonschema_description:"for this machine"`
	Others  []string `json:"others" jsonschema_description:"with --lan: addresses for one other device, each works once; another object with the next ones is printed when one was used"`
}

func (a *app) runServe(ctx context.Context, o serveOptions) error {
	site, err := a.site(o)
	if err != nil {
		return err
	}
	host := "127.0.0.1"
	if o.lan {
		host = ""
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort(host, o.port.String()))
	if err != nil {
		if errors.Is(err, syscall.EADDRINUSE) {
			return fmt.Errorf("port %d is in use already; is another page open? --port 0 takes any that is free", o.port)
		}
		return fmt.Errorf("the page cannot be opened: %w", err)
	}
	port := strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
	local := "http://" + net.JoinHostPort("127.0.0.1", port) + "/"
	var door *web.Door
	if o.lan {
		ips, err := localAddresses()
		if err != nil {
			return err
		}
		door = &web.Door{Hosts: ips, NewKey: func(key string) {
			var others []string
			for _, ip := range ips {
				others = append(others, "http://"+net.JoinHostPort(ip, port)+"/enter?key="+key)
			}
			a.announce(local, others)
		}}
		if len(ips) == 0 {
			return fmt.Errorf("this machine is in no network: switch on its hotspot or join one, or leave out --lan")
		}
		door.Open()
	} else {
		a.announce(local, nil)
	}
	server := &http.Server{
		Handler: site.Handler(door), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10,
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err = <-ended:
	case <-ctx.Done():
		quiet, cancel := context.WithTimeout(context.Background(), 3*time.Second)
		defer cancel()
		err = server.Shutdown(quiet)
	}
	if errors.Is(err, http.ErrServerClosed) || errors.Is(err, context.DeadlineExceeded) {
		return nil
	}
	return err
}

// announce says at once where the page is: the command goes on running.
func (a *app) announce(local string, others []string) {
	if a.json {
		if err := a.writeJSON(serveJSON{"serve", local, list(others)}); err != nil {
			fmt.Fprintf(&a.out, "%v\n", err)
		}
	} else {
		a.printf("The page is at %s on this machine. Ctrl-C ends it.\n", local)
		if len(others) > 0 {
			a.printf("\n")
			a.para("", "A phone in the same network opens it, once, at the address below. It can then read the kart, ask for advice and change the club's rules, the test days and the log. Nothing is encrypted: only use a network that you trust.")
			for _, o := range others {
				a.printf("\n  %s\n", o)
			}
			a.printf("\n%s", square(others[0]))
		}
	}
	if _, err := a.out.WriteTo(a.Out); err != nil {
		fmt.Fprintf(a.Err, "kartwright: the address cannot be printed: %v\n", err)
	}
}

// square draws text as a QR code of half-height blocks, light on dark so that it
// can be read from a dark and from a light screen.
func square(text string) string {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return "" // too long for a code: the address is printed as well
	}
	var b strings.Builder
	const quiet = 2
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString("  ")
		for x := -quiet; x < code.Size+quiet; x++ {
			switch up, down := code.Black(x, y), code.Black(x, y+1) || y+1 >= code.Size+quiet; {
			case up && down:
				b.WriteRune(' ')
			case up:
				b.WriteRune('▄')
			case down:
				b.WriteRune('▀')
			default:
				b.WriteRune('█')
			}
		}
		b.WriteString("\n")
	}
	return b.String()
}

// localAddresses are this machine's private addresses in its networks, those of
// IPv4 first.
func localAddresses() ([]string, error) {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	var v4, v6 []string
	for _, x := range all {
		p, err := netip.ParsePrefix(x.String())
		if err != nil {
			continue
		}
		switch ip := p.Addr().Unmap(); {
		case !ip.IsPrivate():
		case ip.Is4():
			v4 = append(v4, ip.String())
		default:
			v6 = append(v6, ip.String())
		}
	}
	return append(v4, v6...), nil
}
