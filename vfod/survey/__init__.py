"""Looking back at what was measured: the floor of a band, and whether a channel was active.

Pure: times and levels are handed in, nothing is waited for.
"""
