"""Whether a box speaks the line protocol right, point by point of docs/protocol.md.

    bench      the raw line: sends anything, takes apart leniently what comes, remembers all of it
    otherwise  what a check raises when the box does not keep a promise
    point      what a point is, and how it ends
    greeting, deeds, refusals, framing, repeats, pace, hands, written    the points
    table      all points in their order
    run        one point after the other, and the box left as it was found
    report     the outcome for a person and for a machine

The bytes are written and read here by hand and not by the session of `wire`, because a session
cannot say anything wrong, and because a fault of `wire` must not hide the same fault in a box.
"""
