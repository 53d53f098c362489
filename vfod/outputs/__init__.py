"""The doors: what hears of everything that happens, and lets requests in.

Each is built from the stream's subscription and one function to ask with, serves until it is
cancelled, and is rebuilt after a pause when it fails; none of them can stop a sweep.
"""
