"""The YAML file of the listener as a validated, frozen Config; a complaint names place and remedy.

    places        where the configuration, the socket and the journal are looked for
    complaints    what does not fit and where, as it is told
    reader        text → plain data and where each piece stands, by the core rules of YAML 1.2
    words         names, ports, addresses, counts ┐
    quantities    frequencies, durations, levels  ├ what a key's value may be
    fields        both, as types of the forms     ┘
    forms         the shape of the file, key by key, with defaults and explanations
    shape         plain data → form, and what does not fit
    parts         entries of a form → the parts of radio and plan
    sweep_checks  what must fit together in a sweep
    windows       windows and watches, and what must fit together in them
    assembly      form → Config, and what does not fit together
    model         Config, which the rest of the program is built from
    loading       load and parse: the way through all of the above
    changes       two configurations compared, and when a change of each key takes effect
    schema        the forms, for editors
    secrets       what never stands in the file itself

Nothing is imported here: the quick verbs of the command line need `places` and nothing else.
"""
