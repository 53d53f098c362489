"""What every test finds: the loop whose clock jumps, the real parts, the leak check, the order."""

import os

import hypothesis

pytest_plugins = [
    "tests.fault_table",
    "tests.loops",
    "tests.order",
    "tests.real_parts",
    "tests.sound_server",
]

# A deadline measures the machine, not the program.
hypothesis.settings.register_profile("person", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True)
hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "person")
