"""Small banks in closed loop, as strategies of Hypothesis: what one controller does, the others see.

In a trace that is drawn the voltage does not care what was asked for. Here it does: a controller
that ends its hold too early takes the voltage away from its neighbours. Packs start almost full,
holds last a minute, and a run is 80 to 140 samples a pack, so that an example takes some hundredths
of a second.

    @given(worlds())
    def test_conforms(world):
        with attach("exec:./mine") as mine, ExitStack() as others:
            rest = [others.enter_context(attach("ref")) for _ in world.packs[1:]]
            for run in run_world(world, [mine, *rest]):
                assert not judge(run).findings
"""

from __future__ import annotations

from collections.abc import Sequence

from attrs import evolve
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy, composite

from ctrl.bank import POLICIES, BankSettings
from ctrl.settings import Settings
from harness.attach.base import Attachment
from harness.run import FEATURES, Run
from harness.world.as_case import as_run
from harness.world.bank import Ambient, Branch, Recording, World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger, Link, RemoteSense
from harness.world.loads import LoadEvent, Loads
from harness.world.loop import simulate
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.sun import Cloud, Sun
from harness.world.wiring import Lead

ALL_FEATURES = frozenset(FEATURES)
MOST_PACKS = 3
CELLS = 16
# Steps of a run, and their length; a charger and a meter are no faster than a step.
STEPS = (100, 80, 140)
STEP_S = 5.0
START_AT = "11:00"
CELL = Cell(capacity_ah=100.0, series_ohm=0.0012, pairs=(Pair(ohm=0.0006, tau_s=30.0),))


def _of(*choices: float) -> SearchStrategy[float]:
    """One of some numbers, the plainest first."""
    return st.sampled_from(choices)


@composite
def pack_settings(draw: DrawFn, features: frozenset[str] = ALL_FEATURES) -> Settings:
    """Settings of a pack of 16 cells and 100 Ah, with a hold of half a minute to one and a half.

    Args:
        draw: given by the library.
        features: what the controller claims; what needs another one is off.
    """

    def one_of(feature: str, off: object, *on: object) -> object:
        return draw(st.sampled_from((off, *on))) if feature in features else off

    words = [w for w, f in (("pause", "sag_pause"), ("restart", "sag_restart")) if f in features]
    unconfirmed = ["float", "bulk", *(["wait"] if "wait" in features else [])]
    entry_v = draw(_of(55.8, 55.9, 55.5))
    plain = Settings(
        cells=CELLS,
        capacity_ah=CELL.capacity_ah,
        charge_current_a=draw(_of(20.0, 40.0)),
        entry_v=entry_v,
        entry_dwell_s=draw(_of(10.0, 0.0, 20.0)),
        hold_s=draw(_of(60.0, 30.0, 90.0)),
        on_sag=draw(st.sampled_from(["run", *words])),
        full_v=entry_v - draw(_of(0.2, 0.05, 0.0, 0.5)),
        on_unconfirmed=draw(st.sampled_from(unconfirmed)),
        wait_limit_s=draw(_of(60.0, 20.0)),
        float_v=draw(_of(54.0, 53.4)),
        return_v=draw(_of(53.0, 53.3)),
        return_dwell_s=draw(_of(20.0, 0.0)),
        return_soc=None,
        cell_limit_v=None,
        charge_min_c=None,
        charge_max_c=None,
        empty_v=None,
    )
    options = {
        "confirm_s": one_of("confirm", 0.0, 20.0),
        "taper_a": one_of("taper", None, 8.0, 20.0),
        "float_s": one_of("float_timer", None, 90.0),
        "return_soc": one_of("return_soc", None, 0.9, 0.99),
        "cell_limit_v": one_of("cell_protection", None, 3.65, 3.56),
        "charge_min_c": one_of("temperature_protection", None, 0.0),
        "charge_max_c": one_of("temperature_protection", None, 45.0),
    }
    return evolve(plain, **options)  # type: ignore[arg-type]


