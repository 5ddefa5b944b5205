"""What the charger is asked for, stage by stage and with temperature."""

from harness.cases.packs import common_practice, hut, lead_acid, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("request")


@BOOK.recipe(
    "by-stage",
    title="Bulk and absorption ask for absorption_v, float for float_v",
    why="The charger does what it is asked: a float that asks for absorption_v overcharges the pack.",
    requirements="REQUEST.voltage REQUEST.current REQUEST.never-above",
    features="requests return_voltage",
    settings=hut(),
    catches=("asks for absorption_v in float", "asks for float_v in bulk after a return"),
)
def by_stage(b: Passages) -> None:
    """Bulk, absorption, float, and bulk again by low voltage."""
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)
    b.fall_low()
    b.charge()


@BOOK.recipe(
    "common-practice",
    title="55.2 V asked for, 53.6 V in float",
    why="Common practice, no published source: 3.45 V a cell asked for, 3.35 V a cell in float.",
    requirements="REQUEST.voltage REQUEST.current",
    features="requests",
    settings=common_practice(hold_s=60),
    catches=("voltages rounded to 0.5 V", "defaults in place of the settings"),
    tags="common-practice",
)
def common_practice_numbers(b: Passages) -> None:
    """One cycle with the voltages of common practice."""
    b.reach_float()
    b.stay_in_float(20)


@BOOK.recipe(
    "blocked",
    title="Blocked, the controller asks for float_v and no current",
    why="No current is the request that protects the pack.",
    requirements="REQUEST.voltage REQUEST.current PROTECT.cell-trips",
    features="requests cell_protection",
    settings=pier(),
    catches=("goes on asking for current while blocked", "asks for absorption_v while blocked"),
)
def blocked(b: Passages) -> None:
    """Blocked by a cell for a while, then released."""
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(20)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "float-still-asks-for-current",
    title="Float asks for current like every stage in which charging is allowed",
    why="In float the charger must be free to carry the loads.",
    requirements="REQUEST.voltage",
    negative="REQUEST.current",
    features="requests",
    settings=pier(),
    catches=("asks for no current in float", "asks for a taper current in absorption"),
)
def float_still_asks_for_current(b: Passages) -> None:
    """A minute in float under a load: charge_current_a is asked for throughout."""
    b.reach_float()
    b.stay_in_float(60, v=b.charging_v, i=-b.small_a)


@BOOK.recipe(
    "same-whatever-is-read",
    title="What is asked for does not follow what is read",
    why="A request that follows the voltage turns the charger and the pack into an oscillator.",
    requirements="REQUEST.current",
    negative="REQUEST.voltage REQUEST.never-above",
    features="requests",
    settings=hut(),
    catches=("asks for more when the voltage sags", "asks for more to make up for the wiring"),
)
def same_whatever_is_read(b: Passages) -> None:
    """In bulk the voltage and the current go up and down: the requests stay."""
    b.set(i=b.need_current(0.2 * b.settings.capacity_ah))
    for _ in range(5):
        b.charge()
        b.run(5, v=b.low_v)


def _compensated(b: Passages) -> float:
    """The shift for one degree, V, of settings that compensate."""
    shift_v = b.settings.compensation_v_per_c
    b.need(shift_v != 0, "compensation_v_per_c must not be 0")
    return shift_v


def _temperature(b: Passages, away_c: float) -> float:
    """A temperature `away_c` from the reference, if charging is allowed there."""
    temp_c = b.settings.reference_c + away_c
    low_c, high_c = b.settings.charge_min_c, b.settings.charge_max_c
    band_c = b.settings.temp_band_c
    b.need(
        (low_c is None or temp_c > low_c + band_c + 1)
        and (high_c is None or temp_c < high_c - band_c - 1),
        f"charging is not allowed at {temp_c:g} degrees C",
    )
    return temp_c


@BOOK.recipe(
    "compensated-cold",
    title="In the cold all voltages are higher: 24 cells at 0 degrees C by 3 V",
    why="-5 mV/degree C/cell: Harrington & Dunlop, IEEE AES Magazine, Aug 1992, p. 15.",
    requirements="REQUEST.compensated REQUEST.voltage ENTRY.not-late FULL.granted",
    features="requests compensation",
    settings=lead_acid(24),
    catches=("ignores the temperature", "shifts the request but not the thresholds"),
)
def compensated_cold(b: Passages) -> None:
    """One cycle 25 degrees under the reference, every threshold shifted."""
    _compensated(b)
    b.set(temp_c=_temperature(b, -25))
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)


