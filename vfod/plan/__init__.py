"""Looking ahead without waiting: channels, sweeps, windows, the agenda.

Times are handed in; everything can be printed, counted and added up before anything moves.
"""