@composite
def meters(draw: DrawFn) -> Meter:
    """Meters with offset, gain, noise and steps, and samples that are lost or cannot be read."""
    # Later samples than one a step, and some jitter, so that no two packs see the same instants.
    jitter_s = draw(_of(0.0, 0.5))
    return Meter(
        interval_s=draw(_of(STEP_S, STEP_S, 2.0 * STEP_S)),
        phase_s=draw(_of(0.0, 1.0)),
        jitter_s=jitter_s,
        voltage_offset_v=draw(_of(0.0, 0.0, 0.05, -0.05, 0.1, -0.2)),
        voltage_gain=draw(_of(1.0, 1.001, 0.999)),
        voltage_noise_v=draw(_of(0.0, 0.003, 0.05)),
        voltage_step_v=draw(_of(0.0, 0.01)),
        current_offset_a=draw(_of(0.0, 0.3, -0.3)),
        current_gain=draw(_of(1.0, 1.01)),
        current_noise_a=draw(_of(0.0, 0.05)),
        current_step_a=draw(_of(0.0, 0.01)),
        cell_offset_v=draw(_of(0.0, 0.0, 0.1)),
        cell_step_v=draw(_of(0.0, 0.001)),
        reads_cells=draw(st.sampled_from((True, True, True, False))),
        reads_temperature=draw(st.booleans()),
        clock_offset_s=draw(_of(0.0, 1_700_000_000.0)),
        clock_wrap_s=draw(st.sampled_from((None, None, None, None, 400.0))),
        missing_probability=draw(_of(0.0, 0.0, 0.05)),
        unreadable_probability=draw(_of(0.0, 0.0, 0.05)),
        outages=draw(st.sampled_from(((), (), (), ((100.0, 160.0),), ((200.0, 260.0),)))),
    )


@composite
def branches(
    draw: DrawFn, name: str, settings: SearchStrategy[Settings], inhibited: str = "open"
) -> Branch:
    """A pack, almost full, behind its lead, with its meters and the settings of its controller."""
    soc = draw(_of(0.99, 0.995, 0.998, 0.985, 0.9))
    return Branch(
        name=name,
        pack=Pack(CELL, CELLS, soc, inhibited=inhibited),  # type: ignore[arg-type]
        lead=Lead(length_m=draw(_of(1.0, 5.0)), mm2=draw(_of(35.0, 10.0))),
        contact_ohm=draw(_of(0.0, 0.002, 0.02)),
        meter=draw(meters()),
        settings=draw(settings),
        counted_soc=draw(st.sampled_from((None, 0.9, 0.5))),
        warmer_c=draw(_of(0.0, 3.0)),
    )


@composite
def chargers(draw: DrawFn) -> Charger:
    """Chargers with limits and errors of their own; some hear late, seldom, or not at all."""
    silent = draw(st.sampled_from(("listens", "listens", "listens", "loses", "late", "deaf")))
    link = {
        "listens": Link(),
        "loses": Link(loss_probability=0.3),
        "late": Link(delay_s=30.0),
        "deaf": Link(outages=((60.0, 1e6),), fallback_v=draw(st.sampled_from((None, 54.0, 56.2)))),
    }[silent]
    senses = silent == "listens" and draw(st.booleans())
    return Charger(
        current_a=draw(_of(40.0, 60.0, 90.0, 20.0)),
        power_w=draw(st.sampled_from((None, None, None, 1500.0))),
        highest_v=draw(_of(60.0, 60.0, 56.0, 55.7)),
        meter_offset_v=draw(_of(0.0, 0.0, 0.05, -0.05, -0.3, 0.3)),
        meter_noise_v=draw(_of(0.0, 0.01)),
        set_step_v=draw(_of(0.0, 0.1)),
        interval_s=STEP_S,
        link=link,
        remote_sense=RemoteSense() if senses else None,
    )


