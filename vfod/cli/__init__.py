"""From argv to requests: the command `vfod`.

    quick, ask      the verbs that move the dial; they import next to nothing
    overview        every verb with its one line
    verbs           which file each verb is in
    quick_help      what `--help` says of the quick verbs
    parser, setting what the other verbs share: options, and where their files are
    serve, simulate, status, agenda, plan, journal, configuration, demo/

Nothing is imported here, because a nudge of the dial may take hardly longer than starting Python.
"""
