"""The limits of time that are the host's own, in seconds, each with its reason.

Those that both sides keep belong to the protocol and are in `vfod.wire.timing`.
"""

#: Pauses after each try of a question of the greeting. A board that resets when its port is opened
#: answers within READY_WITHIN of the protocol, and some loaders wait one second longer after every
#: byte that arrives, so the later pauses are longer than that.
GREETING_PAUSES = (0.3, 0.7, 1.5, 1.5, 1.5)

#: A busy line is pinged too, though less often than an idle one: only this answer tells a box that
#: was reset without a word.
PING_AT_LEAST = 10.0

#: Pause before a busy box is asked again, and how long beyond its settle time it may be busy.
BUSY_PAUSE = 0.05
BUSY_LIMIT = 1.0

#: First and longest pause before a lost line is opened again, before jitter is taken off: half a
#: second is what a USB device needs to appear again, ten seconds is what a person waits for.
BACK_OFF_FIRST = 0.5
BACK_OFF_LONGEST = 10.0

#: Longest time between two heartbeats of a healthy supervisor: a greeting whose last question
#: nothing answers, after an opening at its limit.
BEAT_LIMIT = 30.0

#: Time to reach a TCP serial server: one lost first packet is sent again after 1 s, and once more
#: 2 s later (RFC 6298, sections 2.1 and 5.5).
CONNECT_LIMIT = 5.0

#: TCP keepalive: idle time, interval and number of probes. The ping notices a dead server sooner;
#: this ends the connection at the server's side when this machine is the dead end.
KEEPALIVE_IDLE, KEEPALIVE_INTERVAL, KEEPALIVE_PROBES = 10, 5, 3

#: How long an opening waits for the last closing of the same port. The kernel may hold a close for
#: 30 s (`closing_wait` of a serial port); a device that comes back meanwhile gets another name.
CLOSE_LIMIT = 2.0
