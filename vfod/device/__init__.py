"""What waits for bytes: the line to the box, from the device file up to a question and its answer.

    timing     every limit of time in this room, each with its reason
    port       what a line is, and where one comes from
    places     why a device file cannot be a port
    serial     a serial device by its path
    tcp        a serial server at socket://host:port
    address    the port that a text names
    tally      what is counted for metrics and outlives a link
    greeting   what a link knows of its box, and how refusals read
    talk       one question and its answer: tags, repeats, time limits
    link       a greeted box, from the greeting until the line is lost
    surroundings, sounding, diagnosis  why a box cannot be reached, for `vfod doctor`
    supervise  open, greet, watch, lost, back off, and again with a new link

A link lives once: nothing here is ever half reset.
"""
