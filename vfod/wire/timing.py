"""The protocol's times and rates, each with its reason (docs/protocol.md, section 7).

Numbers only: nothing here waits.
"""

#: Bits per second, 8 data bits, no parity, one stop bit: the highest rate that every USB serial
#: bridge and terminal offers. A USB device of its own takes any rate.
BAUD = 115_200

#: Seconds a box takes at most from the end of a request to the end of its reply; a tune may take
#: the settle time of Limits more. 120 bytes at BAUD take 10 ms each way, the rest is the box's.
ANSWER_WITHIN = 0.05

#: Seconds a host waits for a reply, beyond the settle time. ANSWER_WITHIN plus what a USB stack
#: and a busy host add: six times as long, so that a miss means a loss and not a delay.
REPLY_TIMEOUT = 0.3

#: Settle time a host assumes before the box has told its own, seconds.
ASSUMED_SETTLE = 1.0

#: Times a question goes unanswered (the first time and the repeats) before the box counts as lost.
MISSES = 3

#: Seconds for which a question is put again while only damaged lines come. With one byte in a
#: hundred lost, two of three tries to read fail, and the forty that fit do not fail all; on a
#: person who waits for the answer it lies no heavier than an outage does.
NOISE_LIMIT = 3.0

#: Seconds between two pings of an idle line; finds a lost event or a reset by itself.
PING_EVERY = 2.0

#: Shortest time between two events of a box, seconds: 20 a second, 1200 bytes of 11520.
EVENT_SPACING = 0.05

#: Seconds after a box's power-on within which it answers.
READY_WITHIN = 3.0

#: Resets within RESET_WINDOW seconds at which the host stops switching the output on: something
#: that draws current with the output on pulls the box down, and would do so again.
RESETS = 3
RESET_WINDOW = 60.0
