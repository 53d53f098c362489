"""Every verb with its one line, and what `vfod --help` makes of them."""

#: In the order in which a listener meets them.
SUMMARY = {
    "demo": "everything once with a simulated VFO, a minute and a half",
    "serve": "run the daemon",
    "check": "look through the configuration and say what it amounts to",
    "config": "the configuration's schema, or the configuration as it was understood",
    "reload": "let the daemon go by the configuration as it is written now",
    "doctor": "why the VFO cannot be reached, and what to do about it",
    "conform": "whether a VFO speaks the line protocol right, point by point",
    "firmware": "what a VFO's firmware needs, in C, put into your project",
    "simulate": "a simulated VFO with invented stations on the air",
    "status": "where the dial is and what the sweep does",
    "tune": "move the dial to a frequency",
    "nudge": "move the dial by a step or a difference",
    "step": "set what one click of the knob and one nudge is",
    "band": "go to a band by name, up or down; list the bands",
    "output": "switch the oscillator's output on or off",
    "mute": "mute the speaker or release it",
    "sweep": "start, stop or list sweeps; skip a channel",
    "stay": "let the sweep wait, for a while or until resume",
    "resume": "let a sweep that waits go on",
    "watch": "go to a station of your list by its name and stay with it; who is on now",
    "note": "write into the log what was heard; time, dial, level and band are added",
    "calibrate": "the error of the VFO's crystal, against a standard-frequency carrier",
    "level": "what the counts of the level detector mean, and how long it takes to settle",
    "drift": "how the error of the crystal went on, over time and with temperature",
    "spurs": "what the receiver may hear that is not there, and what it hears of itself",
    "agenda": "the windows of the coming days",
    "plan": "what a sweep does and what it can tell, before anything moves",
    "rehearse": "a whole night in a minute or two, before it comes",
    "night": "the night as it was: a summary, a page, a picture",
    "nights": "many nights: band by hour, by the clock and by the sun",
    "journal": "what happened, and what was heard on which channel",
    "service": "let it run by itself: the files of the service, a name for the VFO's port",
    "completion": "let the shell complete verbs, options and names",
    "manual": "the manual page",
}

ABOUT = """\
vfod tunes, sweeps and keeps the journal of a home-built VFO and its receiver.

usage: vfod VERB ...
"""
MORE = """
Each verb tells more, with an example: vfod VERB --help.
A bare number is kilohertz; other units are written: 9.42M, 7200.5k, 9420000Hz.
"""


def overview() -> str:
    """What `vfod --help` prints."""
    lines = [f"  {verb:<11}{says}" for verb, says in SUMMARY.items()]
    return "\n".join([ABOUT, *lines, MORE])
