"""How a run becomes a result: what both loops write down, put together."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import isfinite, nan

import numpy as np
from attrs import evolve

from ctrl.bank import BankState, Voice, bank_step
from ctrl.limits import TIME_SLACK_S
from ctrl.state import Request
from ctrl.vocabulary import Stage
from harness.run import Answers, Floats, Identity, Trace
from harness.world import book, charger, meter, rows, turn
from harness.world.bank import World
from harness.world.book import Book, opened
from harness.world.curves import Curve
from harness.world.pack import Pack
from harness.world.plant import Code, PlantState
from harness.world.result import (
    BankRows,
    BankSummary,
    Event,
    PackRows,
    PackSummary,
    Reset,
    Result,
    Samples,
    Stop,
)
from harness.world.turn import Now, Rig, rigged, started

HOUR_S = 3600.0
_REASONS = {
    Code.BAD_INPUT: "a limit, load or step that cannot be",
    Code.BUS_VOLTAGE: "the bus voltage is not above zero, or not finite: "
    "the load is more than the packs can carry",
    Code.SOC: "the state of charge of a cell left the range in which it is a cell, "
    "or is not finite",
    Code.NOT_CONVERGED: "the end of the step was not found: shorter steps may help",
    Code.RESTLESS: "charger and switches changed too often within one step",
}


def physics_stop(code: int, k: int, step_s: float, inputs: Mapping[str, object]) -> Stop:
    """Why the plant could not take step `k` of `step_s` seconds, asked for this by name."""
    return Stop(
        step=k, t=k * step_s, reason=_REASONS[Code(code)], inputs={"step_s": step_s, **inputs}
    )


class Outcome:
    """A run under way: the world as numbers, what moves, and what has been written down.

    Attributes:
        rig: what the world is.
        now: what moves.
        kept: what is written down.
        events: what has happened.
    """

    def __init__(
        self, world: World, identities: tuple[Identity, ...], *, rows_wanted: bool = True
    ) -> None:
        """The start of a run; without `rows_wanted` only events and sums are kept."""
        self._world, self._identities, self._rows_wanted = world, identities, rows_wanted
        spec = world.plant_spec()
        self.rig: Rig = rigged(world, spec)
        self.now: Now = started(world, spec, self.rig)
        self.kept: Book = opened(world, rows_wanted=rows_wanted)
        self.events: list[Event] = []
        self._equalising_from_s = [nan] * len(world.packs)
        self._resets: list[list[Reset]] = [[] for _ in world.packs]
        self._start_soc = PlantState(self.now.plant).soc.copy()
        self._bank = BankState()
        self._asked = Request(float(self.now.asked[0]), float(self.now.asked[1]))

    def add(self, events: Floats) -> None:
        """Take in events as they were written down; shape (events, EVENT_COLUMNS)."""
        for row in events:
            event = self._told_apart(_event_of(row))
            self.events.append(event)
            if event.name == "full_reset":
                true_soc = float(row[book.EVENT_TRUE_SOC])
                self._resets[event.pack].append(Reset(event.t, true_soc, event.counted_before))

    def _told_apart(self, event: Event) -> Event:
        """An equalisation that was left before its time was abandoned."""
        if event.name == "equalisation_started":
            self._equalising_from_s[event.pack] = event.t
        elif event.name == "equalisation_ended":
            lasted_s = event.t - self._equalising_from_s[event.pack]
            settings = self._world.packs[event.pack].settings
            if lasted_s < settings.equalisation_s - TIME_SLACK_S:
                return evolve(event, name="equalisation_abandoned")
        return event

    def ask_bank(self, t: float) -> None:
        """Let the bank policy say what is asked of the charger from `t` on."""
        now = self.now
        voices = [
            Voice(
                _STAGES[now.stages[p]],
                Request(float(now.said[p, turn.SAID_V]), float(now.said[p, turn.SAID_A])),
                bool(now.at_limit[p]),
            )
            for p in range(len(now.stages))
        ]
        self._bank, asked = bank_step(self._world.bank, self._bank, t, voices)
        if asked != self._asked:
            self._asked = asked
            now.asked[0], now.asked[1] = asked.voltage_v, asked.current_a
            self.events.append(
                Event(t, "bank_asks", -1, voltage_v=asked.voltage_v, current_a=asked.current_a)
            )

    @property
    def waiting_since_s(self) -> float:
        """Since when the bank waits for a pack that has not finished, s; infinity if it does not."""
        return self._bank.waiting_since_s

    def stopped_by_physics(self, code: int, k: int) -> Result:
        """The end of a run whose plant could not take step `k`."""
        return self.ended(k, self.physics_stop(code, k))

    def physics_stop(self, code: int, k: int) -> Stop:
        """Why the plant could not take step `k`."""
        now, entries = self.now, self.now.charger.entries
        asked = {
            "charger_v": float(entries[charger.REGULATED_V]),
            "charger_a": float(entries[charger.LIMIT_A]),
            "load_a": float(now.whole[turn.LOAD_A]),
            "sun_w": float(now.whole[turn.SUN_W]),
            "switches": now.switches.tolist(),
        }
        return physics_stop(code, k, self._world.interval_s, asked)

    def ended(self, steps: int, stop: Stop | None) -> Result:
        """The result after so many steps."""
        summary = self.summary(steps)
        return _gathered(
            self._world, self.kept, self._identities, tuple(self.events), summary, stop
        )

    def summary(self, steps: int) -> BankSummary:
        """The sums after so many steps."""
        world, now = self._world, self.now
        bank = now.plant.bank
        return BankSummary(
            packs=tuple(
                self._of_pack(p, steps * world.interval_s) for p in range(len(world.packs))
            ),
            ran_s=steps * world.interval_s,
            charger_wh=float(bank[rows.CHARGER_J]) / HOUR_S,
            load_wh=float(bank[rows.LOAD_J]) / HOUR_S,
            denied_wh=float(now.whole[turn.DENIED_J]) / HOUR_S,
            sun_wh=None if world.sun is None else float(now.whole[turn.SUN_J]) / HOUR_S,
        )

    def _of_pack(self, p: int, ran_s: float) -> PackSummary:
        now, branch, tally = self.now, self._world.packs[p], self.now.tally[p]
        capacity_as = self.rig.plant.cells[p, :, rows.CAPACITY_AS]
        series = float(self.rig.plant.packs[p, rows.SERIES])
        plant = PlantState(now.plant)
        soc, gassed_ah = plant.soc[p], plant.gassed_ah
        gained_wh = stored_wh(branch.pack, capacity_as, soc)
        gained_wh -= stored_wh(branch.pack, capacity_as, self._start_soc[p])
        return PackSummary(
            name=branch.name,
            resets=tuple(self._resets[p]),
            denials=sum(e.name == "full_denied" and e.pack == p for e in self.events),
            true_soc=float(soc.mean()),
            counted_soc=_told(now.said[p, turn.SAID_SOC]),
            above_float_h=float(tally[turn.ABOVE_FLOAT_S]) / HOUR_S,
            in_wh=float(tally[turn.IN_J]) / HOUR_S,
            out_wh=float(tally[turn.OUT_J]) / HOUR_S,
            stored_wh=series * gained_wh,
            in_ah=float(tally[turn.IN_AS]) / HOUR_S,
            out_ah=float(tally[turn.OUT_AS]) / HOUR_S,
            stage_h=self._stage_h(p, ran_s),
            highest_v=float(tally[turn.HIGHEST_V]),
            lowest_v=float(tally[turn.LOWEST_V]),
            highest_cell_v=float(tally[turn.HIGHEST_CELL_V]),
            gassed_ah=float(gassed_ah[p].mean()) if len(gassed_ah) else 0.0,
        )

    def _stage_h(self, p: int, ran_s: float) -> dict[str, float]:
        """Time in each stage, h: from one change to the next, the first from bulk at the start."""
        hours = dict.fromkeys((stage.word for stage in Stage), 0.0)
        since_s, stage = 0.0, Stage.BULK
        for event in self.events:
            if event.pack == p and event.to_stage is not None:
                hours[stage.word] += (event.t - since_s) / HOUR_S
                since_s, stage = event.t, event.to_stage
        hours[stage.word] += (ran_s - since_s) / HOUR_S
        return hours


_STAGES = tuple(Stage)


def _event_of(row: Floats) -> Event:
    """An event as it was written down."""
    before, after = _STAGES[int(row[book.FROM_STAGE])], _STAGES[int(row[book.TO_STAGE])]
    return Event(
        t=float(row[book.EVENT_T]),
        name=_name(before, after, row[book.RESET]),
        pack=int(row[book.EVENT_PACK]),
        from_stage=before,
        to_stage=after,
        true_soc=float(row[book.EVENT_TRUE_SOC]),
        counted_before=_told(row[book.BEFORE_SOC]),
        counted_after=_told(row[book.AFTER_SOC]),
        voltage_v=_told(row[book.EVENT_V]),
    )


def _told(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def _name(before: Stage, after: Stage, reset: float) -> str:
    if reset > 0:
        return "full_reset"
    if after is Stage.INHIBITED:
        return "inhibited"
    names = {
        (Stage.BULK, Stage.ABSORPTION): "hold_started",
        (Stage.ABSORPTION, Stage.FLOAT): "full_denied" if reset == 0 else "stage_changed",
        (Stage.ABSORPTION, Stage.BULK): "hold_abandoned",
        (Stage.FLOAT, Stage.BULK): "float_ended",
        (Stage.INHIBITED, Stage.BULK): "released",
        (Stage.FLOAT, Stage.EQUALISATION): "equalisation_started",
        (Stage.EQUALISATION, Stage.FLOAT): "equalisation_ended",
    }
    return names.get((before, after), "stage_changed")


def stored_wh(pack: Pack, capacity_as: Floats, soc: Floats) -> float:
    """Energy of cells at rest over that of empty ones, Wh; capacities in As."""
    grid, per_capacity_v = _stored_v(pack.cell.curve)
    levels = np.interp(soc, grid, per_capacity_v)
    return float(np.sum(capacity_as * levels)) / HOUR_S


@cache
def _stored_v(curve: Curve) -> tuple[Floats, Floats]:
    """The open-circuit voltage summed up from an empty cell, V, at a grid of SoC."""
    grid = np.linspace(-0.05, 1.10, 23_001)
    v = curve.voltage_v(grid)
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(grid))])
    return grid, summed - np.interp(0.0, grid, summed)


def _gathered(
    world: World,
    kept: Book,
    identities: tuple[Identity, ...],
    events: tuple[Event, ...],
    summary: BankSummary,
    stop: Stop | None,
) -> Result:
    """A result out of what was written down."""
    count = int(kept.every[1])
    column = kept.bank[:, :count]
    bank = BankRows(
        t=column[book.T],
        bus_v=column[book.BUS_V],
        charger_v=column[book.CHARGER_V],
        charger_a=column[book.CHARGER_A],
        set_v=column[book.SET_V],
        load_a=column[book.LOAD_A],
        sun_w=column[book.SUN_W],
        bound=column[book.BOUND].astype(np.int8),
    )
    packs = []
    for p, branch in enumerate(world.packs):
        true = kept.packs[:, p, :count]
        samples = _samples(world, kept, p) if world.recording.samples else None
        packs.append(
            PackRows(
                name=branch.name,
                identity=identities[p],
                true_v=true[book.TRUE_V],
                true_a=true[book.TRUE_A],
                cell_max_v=true[book.CELL_MAX_V],
                true_soc=true[book.TRUE_SOC],
                counted_soc=true[book.COUNTED_SOC],
                stage=true[book.STAGE].astype(np.int8),
                samples=samples,
            )
        )
    return Result(world, bank, tuple(packs), events, summary, stop)


def _samples(world: World, kept: Book, p: int) -> Samples:
    table = kept.samples[p, : kept.taken[p]]
    of = world.packs[p].meter

    def column(number: int) -> Floats:
        return np.ascontiguousarray(table[:, number])

    def told(number: int) -> Floats | None:
        # A controller leaves a column out of all its answers or of none.
        return None if not len(table) or np.isnan(table[0, number]) else column(number)

    reset = told(book.ANSWER_RESET)
    return Samples(
        column(meter.TRUE_S),
        Trace(
            t=column(meter.STAMP_S),
            v=column(meter.READ_V),
            i=column(meter.READ_A),
            cell_max_v=column(meter.READ_CELL_V) if of.reads_cells else None,
            temp_c=column(meter.READ_COLDEST_C) if of.reads_temperature else None,
            temp_max_c=column(meter.READ_HOTTEST_C) if of.reads_temperature else None,
        ),
        Answers(
            stage=table[:, book.ANSWER_STAGE].astype(np.int8),
            soc=told(book.ANSWER_SOC),
            full_reset=None if reset is None else reset > 0.0,
            voltage_request_v=told(book.ANSWER_V),
            current_request_a=told(book.ANSWER_A),
        ),
    )
