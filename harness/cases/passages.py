"""The words that recipes are written in: voltages relative to the settings, ways through stages.

A recipe says "a voltage between `full_v` and `entry_v`", never a number, so that it can be rendered
for any settings; where there is no such voltage, the recipe is not applicable to them.
"""

from __future__ import annotations

from collections.abc import Mapping

from ctrl.settings import Settings
from harness.cases.builder import Builder
from harness.cases.margins import CELL_MARGIN_V, CURRENT_MARGIN_A, VOLTAGE_MARGIN_V


class Passages(Builder):
    """A builder that knows the way through the stages.

    Attributes:
        hold_from_s: stamp of the sample that started the latest hold.
        expired_s: stamp of the sample on which it ran out.
        float_from_s: stamp of the sample on which float was entered.
        equalising_from_s: stamp of the sample on which the latest equalisation started.
        felt_c: temperature by which the pack voltages shift, degrees C; the one that was set last.
    """

    def __init__(self, settings: Settings) -> None:
        """Start an empty vector with a pack that charges in bulk at a small current."""
        super().__init__(settings)
        self.hold_from_s = self.expired_s = self.float_from_s = 0.0
        self.felt_c: float | None = None
        self.equalising_from_s = 0.0
        self.small_a = settings.capacity_ah / 100
        if settings.taper_a is not None:
            self.small_a = min(self.small_a, settings.taper_a / 2)
        self.small_a = round(self.small_a, 3)
        self.set(i=self.small_a)

    # -- voltages, V -----------------------------------------------------------------------

    def _change(self, readings: Mapping[str, float | None]) -> None:
        super()._change(readings)
        if readings.get("temp_c") is not None:
            self.felt_c = readings["temp_c"]

    def shifted(self, name: str) -> float:
        """A pack voltage of the settings at the temperature that counts."""
        value = getattr(self.settings, name)
        if name == "sag_v" and value is None:
            value = self.settings.entry_v
        shift_per_c = self.settings.compensation_v_per_c
        if self.felt_c is None or shift_per_c == 0.0:
            return float(value)
        low_c, high_c = self.settings.compensation_min_c, self.settings.compensation_max_c
        counts_c = self.felt_c if low_c is None else max(self.felt_c, low_c)
        counts_c = counts_c if high_c is None else min(counts_c, high_c)
        return float(value) + shift_per_c * (counts_c - self.settings.reference_c)

    def between(self, low: str, high: str) -> float:
        """A voltage in the middle between two settings."""
        low_v, high_v = self.shifted(low), self.shifted(high)
        self.need(
            high_v - low_v > 2 * VOLTAGE_MARGIN_V,
            f"there is no voltage between {low} {low_v:g} V and {high} {high_v:g} V that is more "
            f"than {VOLTAGE_MARGIN_V * 1000:g} mV from both",
        )
        return round((low_v + high_v) / 2, 6)

    @property
    def held_v(self) -> float:
        """At or above every threshold of charging: what a charger holds in absorption."""
        entry_v, absorption_v = self.shifted("entry_v"), self.shifted("absorption_v")
        return round(max((entry_v + absorption_v) / 2, entry_v + 0.05), 6)

    @property
    def charging_v(self) -> float:
        """Under every threshold of a hold, above those of a return: bulk, or rest in float."""
        lowest = min(("entry_v", "sag_v", "full_v"), key=self.shifted)
        return self.between("return_v", lowest)

    @property
    def low_v(self) -> float:
        """Under `return_v`, above `empty_v`."""
        return_v = self.shifted("return_v")
        floor_v = max(self.settings.empty_v or 0.0, self.settings.plausible_v[0])
        self.need(return_v - floor_v > 0.1, "return_v is too close to the lowest voltage")
        return round(max(return_v - 0.05 * self.settings.cells, (return_v + floor_v) / 2), 6)

    @property
    def empty_v(self) -> float:
        """Under `empty_v`, and believable."""
        empty_v, lowest_v = self.settings.empty_v, self.settings.plausible_v[0]
        self.need(empty_v is not None, "empty_v is none")
        assert empty_v is not None
        self.need(empty_v - lowest_v > 0.05, "empty_v is too close to the lowest plausible voltage")
        return round(max(empty_v - 0.05 * self.settings.cells, (empty_v + lowest_v) / 2), 6)

    # -- ways through the stages -----------------------------------------------------------

    def charge(self, duration_s: float = 5.0) -> float:
        """Charge under the entry voltage; in bulk nothing follows from that."""
        return self.run(duration_s, v=self.charging_v)

    def enter(self, v: float | None = None, *, since_s: float | None = None) -> float:
        """Hold a voltage above the entry voltage until absorption begins; returns its stamp, s."""
        level_v = self.held_v if v is None else v
        self.hold_from_s = self.until(self.settings.entry_dwell_s, since_s=since_s, v=level_v)
        self.expect("absorption")
        return self.hold_from_s

    def hold(self, fraction: float, **readings: float | None) -> float:
        """Spend a fraction of the hold; the clock then stands at that part of it."""
        if not readings:
            readings = {"v": self.held_v}
        self.set(**readings)
        spent_s = self.clock_s - self.hold_from_s
        return self.run(fraction * self.settings.hold_s - spent_s)

    def expire(self, *, late_s: float = 0.0, **readings: float | None) -> float:
        """Go on until the hold timer has run out; returns the stamp of that sample, s.

        Args:
            late_s: how long the timer stood still, or was put back by, s.
            readings: changes from the next sample on; without any, the voltage is held.
        """
        since_s = self.hold_from_s + late_s
        readings = readings or {"v": self.held_v}
        self.expired_s = self.until(self.settings.hold_s, since_s=since_s, **readings)
        return self.expired_s

    def expire_with(self, **readings: float | None) -> float:
        """Hold the voltage, and let only the sample on which the hold timer runs out differ."""
        interval_s = min(self.longest_interval_s, self.settings.hold_s / 20)
        end_s = self.hold_from_s + self.settings.hold_s
        self.set(v=self.held_v)
        self.run(end_s - interval_s / 2 - self.clock_s)
        self.begin_now()
        self.expired_s = self.after(interval_s, **readings)
        return self.expired_s

    def confirm(self) -> float:
        """Keep what is read until the pack is confirmed full; returns the stamp of the reset, s."""
        s = self.settings
        self.need(
            s.on_unconfirmed != "wait"
            or s.wait_limit_s > 1.1 * s.confirm_s + self.longest_interval_s,
            "with on_unconfirmed wait, wait_limit_s must be longer than confirm_s",
        )
        self.float_from_s = self.until(self.settings.confirm_s, since_s=self.expired_s)
        self.expect_reset()
        return self.float_from_s

    def reach_absorption(self) -> float:
        """From the first sample into absorption; returns the stamp of the start of the hold, s."""
        self.charge()
        return self.enter()

    def reach_float(self) -> float:
        """From bulk through a confirmed hold into float; returns the stamp of the reset, s."""
        self.charge()
        self.cycle()
        return self.float_from_s

    def cycle(self) -> float:
        """Enter, hold and confirm with the voltage held; returns the stamp of the reset, s."""
        self.enter()
        self.expire()
        return self.confirm()

    def need_float_room(self, seconds: float) -> None:
        """Go on only if the float timer does not end within `seconds` from the clock."""
        float_s = self.settings.float_s
        least_s = 1.2 * (self.clock_s - self.float_from_s + seconds)
        self.need(
            float_s is None or float_s > least_s,
            f"float_s must be none or more than {least_s:g} s",
        )

    def stay_in_float(self, seconds: float = 5.0, **readings: float | None) -> float:
        """Spend some time in float, in which its timer does not end; returns the clock, s."""
        self.need_float_room(seconds)
        return self.run(seconds, **readings)

    def fall_low(self, v: float | None = None) -> float:
        """Stay under `return_v` in float until bulk follows; returns its stamp, s."""
        self.need_float_room(self.settings.return_dwell_s)
        at_s = self.until(self.settings.return_dwell_s, v=self.low_v if v is None else v)
        self.expect("bulk")
        return at_s

    def deny(self, v: float) -> float:
        """Let the hold run out with a voltage at which the pack is not full; float follows."""
        self.need_setting("on_unconfirmed", "float")
        if v < self.shifted("sag_v"):
            self.need_setting("on_sag", "run")
        self.hold(0.9)
        self.expire(v=v)
        self.float_from_s = self.expired_s
        self.expect("float")
        return self.float_from_s

    def trip(self, **readings: float | None) -> float:
        """Keep readings that trip protection until it does; returns the stamp, s."""
        at_s = self.until(self.settings.trip_dwell_s, **readings)
        self.expect("inhibited")
        return at_s

    def release(self, *, since_s: float | None = None, **readings: float | None) -> float:
        """Keep readings at which protection lets go until it does; returns the stamp, s."""
        at_s = self.until(self.settings.release_dwell_s, since_s=since_s, **readings)
        self.expect("bulk")
        return at_s

    def leave_float(self, length_s: float, **readings: float | None) -> float:
        """Stay in float until a timer of float has run out; returns the stamp of bulk, s."""
        at_s = self.until(length_s, since_s=self.float_from_s, **readings)
        self.expect("bulk")
        return at_s

    def start_equalising(self, **readings: float | None) -> float:
        """One sample in float at which nothing holds a due equalisation back; returns its stamp, s."""
        self.need(self.settings.equalisation_v is not None, "equalisation_v is none")
        self.equalising_from_s = self.after(self.longest_interval_s, **readings)
        self.expect("equalisation")
        return self.equalising_from_s

    def equalise(self, fraction: float, **readings: float | None) -> float:
        """Spend a fraction of the equalisation; the clock then stands at that part of it."""
        self.set(**readings)
        spent_s = self.clock_s - self.equalising_from_s
        return self.run(fraction * self.settings.equalisation_s - spent_s)

    def finish_equalising(self, **readings: float | None) -> float:
        """Go on until the equalisation is over; returns the stamp of float, s."""
        self.float_from_s = self.until(
            self.settings.equalisation_s, since_s=self.equalising_from_s, **readings
        )
        self.expect("float")
        return self.float_from_s

    def abandon(self, dwell_s: float, **readings: float | None) -> float:
        """Keep readings that end the equalisation until it does; returns the stamp of float, s."""
        self.float_from_s = self.until(dwell_s, **readings)
        self.expect("float")
        return self.float_from_s

    def lost(self, seconds: float, since_s: float) -> float:
        """Go on until the temperature sensor is lost: what it raised is raised no more."""
        at_s = self.until(seconds, since_s=since_s)
        if self.felt_c is not None:
            shift_v = self.settings.compensation_v_per_c * (self.felt_c - self.settings.reference_c)
            if shift_v > 0.0:
                self.felt_c = self.settings.reference_c
        return at_s

    # -- conditions that many recipes share ------------------------------------------------

    def need_setting(self, name: str, *allowed: object) -> None:
        """Go on only if a setting has one of the values."""
        value = getattr(self.settings, name)
        words = " or ".join("none" if word is None else str(word) for word in allowed)
        self.need(value in allowed, f"{name} must be {words}, it is {value}")

    def need_mild(self, temp_c: float) -> None:
        """Go on only if charging and equalisation are allowed at a temperature."""
        s = self.settings
        band_c = s.temp_band_c + 1.0
        self.need(
            (s.charge_min_c is None or temp_c > s.charge_min_c + band_c)
            and (s.charge_max_c is None or temp_c < s.charge_max_c - band_c)
            and (s.equalisation_max_c is None or temp_c < s.equalisation_max_c - 1.0),
            f"charging is not allowed at {temp_c:g} degrees C",
        )

    def need_warm_room(self) -> float:
        """Go on only if 5 degrees above `equalisation_max_c` charging is allowed; returns that bound."""
        s = self.settings
        most_c = self.need_more("equalisation_max_c", 0, "degrees C")
        self.need(
            s.charge_max_c is None or most_c + 6.0 < s.charge_max_c,
            "charge_max_c is too near to equalisation_max_c",
        )
        return most_c

    def need_more(self, name: str, least: float, unit: str = "s") -> float:
        """Go on only if a setting is not none and greater than `least`; returns it."""
        value = getattr(self.settings, name)
        found = "none" if value is None else f"{value:g} {unit}"
        self.need(
            value is not None and value > least,
            f"{name} must be more than {least:g} {unit}, it is {found}",
        )
        return float(value)

    def cell(self, above_limit_v: float) -> float:
        """A cell voltage relative to the limit, V."""
        limit_v = self.settings.cell_limit_v
        self.need(limit_v is not None, "cell_limit_v is none")
        assert limit_v is not None
        return round(limit_v + above_limit_v, 6)

    @property
    def calm_cell_v(self) -> float:
        """A cell voltage at which protection lets go, V."""
        return round(self.settings.cell_release_v - 10 * CELL_MARGIN_V, 6)

    @property
    def mild_c(self) -> float:
        """A temperature inside the limits by more than the band, degrees C."""
        low_c, high_c = self.settings.charge_min_c, self.settings.charge_max_c
        if low_c is None:
            return 20.0 if high_c is None else high_c - self.settings.temp_band_c - 5.0
        if high_c is None:
            return low_c + self.settings.temp_band_c + 5.0
        return round((low_c + high_c) / 2, 3)

    def need_current(self, i: float) -> float:
        """A current, A, if it is believable and clear of `taper_a`; returns it."""
        low_a, high_a = self.settings.plausible_i
        taper_a = self.settings.taper_a
        self.need(
            low_a + CURRENT_MARGIN_A < i < high_a - CURRENT_MARGIN_A
            and (taper_a is None or abs(abs(i) - taper_a) > CURRENT_MARGIN_A),
            f"{i:g} A is too close to a limit of the current",
        )
        return i
