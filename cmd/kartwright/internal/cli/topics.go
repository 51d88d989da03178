package cli

import "github.com/spf13/cobra"

// A topic is a page of help that is no command.
type topic struct{ name, short, text string }

func (t topic) command() *cobra.Command {
	return &cobra.Command{Use: t.name, Short: t.short, Long: t.text}
}

var topics = []topic{
	{"exit-codes", "Exit statuses of every command", `Exit statuses, the same for every command:

  0  done
  1  could not: what was asked cannot be done (the answer says why, and gives
     the nearest thing that can)
  2  the command line is wrong
  3  a kart profile, rule file or test file has errors`},
	{"units", "How to write lengths, angles, turns and conditions", `Every quantity carries its unit; a bare number is refused.

  lengths   7.6mm   0.65 cm   1/16 in   4 1/8 in
  angles    12deg   0.5°   0°30'   30'
  toe       -0.2deg   1 mm out over 255 mm   (one wheel; + is toe-in)
  turns     1/2 turn   1.25 turns   3 flats   90 deg
  ±         105 mm ± 0.5 mm   12 +/- 0.5 deg     (in profiles)
  grip      low, medium, high, wet, or a number out of ten: 6/10
  tyres     new, used, worn, wets, or an age: 25 laps
  track     tight, fast, mixed

Signs: caster + top of the kingpin rearward; camber + top of the wheel
outward, so a usual setting is a little negative; toe + toe-in.`},
	{"json", "Reading answers from another program", `With --json a command prints one JSON object to standard output, or, when it
fails, one object {"code","message","findings"} to standard error; the exit
status is the same as without. Angles are in degrees and lengths in
millimetres, as the field names say (_deg, _mm), whatever --inches and
--minutes say. 'kartwright schema COMMAND' prints the JSON Schema of a
command's answer. Fields may be added; they are not renamed or removed.`},
}
