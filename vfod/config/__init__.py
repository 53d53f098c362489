"""The YAML file of the listener as a validated, frozen Config; a complaint names place and remedy.

    places      where the configuration, the socket and the journal are looked for
    reader      text → plain data and where each piece stands, by the rules of YAML 1.2's core
    quantities  frequencies, durations, levels and clock times as a file writes them
    forms       the shape of the file, key by key, with defaults and explanations
    complaints  what does not fit, in plain words
    checks      what fits by itself but not together
    model       Config, which the rest of the program is built from
    loading     load and parse: the way through all of the above
    schema      the forms for editors

Nothing is imported here: the quick verbs of the command line need `places` and nothing else.
"""
