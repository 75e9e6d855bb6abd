import re

from floorfit.cli.steps import STEPS, Course


class Clock:
    """A clock that is set by hand."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


def share(line: str) -> int:
    found = re.search(r"(\d+) %", line)
    assert found
    return int(found[1])


def test_share_grows_from_step_to_step_and_ends_below_all() -> None:
    clock = Clock()
    course = Course(1e6, 120, clock)
    shares = [share(course.line())]
    for name in list(STEPS)[1:]:
        clock.now += course.expected(course.step)
        course.begin(name)
        shares.append(share(course.line()))
    assert shares == sorted(shares) and shares[0] < 5 and 80 < shares[-1] < 100


def test_time_left_follows_a_slower_machine() -> None:
    def left(slower: float) -> float:
        clock = Clock()
        course = Course(1e6, 120, clock)
        for name in ("screening", "fitting", "deciding"):
            clock.now += slower * course.expected(course.step)
            course.begin(name)
        found = re.search(r"about (\d+) (s|min)", course.line())
        assert found
        return float(found[1]) * (60 if found[2] == "min" else 1)

    assert 1.5 < left(2.0) / left(1.0) < 2.5  # twice as slow so far, twice as long still


def test_a_step_that_takes_longer_never_passes_the_end() -> None:
    clock = Clock()
    course = Course(100, 10, clock)
    course.begin("writing the page")
    clock.now = 1000.0
    assert share(course.line()) < 100


def test_unknown_words_are_shown_and_change_nothing() -> None:
    course = Course(100, 10, Clock())
    course.begin("thinking")
    assert course.line().startswith("thinking (1 of ")
