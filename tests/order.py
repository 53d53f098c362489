"""Which tests begin first: the longest, so that none of them is left to run alone at the end.

`make test` runs four at once, on two processors, because a good part of them waits for real time
and real parts; here those that wait stand between those that work.
"""

import pytest

#: Tests of ten seconds and more, as `--durations=60` tells them. Each worker is given two of them
#: at the beginning, and then more as it gets on.
LONGEST = (
    "tests/score/test_score.py::test_twenty_nights",
    "tests/system/test_household.py::test_killed_in_any_order_all_agree_again",
    "tests/app/test_ten_nights.py::test_ten_nights",
    "tests/app/test_real_sound.py::test_tones_are_found_at_their_channels",
    "tests/firmware/fuzz/test_fuzz.py::test_the_responder_survives_any_bytes",
    "tests/system/test_household.py::test_retained_values_are_right_again",
    "tests/firmware/fuzz/test_fuzz.py::test_the_codec_survives_any_bytes",
    "tests/firmware/test_cortex_m3.py::test_it_conforms",
    "tests/firmware/fuzz/test_fuzz.py::test_both_agree_on_any_bytes",
    "tests/firmware/test_page.py::test_the_page_followed_literally",
    "tests/app/test_night.py::test_the_golden_night",
    "tests/system/test_reload.py::test_secrets_are_told_nowhere",
    "tests/app/test_full_disk.py::test_the_night_goes_on_and_the_loss_is_told",
    "tests/system/test_household.py::test_every_door_tells_the_same",
    "tests/plan/test_nights.py::test_any_span_of_3_to_14_days",
    "tests/outputs/test_mqtt_broker.py::test_a_broker_that_hangs",
    "tests/plan/test_roster.py::test_any_roster_keeps_what_can_be_kept",
    "tests/system/test_scraped.py::test_a_real_server_scrapes_a_sweeping_daemon",
    "tests/plan/test_nights.py::test_whole_years",
    "tests/system/test_two_daemons.py::test_the_second_says_which_and_leaves",
    "tests/run/test_sweep.py::test_the_grid_does_not_drift",
)

_PLACES = {name: place for place, name in enumerate(LONGEST)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # All others stay in their order, which lets those of one file share what is made for it.
    items.sort(key=lambda item: _PLACES.get(item.nodeid.partition("[")[0], len(LONGEST)))
