from __future__ import annotations

import pytest

from underdash.bus.frames import Frame
from underdash.contract.errors import GivenError
from underdash.finding.like.standard import from_answers
from underdash.finding.reading import heard_from


@pytest.mark.parametrize(("answer", "extended"), [(0x7E8, False), (0x18DAF110, True)])
def test_answers_of_service_01_are_read_whoever_asked(answer: int, extended: bool) -> None:
    heard = heard_from(
        ("can0", Frame(answer, bytes((3, 0x41, 0x0D, n, 0, 0, 0, 0)), extended, at=n / 2)) for n in range(20)
    )
    found = from_answers(heard, "vehicle.speed")
    assert found.value.tolist() == [float(n) for n in range(20)]
    assert found.at.tolist() == [n / 2 for n in range(20)]
    assert (found.unit, found.sources) == ("km/h", (("can0", answer, extended),))


def test_a_signal_no_answer_carries_is_told_with_the_next_step() -> None:
    heard = heard_from([("can0", Frame(0x7E8, bytes((3, 0x41, 0x05, 90)), at=1.0))])
    with pytest.raises(GivenError, match="no answer of service 01 in the trace carries it; name a car"):
        from_answers(heard, "vehicle.speed")
    with pytest.raises(GivenError, match="service 01 has no such signal"):
        from_answers(heard, "no.such")
