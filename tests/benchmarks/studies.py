"""How fast studies run: `python -m tests.benchmarks.studies`, a table as Markdown.

One core, the best of some rounds. A step of a controller and its pack is a pack-step; everything is
in it: plant, meters with noise, controller, charger, loads, bank policy, sums. Physics alone, without
any of that, is measured in turns with it in the same process: the ratio holds on a busy machine too.
Nothing here fails on time.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np
from attrs import evolve

from ctrl.bank import POLICIES
from ctrl.resets import RESET_RULES
from harness.study import study_file
from harness.study.engine import Thresholds, compile_for, tally_bank
from harness.world.bank import World
from harness.world.charger import Charger
from harness.world.fast import simulate_many
from harness.world.loads import Appliance, LoadEvent, Loads
from harness.world.many import run_stretch
from harness.world.network import ChargerLimits
from tests.benchmarks.test_plant import bank
from tests.world.small_worlds import ORDINARY, branch, settings, world

ROUNDS = 9
STEPS = 43_200
# As many arms as fill two blocks.
ARMS = 16
RULES = list(RESET_RULES.values())
LIMITS = ChargerLimits(55.6, 80.0, np.inf, 5e-3)


def day(packs: int, step_s: float) -> World:
    """A hut's bank with ordinary meters and some loads, on a charger that never runs dry."""
    meter = evolve(ORDINARY, interval_s=step_s)
    own = settings(hold_s=1200.0, max_gap_s=max(30.0, 3.0 * step_s))
    return world(
        *(
            branch(
                f"pack {p}", 0.70 + 0.08 * p, settings=own, contact_ohm=0.0005, counted_soc=0.5,
                meter=evolve(meter, voltage_offset_v=0.01 * (p - 1)),
            )
            for p in range(packs)
        ),
        hours=STEPS * step_s / 3600.0,
        interval_s=step_s,
        loads=Loads(
            base_w=150.0,
            appliances=(Appliance(name="kettle", power_w=1800.0, minutes=4.0, per_day=8.0),),
            events=(LoadEvent(name="oven", power_w=2100.0, at="12:30", minutes=20.0),),
        ),
        charger=Charger(current_a=60.0, interval_s=step_s),
    )  # fmt: skip


def study(packs: int, step_s: float) -> Callable[[], int]:
    """Such a bank in arms of every rule and policy; returns how to run it, and then its pack-steps."""
    one = day(packs, step_s)
    arms = [
        evolve(one, bank=evolve(one.bank, policy=POLICIES[arm % len(POLICIES)]))
        for arm in range(ARMS)
    ]
    rules = [RULES[arm // len(POLICIES) % len(RULES)] for arm in range(ARMS)]

    def call() -> int:
        found = tally_bank(arms, rules, Thresholds())
        assert all(one.stop is None for one in found)
        return ARMS * packs * one.steps

    return call


def loop(packs: int) -> Callable[[], int]:
    """The same bank at 1 s, one at a time, in the loop that keeps events and sums of every run."""
    one = day(packs, 1.0)

    def call() -> int:
        simulate_many([one], threads=1)
        return packs * one.steps

    return call


def shipped(banks_days: float = 30.0) -> Callable[[], int]:
    """A bank of the shipped study of reset rules, every minute, under sun and clouds."""
    given = study_file.named("which-reset-rule")
    arms = [
        evolve(one, duration_s=86_400.0 * banks_days)
        for one in given.arm_worlds(given.bank_world(0))
    ]

    def call() -> int:
        tally_bank(arms, given.arm_rules, Thresholds())
        return len(arms) * len(arms[0].packs) * arms[0].steps

    return call


def physics(packs: int) -> Callable[[], int]:
    """Physics alone, every second, with another load each minute."""
    spec = bank(packs)
    load_a = np.repeat(np.random.default_rng(1).uniform(0.0, 20.0, STEPS // 60), 60)
    room, closed = (np.empty((3, 0)), np.empty((3, packs, 0))), np.zeros(packs, np.int64)

    def call() -> int:
        state, none = spec.start().arrays, np.empty(0)
        run_stretch(spec.arrays, state, 1.0, LIMITS, load_a, none, closed, 1, *room)
        return packs * STEPS

    return call


def measured(calls: dict[str, Callable[[], int]]) -> dict[str, list[float]]:
    """Time of a pack-step in each round, ns, the calls in turns; the first round is thrown away."""
    taken: dict[str, list[float]] = {name: [] for name in calls}
    for number in range(ROUNDS + 1):
        for name, call in calls.items():
            start = time.perf_counter()
            done = call()
            if number > 0:
                taken[name].append(1e9 * (time.perf_counter() - start) / done)
    return taken


def main() -> None:
    """Measure and print."""
    compile_for(RULES)
    alone = "physics alone, 4 packs, 1 s"
    calls: dict[str, Callable[[], int]] = {alone: physics(4)}
    calls["one run at a time, 4 packs, 1 s"] = loop(4)
    for packs in (1, 3, 4):
        for step_s in (1.0, 10.0, 60.0):
            calls[f"study, {packs} packs, {step_s:g} s"] = study(packs, step_s)
    calls["shipped study, 3 packs, 60 s"] = shipped()
    taken = measured(calls)
    print("| what | ns a pack-step | million a second a core | of physics alone |")
    print("|---|---|---|---|")
    for name, times in taken.items():
        ratio = median(a / b for a, b in zip(times, taken[alone], strict=True))
        print(f"| {name} | {min(times):.1f} | {1e3 / min(times):.1f} | {ratio:.2f} |")


if __name__ == "__main__":
    main()
