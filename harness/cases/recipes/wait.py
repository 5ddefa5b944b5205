"""What `on_unconfirmed = wait` does after the hold. The vectors belong to the group `full`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("full")


def _wait(b: Passages) -> tuple[float, float]:
    """`confirm_s` and `wait_limit_s` of settings that wait, and of which one fits into the other."""
    b.need_setting("on_unconfirmed", "wait")
    b.need_setting("on_sag", "run", "pause")
    confirm_s = b.need_more("confirm_s", 0)
    limit_s = b.need_more("wait_limit_s", 2 * confirm_s)
    return confirm_s, limit_s


@BOOK.recipe(
    "waits-and-confirms",
    title="With wait, a voltage that returns in time is confirmed",
    why="The charger may be busy with a load at the very moment at which the hold ends.",
    requirements="FULL.confirmed FULL.granted",
    negative="FULL.denied FULL.wait",
    features="full_reset confirm wait",
    settings=hut(on_unconfirmed="wait", confirm_s=20, wait_limit_s=120),
    catches=("denies at the end of the hold", "resets at the first sample above full_v"),
)
def waits_and_confirms(b: Passages) -> None:
    """Low at the end of the hold; the voltage returns, stands for confirm_s, and the pack is full."""
    confirm_s, limit_s = _wait(b)
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.run(0.3 * limit_s)
    b.float_from_s = b.until(confirm_s, v=b.held_v)
    b.expect_reset()
    b.stay_in_float()


@BOOK.recipe(
    "wait-ends",
    title="With wait, the wait ends after wait_limit_s without a full reset",
    why="A pack must not sit in absorption for ever because its voltage is gone.",
    requirements="FULL.wait FULL.denied",
    negative="FULL.granted",
    features="full_reset wait",
    settings=pier(on_unconfirmed="wait", wait_limit_s=90),
    catches=("waits for ever", "counts the wait from the start of the hold", "resets when it ends"),
)
def wait_ends(b: Passages) -> None:
    """Low from the end of the hold on: float wait_limit_s later, without a full reset."""
    b.need_setting("on_unconfirmed", "wait")
    b.need_setting("on_sag", "run", "pause")
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.float_from_s = b.until(b.settings.wait_limit_s, since_s=b.expired_s)
    b.expect("float")
    b.stay_in_float(10)


@BOOK.recipe(
    "wait-starts-the-confirmation-again",
    title="With wait, a break starts the confirmation again from zero",
    why="The voltage must stand for confirm_s in one piece, also after a second attempt.",
    requirements="FULL.confirmed FULL.granted",
    negative="FULL.confirmed FULL.wait",
    features="full_reset confirm wait",
    settings=hut(on_unconfirmed="wait", confirm_s=20, wait_limit_s=120),
    catches=("adds up the time above full_v", "denies at the break"),
)
def wait_starts_the_confirmation_again(b: Passages) -> None:
    """Above full_v for part of confirm_s, low again, then above it to stay: reset confirm_s after that."""
    confirm_s, limit_s = _wait(b)
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.run(0.2 * limit_s)
    b.run(0.6 * confirm_s, v=b.held_v)
    b.run(0.05 * limit_s, v=b.charging_v)
    b.float_from_s = b.until(confirm_s, v=b.held_v)
    b.expect_reset()
    b.stay_in_float()


@BOOK.recipe(
    "wait-ends-during-the-confirmation",
    title="With wait, the limit ends the wait even while the confirmation runs",
    why="The limit is a limit: a confirmation that starts too late is no confirmation.",
    requirements="FULL.wait FULL.denied",
    negative="FULL.granted FULL.confirmed FULL.wait",
    features="full_reset confirm wait",
    settings=hut(on_unconfirmed="wait", confirm_s=20, wait_limit_s=120),
    catches=("lets a running confirmation finish after the limit",),
)
def wait_ends_during_the_confirmation(b: Passages) -> None:
    """The voltage returns when less than confirm_s is left: float at the limit, without a reset."""
    confirm_s, limit_s = _wait(b)
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.run(limit_s - 0.5 * confirm_s)
    b.float_from_s = b.until(limit_s, since_s=b.expired_s, v=b.held_v)
    b.expect("float")
    b.stay_in_float(confirm_s)


@BOOK.recipe(
    "confirmation-wins-over-limit",
    title="With wait, a voltage that returns on the sample of the limit wins",
    why="The full-reset test comes first: the proof is complete, so it counts.",
    requirements="FULL.granted",
    negative="FULL.denied FULL.wait",
    features="full_reset wait",
    settings=hut(on_unconfirmed="wait", wait_limit_s=120),
    catches=("looks at the limit before the confirmation",),
    tags="boundary",
)
def confirmation_wins_over_limit(b: Passages) -> None:
    """Low from the end of the hold on, and high again with the sample on which the wait ends: full reset."""
    b.need_setting("on_unconfirmed", "wait")
    b.need_setting("on_sag", "run", "pause")
    b.need_setting("confirm_s", 0.0)
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    interval_s = min(b.longest_interval_s, b.settings.wait_limit_s / 20)
    b.run(b.expired_s + b.settings.wait_limit_s - interval_s / 2 - b.clock_s)
    b.begin_now()
    b.float_from_s = b.after(interval_s, v=b.held_v)
    b.expect_reset()
    b.stay_in_float()
