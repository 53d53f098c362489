"""The morning after: what a night was, what many nights were, and the log for other programs.

setting    what a report is about: night, VFO, place, lists
facts      what is said of a night, as values; what cannot be said is said there too
gather     a journal → the facts of a night
windows    windows planned and kept, with their gaps
course     why the sweep stood still: events → stretches with their reasons
heard      visits → who was heard: stations, bands, new and steady channels
wording    sections with a table each, and single figures as text
sections   the facts in words: who was heard
looked     the facts in words: how well it was looked
remarks    the facts in words: what cannot be said
drawing    the facts as a chart for the picture
text       the words for a terminal
page       the words and the picture as one page of HTML, by markup
seasons    many nights: band by hour, by the clock and by the sun; season_words and season_page
           are to it what sections, drawing and page are to a night
export     notes and observations as CSV, JSON lines and ADIF

Reads a store and never the running daemon.
"""
