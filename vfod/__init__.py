"""vfod: a daemon that lets a home-built VFO and its receiver work while the listener sleeps."""

__version__ = "0.1.0"