@BOOK.recipe(
    "compensated-hot",
    title="In the heat all voltages are lower: 4 cells at 35 degrees C by 0.2 V",
    why="-5 mV/degree C/cell: Harrington & Dunlop, IEEE AES Magazine, Aug 1992, p. 15.",
    requirements="REQUEST.compensated REQUEST.voltage REQUEST.never-above RETURN.low-voltage",
    features="requests compensation return_voltage",
    settings=lead_acid(4, return_dwell_s=20),
    catches=("the sign of the shift the other way round", "a request never lower than the setting"),
)
def compensated_hot(b: Passages) -> None:
    """One cycle 10 degrees above the reference, and a return under the shifted return_v."""
    _compensated(b)
    b.set(temp_c=_temperature(b, 10))
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)
    b.fall_low()


@BOOK.recipe(
    "cold-entry-is-higher",
    title="In the cold a voltage above the plain entry voltage starts nothing",
    why="A cold lead-acid pack at that voltage is far from full.",
    requirements="ENTRY.held-long-enough REQUEST.compensated",
    negative="ENTRY.held-long-enough REQUEST.compensated",
    features="compensation",
    settings=lead_acid(24),
    catches=("compares with the plain entry_v",),
)
def cold_entry_is_higher(b: Passages) -> None:
    """Between the plain entry voltage and the shifted one for a minute, then above both."""
    b.need(_compensated(b) < 0, "compensation_v_per_c must be negative")
    b.set(temp_c=_temperature(b, -15))
    shifted_v = min(b.shifted(name) for name in ("full_v", "entry_v", "sag_v"))
    middle_v = round((b.settings.entry_v + shifted_v) / 2, 6)
    b.need(b.settings.entry_v + 0.01 < middle_v, "the shift is too small")
    b.charge()
    b.run(60, v=middle_v)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "no-temperature-no-shift",
    title="Without a temperature nothing is shifted",
    why="A sensor that is not fitted must not move any voltage.",
    requirements="COMPENSATE.before-first REQUEST.voltage ENTRY.not-late FULL.granted",
    negative="REQUEST.compensated",
    features="requests compensation",
    settings=lead_acid(4),
    catches=("takes a missing temperature for 0 degrees C",),
)
def no_temperature_no_shift(b: Passages) -> None:
    """One cycle without a temperature column: the settings as they stand."""
    _compensated(b)
    b.reach_float()
    b.stay_in_float(20)


@BOOK.recipe(
    "temperature-is-kept",
    title="A temperature that goes missing keeps its shift",
    why="A loose sensor must not make the voltages jump in the middle of a charge.",
    requirements="REQUEST.compensated REQUEST.voltage ENTRY.not-late",
    negative="REQUEST.compensated",
    features="requests compensation",
    settings=lead_acid(24),
    catches=("drops the shift when the reading is missing", "takes missing for 0 degrees C"),
)
def temperature_is_kept(b: Passages) -> None:
    """A temperature at first, then none: the last one holds for the rest of the cycle."""
    _compensated(b)
    temp_c = _temperature(b, 10)
    b.set(temp_c=temp_c)
    b.charge(10)
    b.set(temp_c=None)
    b.charge(10)
    b.enter()
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "temperature-of-an-invalid-sample",
    title="The temperature of an invalid sample shifts nothing",
    why="What comes with an unbelievable reading is not believed either.",
    requirements="REQUEST.compensated TIME.invalid-skipped",
    negative="REQUEST.compensated",
    features="requests compensation",
    settings=lead_acid(4),
    catches=("takes the temperature of an invalid sample",),
)
def temperature_of_an_invalid_sample(b: Passages) -> None:
    """Invalid samples with another temperature in the middle of bulk: the voltages stay."""
    _compensated(b)
    temp_c = _temperature(b, 10)
    b.set(temp_c=temp_c)
    b.charge(10)
    voltage_v = b.charging_v
    for _ in range(5):
        b.at(b.clock_s, v=None, temp_c=_temperature(b, -5))
        b.skip(1.0)
        b.at(b.clock_s, v=voltage_v, temp_c=None)
        b.skip(1.0)
    b.set(temp_c=temp_c)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "cold-full-is-higher",
    title="In the cold a voltage above the plain full voltage does not prove the pack full",
    why="Every threshold of the charge moves with the temperature, not only the first one.",
    requirements="FULL.denied",
    negative="FULL.voltage REQUEST.compensated",
    features="compensation full_reset",
    settings=lead_acid(24),
    catches=("shifts entry_v but not full_v",),
)
def cold_full_is_higher(b: Passages) -> None:
    """From nine tenths of the hold on between the plain full voltage and the shifted one: no reset."""
    b.need(_compensated(b) < 0, "compensation_v_per_c must be negative")
    b.set(temp_c=_temperature(b, -15))
    plain_v, shifted_v = b.settings.full_v, b.shifted("full_v")
    b.need(shifted_v - plain_v > 0.02, "the shift is too small")
    b.reach_absorption()
    b.deny(v=round((plain_v + shifted_v) / 2, 6))
    b.stay_in_float(20)


