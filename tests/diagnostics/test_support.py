from __future__ import annotations

from underdash.diagnostics.support import Support


def test_masks_are_walked_only_as_far_as_they_name_each_other() -> None:
    support = Support()
    assert (support.missing(0x0B), support.has(0x0B)) == (0x00, None)
    support.heard(0x00, bytes.fromhex("BE1FA813"))  # worked example: 01, 03-07, 0C-11, 13, 15, 1C, 1F, 20
    assert (support.has(0x0C), support.has(0x0B), support.missing(0x0B)) == (True, False, None)
    assert (support.has(0x4F), support.missing(0x4F)) == (None, 0x20)
    support.heard(0x20, bytes(4))
    assert (support.has(0x4F), support.missing(0x4F)) == (False, None)


def test_a_short_mask_says_nothing_and_a_mute_unit_is_not_asked_on() -> None:
    support = Support()
    support.heard(0x00, b"\xff")
    assert support.has(0x01) is None
    support.mute()
    assert support.missing(0x01) is None
    support.reset()
    assert support.missing(0x01) == 0x00
