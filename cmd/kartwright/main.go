// Command kartwright turns what a driver says of a kart into one change of its
// front end, with the exact turns on each side.
package main

import (
	"os"

	"kartwright/cmd/kartwright/internal/cli"
)

func main() { os.Exit(cli.Main(cli.OS(), os.Args[1:])) }