@BOOK.recipe(
    "hot-return-is-lower",
    title="In the heat a voltage under the plain return voltage does not end float",
    why="A hot pack rests at a lower voltage and is full all the same.",
    requirements="FLOAT.stays REQUEST.voltage",
    negative="RETURN.low-voltage REQUEST.compensated",
    features="compensation requests return_voltage",
    settings=lead_acid(24, return_dwell_s=20),
    catches=("compares with the plain return_v",),
)
def hot_return_is_lower(b: Passages) -> None:
    """In float between the shifted return voltage and the plain one for three times the dwell."""
    b.need(_compensated(b) < 0, "compensation_v_per_c must be negative")
    b.set(temp_c=_temperature(b, 15))
    plain_v, shifted_v = b.settings.return_v, b.shifted("return_v")
    b.need(plain_v - shifted_v > 0.02, "the shift is too small")
    b.reach_float()
    b.stay_in_float(3 * b.settings.return_dwell_s + 5, v=round((plain_v + shifted_v) / 2, 6))


@BOOK.recipe(
    "cold-sag-is-higher",
    title="In the cold a voltage above the plain sag voltage is a sag",
    why="The voltage of a sag is a pack voltage like the others: it shifts with the temperature.",
    requirements="HOLD.sag-pauses REQUEST.compensated",
    negative="HOLD.full-length",
    features="compensation sag_pause",
    settings=lead_acid(24, on_sag="pause"),
    catches=("compares with the plain sag_v",),
)
def cold_sag_is_higher(b: Passages) -> None:
    """Between the plain and the shifted sag voltage for four tenths of the hold: it ends later by that."""
    s = b.settings
    b.need_setting("on_sag", "pause")
    b.need(s.compensation_v_per_c < 0, "compensation_v_per_c must be negative")
    b.need(s.charge_min_c is None, "charge_min_c must be none")
    b.set(temp_c=s.reference_c - 15)
    plain_v = s.entry_v if s.sag_v is None else s.sag_v
    middle_v = round((plain_v + b.shifted("sag_v")) / 2, 6)
    b.reach_absorption()
    b.hold(0.3)
    b.hold(0.7, v=middle_v)
    b.expire(late_s=0.4 * s.hold_s)
    b.confirm()
    b.stay_in_float(v=b.charging_v)


@BOOK.recipe(
    "cold-return-is-higher",
    title="In the cold a voltage above the plain return voltage returns to bulk",
    why="return_v shifts with the temperature like the others.",
    requirements="RETURN.low-voltage REQUEST.compensated",
    features="compensation return_voltage",
    settings=lead_acid(24, return_dwell_s=20),
    catches=("compares with the plain return_v",),
)
def cold_return_is_higher(b: Passages) -> None:
    """In float between the plain and the shifted return voltage: bulk after the dwell."""
    s = b.settings
    b.need(s.compensation_v_per_c < 0, "compensation_v_per_c must be negative")
    b.need(s.charge_min_c is None, "charge_min_c must be none")
    b.set(temp_c=s.reference_c - 15)
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.fall_low(round((s.return_v + b.shifted("return_v")) / 2, 6))
    b.run(5)


@BOOK.recipe(
    "shifted-by-the-coldest-sensor",
    title="The coldest sensor shifts the voltages, not the hottest",
    why="The rules name one of the two sensors; a controller that takes the other asks for too little.",
    requirements="REQUEST.compensated",
    negative="REQUEST.never-above",
    features="requests compensation",
    settings=lead_acid(4),
    catches=("shifts by temp_max_c", "shifts by the mean of the two sensors"),
)
def shifted_by_the_coldest_sensor(b: Passages) -> None:
    """temp_c 10 degrees under the reference, temp_max_c 10 above it: one cycle by temp_c."""
    s = b.settings
    b.need(s.compensation_v_per_c != 0, "compensation_v_per_c must not be 0")
    b.need(s.charge_min_c is None and s.charge_max_c is None, "temperature limits must be none")
    b.set(temp_c=s.reference_c - 10, temp_max_c=s.reference_c + 10)
    b.reach_float()
    b.stay_in_float(v=b.charging_v)
