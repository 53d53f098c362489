"""What the doctor concludes from what was found, as a table; no port is touched here."""

from typing import Any

import pytest

from vfod.device.diagnosis import Device, Findings, Sounding, diagnose, is_greeted

STABLE = "/dev/serial/by-id/usb-maker_vfo_0007-if00"
NAMED = Device(
    path="/dev/ttyACM0",
    stable=STABLE,
    about="USB 1209:0001 maker vfo 0007",
    vendor="1209",
    product="0001",
    serial="0007",
)
NAMELESS = Device(path="/dev/ttyACM0", vendor="1209", product="0001")
#: As on a machine whose services see no such device.
PLAIN = Device(path="/dev/ttyS0")
GREETED = Sounding(baud=115_200, ours=True, greeted=True, versions=(1, 1), name="portable 1.0.3")
SILENT = Sounding(baud=115_200)


def found(**changes: Any) -> Findings:
    return Findings(**{"port": STABLE, "device": NAMED, "there": (NAMED,), **changes})


@pytest.mark.parametrize(
    ("changes", "codes", "words"),
    [
        ({"soundings": (GREETED,)}, [], []),
        (
            {"refused": "missing", "says": "there is no such port", "device": None},
            ["missing"],
            ["there is no such port", STABLE, "USB 1209:0001 maker vfo 0007"],
        ),
        (
            {"refused": "missing", "says": "no", "device": None, "there": ()},
            ["missing"],
            ["plug the VFO in", "dmesg"],
        ),
        (
            {"refused": "missing", "says": "refused", "remedy": "check the server", "there": (),
             "is_network": True, "device": None},
            ["missing"],
            ["check the server"],
        ),
        (
            {"refused": "forbidden", "says": "may not", "remedy": "usermod -aG dialout listener"},
            ["forbidden"],
            ["may not", "usermod -aG dialout listener"],
        ),
        (
            {"refused": "busy", "says": "held by process 7 (cat)", "remedy": "end it",
             "holders": ((7, "cat /dev/ttyACM0"),)},
            ["busy"],
            ["process 7", "end it"],
        ),
        (
            {"refused": "busy", "says": "held", "remedy": "end it",
             "holders": ((7, "/usr/bin/python3 /usr/bin/vfod serve --config x"),)},
            ["busy"],
            ["vfod status"],
        ),
        (
            {"refused": "forbidden", "says": "may not", "remedy": "usermod",
             "holders": ((7, "vfod serve"),)},
            ["forbidden"],
            ["that is the daemon", "vfod status"],
        ),
        (
            {"soundings": (SILENT,), "holders": ((7, "cat"),)},
            ["shared", "silent"],
            ["process 7 (cat)", "end it"],
        ),
        (
            {"soundings": (SILENT,), "probers": ((9, "brltty"),)},
            ["prober", "silent"],
            ["brltty (process 9)", "systemctl disable --now brltty", "ID_MM_DEVICE_IGNORE"],
        ),
        (
            {"soundings": (SILENT,), "port": "/dev/ttyACM0"},
            ["name", "silent"],
            ["next boot", f"write {STABLE} instead"],
        ),
        (
            {"soundings": (GREETED,), "port": "/dev/ttyACM0", "device": NAMELESS},
            ["name"],
            ['ATTRS{idVendor}=="1209"', 'ATTRS{idProduct}=="0001"', 'SYMLINK+="vfo"', "/dev/vfo"],
        ),
        ({"soundings": (GREETED,), "port": "/dev/ttyS0", "device": PLAIN}, [], []),
        (
            {"soundings": (Sounding(baud=115_200, sample=b"\x80"),
                           Sounding(baud=9600, ours=True, greeted=True, versions=(1, 1)))},
            ["speed"],
            ["at 9600 baud, not at 115200", "baud: 9600"],
        ),
        (
            {"soundings": (Sounding(baud=115_200, sample=b"login: \xff"), Sounding(baud=9600))},
            ["other"],
            [r"'login: \xff'"],
        ),
        (
            {"soundings": (Sounding(baud=115_200, ours=True, versions=(2, 3)),)},
            ["version"],
            ["version 2 and newer", "update this program"],
        ),
        (
            {"soundings": (Sounding(baud=115_200, ours=True, versions=(0, 0)),)},
            ["version"],
            ["too old", "firmware"],
        ),
        (
            {"soundings": (Sounding(baud=115_200, ours=True),)},
            ["greeting"],
            [f"vfod conform {STABLE}"],
        ),
        ({"soundings": (SILENT,)}, ["silent"], ["nothing answers"]),
    ],
)  # fmt: skip
def test_what_is_wrong_and_what_helps(
    changes: dict[str, Any], codes: list[str], words: list[str]
) -> None:
    """The advice in its order, with the place and the remedy in it."""
    advice = diagnose(found(**changes))
    assert codes == [one.code for one in advice]
    text = "\n".join(f"{one.says}\n{one.remedy}" for one in advice)
    assert [] == [word for word in words if word not in text]
    assert all(one.says and one.remedy for one in advice)


def test_only_a_greeting_at_the_configured_speed_counts() -> None:
    """It is the speed that the daemon will use."""
    assert is_greeted(found(soundings=(GREETED,)))
    assert not is_greeted(found(soundings=(GREETED,), baud=9600))
    assert not is_greeted(found(soundings=(Sounding(baud=115_200, ours=True),)))


def test_after_a_greeting_nothing_is_a_cause() -> None:
    """A service that probes and a name that changes are told, but not as the reason."""
    advice = diagnose(
        found(soundings=(GREETED,), probers=((9, "brltty"),), port="/dev/ttyACM0")
    )  # fmt: skip
    assert [("prober", False), ("name", False)] == [(one.code, one.cause) for one in advice]
