"""A whole log explained: `explain(log, settings)`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping

from attrs import frozen

from ctrl.settings import Settings
from harness.explain.bank_day import BankDay
from harness.explain.charge import ChargeDay
from harness.explain.days import Day, days_of
from harness.explain.reason import Cause, Reason
from harness.explain.ruled import Ruled, bridged, ruled
from harness.explain.shared_line import Shared, shared_line
from harness.explain.why import why
from harness.explain.wiring import Between, between
from harness.logs.log import Log

FINE = (Cause.HEALTHY,)
RESETS = (Cause.HEALTHY, Cause.DRIFTED_COUNTER)
# Said of a pack only where nothing else can be said.
WEAK = (Cause.NOT_CHARGED, Cause.UNKNOWN, Cause.CLOUD)


@frozen(eq=False)
class Explained:
    """What is said of a log.

    Attributes:
        log: the log.
        packs: each pack beside what the rules make of it.
        days: the days of the log.
        banks: the packs of each day.
        reasons: one for each pack and day, pack by pack.
        lines: what lies between the charger and each pack, by name; none where its voltage is not
            in the log.
        shared: the conductor that all packs share; None where the log has one pack, or no voltage
            of the charger.
    """

    log: Log
    packs: tuple[Ruled, ...]
    days: tuple[Day, ...]
    banks: tuple[BankDay, ...]
    reasons: tuple[Reason, ...]
    lines: Mapping[str, Between]
    shared: Shared | None

    def of(self, pack: str) -> list[Reason]:
        """The reasons of one pack, day by day."""
        return [reason for reason in self.reasons if reason.pack == pack]

    def main(self, pack: str) -> Reason:
        """The one reason to look at: the commonest of the days on which it was not well, the last.

        A day without enough sun says nothing against a pack that is well on others.
        """
        own = self.of(pack)
        telling = [r for r in own if r.cause not in WEAK] or own
        bad = [r for r in telling if r.cause not in FINE]
        if not bad:
            return telling[-1]
        commonest, _ = Counter(r.cause for r in bad).most_common(1)[0]
        return [r for r in bad if r.cause is commonest][-1]

    @property
    def top(self) -> Reason:
        """The one reason of all packs: first of one that was never full, then of a count that drifts."""

        def rank(name: str) -> tuple[bool, bool, int]:
            main = self.main(name)
            was_full = any(r.cause in RESETS for r in self.of(name))
            drifts = main.cause is Cause.DRIFTED_COUNTER
            return main.cause in FINE, main.cause in WEAK, (1 if drifts else 2) if was_full else 0

        return self.main(min((pack.name for pack in self.packs), key=rank))


def explain(
    log: Log, settings: Mapping[str, Settings], *, told: Callable[[str], None] = lambda _: None
) -> Explained:
    """Explain a log.

    Args:
        log: the log.
        settings: of each pack, by its name.
        told: called as each piece of work begins.

    Raises:
        KeyError: a pack without settings.
        ValueError: the log has no stamp that can be read.
    """
    packs, lines = [], {}
    shared = shared_line(log.packs)
    for k, each in enumerate(log.packs):
        told(each.name)
        own = settings[each.name]
        packs.append(ruled(each, own if log.complete else bridged(each, own, log.gap_s)))
        if each.charger_v is not None:
            shared_v = shared.ohm * shared.total_a[k] if shared and shared.ohm else None
            trace = each.trace
            lines[each.name] = between(trace.t, each.charger_v, trace.v, trace.i, shared_v)
    days = days_of(log)
    if not days:
        raise ValueError("the log has no stamp that can be read")
    banks, reasons = [], []
    for day in days:
        told(f"day {day.number}")
        of_day = []
        for pack in packs:
            start, stop = day.rows(pack.log.trace.t)
            if stop > start:
                of_day.append(ChargeDay(pack, day, lines.get(pack.name), start, stop))
        bank = BankDay(day, tuple(of_day))
        banks.append(bank)
        reasons += [why(bank, each) for each in of_day]
    order = {pack.name: k for k, pack in enumerate(packs)}
    reasons.sort(key=lambda reason: (order[reason.pack], reason.day))
    return Explained(log, tuple(packs), tuple(days), tuple(banks), tuple(reasons), lines, shared)
