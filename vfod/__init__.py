"""vfod: a daemon that lets a home-built VFO and its receiver work while the listener sleeps."""

__version__ = "0.1.0"

#: The day of that version: a clock that says an earlier one is wrong.
__released__ = "2026-11-25"
