"""At the end of a run: the table of what the faults of the line cost, as the tests found it."""

import pytest


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    rows = [
        str(value)
        for report in terminalreporter.getreports("passed")
        for name, value in report.user_properties
        if name == "line fault"
    ]
    if rows:
        terminalreporter.section("faults of the line, met in the middle of a sweep")
        for row in rows:
            terminalreporter.line(row)
