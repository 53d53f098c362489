"""What `vfod VERB --help` says of the quick verbs, which have no parser that could say it."""

_OPTIONS = """
  --vfo NAME     which VFO, where there are several; default the first one
  --socket PATH  the daemon's control socket; default $VFOD_SOCKET, else where it usually is
  --json         print the daemon's answer as JSON
"""

HELP = {
    "status": f"""\
usage: vfod status [--watch] [--json] [--socket PATH]

Where the dial is, who moved it, and what the sweep does.

  --watch        go on with every event as it happens, until Ctrl-C
{_OPTIONS.lstrip()}
example:
  vfod status --json
""",
    "tune": f"""\
usage: vfod tune FREQUENCY [--explain] [options]

Move the dial. A bare number is kilohertz; a running sweep yields.

  --explain      and tell how the VFO's clock generator makes that frequency
{_OPTIONS.lstrip()}
example:
  vfod tune 9420
  vfod tune 9.42M
""",
    "nudge": f"""\
usage: vfod nudge +|-|++|--|DIFFERENCE [options]

Move the dial by steps or by a difference of frequency.

  + - ++ --      as many steps up or down as there are signs; `vfod step` sets the step
  +3 -5k 500Hz   by so much; a bare number is kilohertz
{_OPTIONS}
example:
  vfod nudge +
  vfod nudge -5k
""",
    "step": f"""\
usage: vfod step DIFFERENCE [options]

Make one click of the knob, and one `vfod nudge +`, so large. A bare number is kilohertz.
{_OPTIONS}
example:
  vfod step 100Hz
""",
    "band": f"""\
usage: vfod band NAME|up|down|list [options]

Go to a band: where it was left, else its lower edge. `list` prints the bands with their edges.
{_OPTIONS}
example:
  vfod band 31m
""",
    "output": f"""\
usage: vfod output on|off [options]

Switch the oscillator's output.
{_OPTIONS}
example:
  vfod output off
""",
    "mute": f"""\
usage: vfod mute on|off [options]

Mute the receiver's speaker, or release it.
{_OPTIONS}
example:
  vfod mute on
""",
    "sweep": f"""\
usage: vfod sweep start NAME|stop|skip [options]
       vfod sweep list [--config FILE] [--json]

  start NAME     start a sweep of the configuration now, whatever the agenda says
  stop           end the running sweep; a window that is open does not start it again
  skip           leave this channel for the next one
  list           the sweeps of the configuration
{_OPTIONS}
example:
  vfod sweep start evening
""",
    "stay": f"""\
usage: vfod stay [DURATION] [options]

Let the running sweep wait where it is: so long, or until `vfod resume`.
{_OPTIONS}
example:
  vfod stay 30m
""",
    "reload": """\
usage: vfod reload [options]

Let the daemon read its configuration file anew and go by it. It prints what has changed, and
whether that is in force at once, at the next visit or pass, or after a restart; the line to the
VFO stays open where it can. A file with mistakes changes nothing: every mistake is printed.

  --socket PATH  the daemon's control socket; default $VFOD_SOCKET, else where it usually is
  --json         print the daemon's answer as JSON

example:
  vfod reload
""",
    "resume": f"""\
usage: vfod resume [options]

Let a sweep that yields go on at the channel it left.
{_OPTIONS}
example:
  vfod resume
""",
}
