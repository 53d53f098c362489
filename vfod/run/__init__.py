"""Waits for time: the stream of events, the desk, the tuner, the sweeper, the keeper."""