@composite
def surroundings(draw: DrawFn) -> tuple[Sun | None, Loads, Ambient]:
    """Sun or a source that never runs dry, loads that come and go, and the air."""
    cloud = Cloud(at="11:05", minutes=2.0, transmission=0.05)
    sun = draw(
        st.sampled_from(
            (None, None, None, Sun(peak_w=4000.0), Sun(peak_w=3000.0, passing=(cloud,)))
        )
    )
    # Once for long, or every minute for a while: some of it falls on the end of a hold.
    power_w = draw(_of(5000.0, 3000.0, 8000.0))
    once = LoadEvent(name="stove", power_w=power_w, at="11:02", minutes=draw(_of(2.0, 0.5)))
    pulses = tuple(
        LoadEvent(name=f"pump {k}", power_w=power_w, at=f"11:{k:02d}", minutes=0.4)
        for k in range(1, 12)
    )
    events = draw(st.sampled_from(((), (once,), pulses, pulses)))
    loads = Loads(base_w=draw(_of(0.0, 150.0)), events=events)
    return sun, loads, Ambient(mean_c=draw(_of(20.0, 20.0, 2.0, 44.0)))


@composite
def worlds(
    draw: DrawFn,
    settings: Settings | SearchStrategy[Settings] | None = None,
    *,
    features: frozenset[str] = ALL_FEATURES,
    most_packs: int = MOST_PACKS,
) -> World:
    """Banks of one to three packs for ten minutes or so, in every kind of company.

    Args:
        draw: given by the library.
        settings: of every pack's controller, for 16 cells and 100 Ah, or a strategy for them; None
            for `pack_settings(features)`.
        features: what the controllers claim.
        most_packs: the most packs, 1 to 3.

    Raises:
        ValueError: `most_packs` is none of these.
    """
    if not 1 <= most_packs <= MOST_PACKS:
        raise ValueError(f"most_packs is {most_packs}; it must be 1 to {MOST_PACKS}")
    if settings is None:
        settings = pack_settings(features)
    of_each = st.just(settings) if isinstance(settings, Settings) else settings
    inhibited = draw(st.sampled_from(("open", "charge blocked")))
    # One pack runs twice as fast as two, and most faults need no neighbour.
    count = draw(st.sampled_from((1, *range(1, most_packs + 1))))
    names = ("east", "west", "north")[:count]
    packs = tuple(draw(branches(name, of_each, inhibited)) for name in names)
    sun, loads, ambient = draw(surroundings())
    steps = draw(st.sampled_from(STEPS))
    return World(
        name="drawn",
        packs=packs,
        duration_s=steps * STEP_S,
        main=Lead(length_m=4.0, mm2=draw(_of(50.0, 16.0))),
        main_contact_ohm=draw(_of(0.0, 0.01)),
        charger=draw(chargers()),
        bank=BankSettings(
            policy=draw(st.sampled_from(POLICIES)),
            lead=draw(st.integers(0, len(packs) - 1)),
            bank_wait_s=draw(_of(7200.0, 120.0)),
        ),
        sun=sun,
        loads=loads,
        ambient=ambient,
        start_at=START_AT,
        interval_s=STEP_S,
        seed=draw(st.integers(0, 2**16)),
        resolved=False,
        recording=Recording(interval_s=None, samples=True),
    )


def run_world(world: World, attachments: Sequence[Attachment] | None = None) -> tuple[Run, ...]:
    """Run a world in closed loop: what each controller saw and said, ready for `judge`.

    Each run's `case` is one like any other, with the trace that this controller saw: it can be
    stored, run again on any controller, and reduced. A pack whose controller never saw a sample is
    left out.

    Args:
        world: what to run.
        attachments: one controller a pack; None for the reference, compiled.

    Raises:
        LinkFault: a controller failed; `index` counts in the samples that it took.
        InputError: not one controller for each pack.
    """
    result = simulate(world, attachments)
    if result.stop is not None and result.stop.fault is not None:
        fault, pack = result.stop.fault, result.packs[result.stop.pack]
        fault.index = -1 if pack.samples is None else len(pack.samples)
        raise fault
    return tuple(
        as_run(result, pack)
        for pack, rows in enumerate(result.packs)
        if rows.samples is not None and len(rows.samples)
    )
