"""Facts and arithmetic of a receiver: band tables, dial and oscillator.

Nothing here waits, reads a file or asks for the time.
"""
