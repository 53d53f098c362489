"""What waits for bytes: the line to the box, from the device file up to a question and its answer.

    timing     every limit of time in this room, each with its reason
    port       what a line is, and where one comes from
    serial     a serial device by its path
    tcp        a serial server at socket://host:port
    address    the port that a text names
    tally      what is counted for metrics and outlives a link
    link       one question at a time over one line, from the greeting until it is lost
    supervise  open, greet, watch, lost, back off, and again with a new link

A link lives once: nothing here is ever half reset.
"""
