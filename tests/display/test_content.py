from __future__ import annotations

from underdash.contract.content import Content, Share, Shown
from underdash.contract.pages import Canvas, Page, Role, Scale, Zone
from underdash.contract.signals import Age, Quality, Reading, Snapshot
from underdash.contract.words import Words
from underdash.display.content import content_of
from underdash.display.recorder import record

SCALE = Scale(-0.5, 1.5, 0.0, (Zone(1.0, 1.5, Role.WARNING),))


def reading(shown: float | None, age: Age = Age.FRESH, quality: Quality = Quality.GOOD) -> Reading:
    return Reading("x", shown, shown, "bar", 2, age, 0.0, quality, "test")


def said(shown: Reading, *, peak: float | None = None, scale: Scale = SCALE) -> Content:
    def draw(canvas: Canvas, snapshot: Snapshot) -> None:
        canvas.title("boost")
        canvas.sweep(shown, scale, peak=peak)
        canvas.figure(shown, signed=True)
        canvas.rows((("oil", reading(0.5, Age.LATE), Role.CAUTION),))
        canvas.remark("reference assumed")

    picture = record(Page("boost", "Boost", draw, ()), Snapshot(0.0, {}, hold=0.5), (240, 240))
    return content_of("boost", picture, night=True)


def test_a_page_is_said_in_texts_roles_and_shares() -> None:
    assert said(reading(-0.25), peak=1.0) == Content(
        "boost",
        "boost",
        Shown("-0.25", "bar", Role.INK, Age.FRESH),
        Share(0.125, 0.25, 0.75, Role.SOFT),
        (Shown("0.50", "bar", Role.CAUTION, Age.LATE, "oil"),),
        None,
        Words("reference assumed", Role.CAUTION),
        None,
        True,
        0.5,
    )


def test_a_value_that_warns_has_the_role_of_its_zone() -> None:
    content = said(reading(1.2))
    assert content.value == Shown("+1.20", "bar", Role.WARNING, Age.FRESH)
    assert content.share is not None
    assert content.share.role is Role.WARNING


def test_a_value_that_is_gone_has_no_place_on_its_scale() -> None:
    content = said(reading(None, Age.GONE))
    assert content.value == Shown("--", "bar", Role.INK, Age.GONE)
    assert content.share == Share(None, 0.25, None, Role.SOFT)


def test_a_value_beyond_its_scale_stays_at_the_end_and_a_saturated_one_is_marked() -> None:
    content = said(reading(2.5, quality=Quality.ABOVE), peak=-9.0)
    assert content.value is not None
    assert content.value.text == ">2.50"
    assert content.share == Share(1.0, 0.25, 0.0, Role.WARNING)


def test_a_page_that_only_says_a_sentence_has_nothing_else() -> None:
    page = Page("status", "Status", lambda canvas, snapshot: canvas.sentence("all is well"), ())
    content = content_of("status", record(page, Snapshot(0.0, {}), (240, 240)))
    assert content == Content("status", sentence=Words("all is well", Role.INK))
