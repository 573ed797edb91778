from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from underdash.bus.filters import MOST_FILTERS, PASS_ALL, exact, packed, passes
from underdash.bus.frames import EXTENDED, REMOTE

KEYS = st.integers(0, 0x7FF) | st.integers(0, 0x1FFF_FFFF).map(lambda key: key | EXTENDED)


@given(st.sets(KEYS, min_size=1, max_size=20), KEYS)
def test_a_filter_passes_exactly_its_keys(wanted: set[int], key: int) -> None:
    assert passes(exact(wanted), key) == (key in wanted)


def test_a_29_bit_id_that_ends_like_a_wanted_11_bit_id_does_not_pass() -> None:
    assert not passes(exact([0x123]), 0x0000_0123 | EXTENDED)
    assert not passes(exact([0x123]), 0x123 | REMOTE)


def test_more_keys_than_the_kernel_takes_pass_everything() -> None:
    assert len(exact(range(MOST_FILTERS))) == MOST_FILTERS
    assert exact(range(MOST_FILTERS + 1)) == PASS_ALL
    assert exact(None) == PASS_ALL


def test_no_key_passes_nothing() -> None:
    assert exact([]) == ()
    assert not passes((), 0x123)


def test_filters_are_written_as_pairs_of_32_bit_numbers() -> None:
    assert len(packed(exact([1, 2 | EXTENDED]))) == 16
