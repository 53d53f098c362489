"""At the end of a run: the table of what the faults of the line cost, as the tests found it."""

import pytest

HEAD = ("fault", "recovered in", "at most", "lost", "short", "core", "journal", "log lines")
NOTES = (
    "lost: observations without any reading; short: with less than all of its readings",
    "core: part of one core used while the line was down; journal: reasons of its entries",
)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    rows = [
        tuple(value)
        for report in terminalreporter.getreports("passed")
        for name, value in report.user_properties
        if name == "line fault" and isinstance(value, tuple | list)
    ]
    if not rows:
        return
    terminalreporter.section("faults of the line, met in the middle of a sweep")
    table = [HEAD, *rows]
    widths = [max(len(row[place]) for row in table) for place in range(len(HEAD))]
    for row in table:
        first, *rest = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        terminalreporter.line("  ".join([first, *rest]).rstrip())
    for note in NOTES:
        terminalreporter.line(note)
