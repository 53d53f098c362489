"""One daemon a port, plugged in or not."""

import os
from pathlib import Path

import pytest

from vfod.device.claim import claimed, daemon_at
from vfod.errors import AlreadyRunningError
from vfod.sim.jump import SimClock


def test_a_port_is_one_daemons(tmp_path: Path) -> None:
    """The second is told which port and which process; afterwards it is free."""
    port = str(tmp_path / ("a-long-stable-name-" * 8))
    with claimed([port, "socket://box:2000"]):
        for taken in (port, "socket://box:2000"):
            with pytest.raises(AlreadyRunningError) as refusal, claimed([taken]):
                pass
            assert (
                f"another daemon (process {os.getpid()}) has the port {taken}; "
                "stop it, or give this one another port"
            ) == str(refusal.value)
        with claimed(["socket://box:2001"]):
            pass
    with claimed([port]):
        pass


def test_a_port_by_any_of_its_names(tmp_path: Path) -> None:
    """A stable name and the device that it leads to are one port."""
    device, stable = tmp_path / "ttyACM0", tmp_path / "usb-my-vfo"
    device.touch()
    stable.symlink_to(device)
    with claimed([str(stable)]), pytest.raises(AlreadyRunningError), claimed([str(device)]):
        pass


def test_the_number_of_a_pseudo_terminal_is_nobodys(tmp_path: Path) -> None:
    """It belongs to the next one as soon as it is free; the name that leads to it is one port."""
    ours, theirs = os.openpty()
    try:
        first, second = tmp_path / "vfo-one", tmp_path / "vfo-two"
        for link in (first, second):
            link.symlink_to(os.ttyname(theirs))
        with claimed([str(first)]), claimed([str(second)]):
            with pytest.raises(AlreadyRunningError), claimed([str(first)]):
                pass
            assert os.getpid() == daemon_at(str(second))
    finally:
        os.close(ours)
        os.close(theirs)


def test_nothing_stays_claimed_where_one_is_refused(tmp_path: Path) -> None:
    """The first of two ports is given back when the second is taken."""
    one, other = str(tmp_path / "one"), str(tmp_path / "other")
    with claimed([other]), pytest.raises(AlreadyRunningError), claimed([one, other]):
        pass
    with claimed([one]):
        pass


def test_ports_are_exchanged_for_others(tmp_path: Path) -> None:
    """Those that stay are held all the time; where one cannot be had, nothing has changed."""
    one, two, three = (str(tmp_path / name) for name in ("one", "two", "three"))
    with claimed([one, two]) as mine:
        mine.hold([two, three])
        with claimed([one]):
            with pytest.raises(AlreadyRunningError):
                mine.hold([one])
            for held in (two, three):
                with pytest.raises(AlreadyRunningError), claimed([held]):
                    pass
    with claimed([one, two, three]):
        pass


def test_a_port_by_another_of_its_names(tmp_path: Path) -> None:
    """The stable name and the device are one port, which a daemon may go on to hold by either."""
    device, stable = tmp_path / "device", tmp_path / "stable"
    device.touch()
    stable.symlink_to(device)
    with claimed([str(stable)]) as mine, device.open():
        mine.hold([str(device)])
        with pytest.raises(AlreadyRunningError), claimed([str(stable)]):
            pass


def test_a_device_that_took_the_name_of_an_unplugged_one_is_free(tmp_path: Path) -> None:
    """One box is pulled out while its daemon waits for it, another gets the number of its device:
    whoever asks for that one by its own stable name may have it, unless the device is open.
    """
    device, first, second = (tmp_path / name for name in ("ttyUSB0", "by-id-1", "by-id-2"))
    device.touch()
    first.symlink_to(device)
    second.symlink_to(device)
    with claimed([str(first)]) as mine:
        with device.open(), pytest.raises(AlreadyRunningError), claimed([str(second)]):
            pass
        first.unlink()
        assert daemon_at(str(second)) is None
        with claimed([str(second)]), pytest.raises(AlreadyRunningError), claimed([str(second)]):
            pass
        # Its own name is still the first one's.
        with pytest.raises(AlreadyRunningError), claimed([str(first)]):
            pass
        mine.hold([str(first)])


def test_who_has_it_is_told_to_anybody(tmp_path: Path) -> None:
    """The process, by any name of the port, also to one who could not open it; else nobody."""
    device, stable = tmp_path / "tty", tmp_path / "by-id"
    device.touch()
    stable.symlink_to(device)
    assert daemon_at(str(stable)) is None
    with claimed([str(device)]), device.open():
        assert os.getpid() == daemon_at(str(stable))
    assert daemon_at(str(stable)) is None


async def test_who_has_it_is_told_however_often_it_is_asked(tmp_path: Path) -> None:
    """A second daemon that is started again and again, all night, hears the process each time."""
    port = str(tmp_path / "port")
    clock = SimClock(wall=0.0)
    with claimed([port]):
        asked = []
        for _ in range(200):
            asked.append(daemon_at(port))
            await clock.sleep_until(clock.monotonic() + 1)
        assert [os.getpid()] * 200 == asked
