"""Faults in what blocks charging, and in what lets go."""

from __future__ import annotations

from harness.zoo.fault import Fault

_CELL_HIGH = 'held = self._held("cell", self.cell_max_v >= settings["cell_limit_v"])'
_CELL_TRIPS = 'if held >= settings["trip_dwell_s"] - SLACK:'
_COLD = 'cold = self.temp_c < settings["charge_min_c"]'
_HOT = 'hot = self.hottest_c > settings["charge_max_c"]'
_TEMPERATURE_TRIPS = (
    'if self._held("temperature", cold or hot) >= settings["trip_dwell_s"] - SLACK:'
)
_STANDS_IN = "if isnan(self.hottest_c):"
_SILENT = 'if self.t - self.heard_t > settings["max_gap_s"] + SLACK:'
_HEARD = "if isnan(self.heard_t):"
_ABSENT = "readings = (nan if x is None or not abs(x) <= sys.float_info.max else x for x in given)"
_TRIPPED = "self.tripped.add(cause)"
_RELEASE = 'elif self.stage == "inhibited" and held >= settings["release_dwell_s"] - SLACK:'
_COLDEST = 'coldest_c = settings["charge_min_c"] + settings["temp_band_c"]'
_HOTTEST = 'hottest_c = settings["charge_max_c"] - settings["temp_band_c"]'
_CELL_CLEAR = (
    'cell = self.cell_max_v <= settings["cell_release_v"] or "cell_voltage" not in self.tripped'
)
_WARM = "warm = isnan(coldest_c) or self.temp_c >= coldest_c"
_MILD = 'return cell and ((warm and cool) or "temperature" not in self.tripped)'
_HELD = 'held = self._held("stage", condition)'
_NEW_STAGE = "self.stage = stage\n"
_INHIBITS = 'self.stage = "inhibited"'

FAULTS = (
    Fault(
        name="cell-limit-ignored",
        requirement="PROTECT.cell-trips",
        title="never trips on a cell",
        old=_CELL_HIGH,
        new='held = self._held("cell", self.cell_max_v >= 1e9)',
        why="The balancer was thought to keep the cells together.",
    ),
    Fault(
        name="cell-limit-must-be-exceeded",
        requirement="PROTECT.cell-trips",
        title="does not trip with a cell at exactly its limit",
        old=_CELL_HIGH,
        new='held = self._held("cell", self.cell_max_v > settings["cell_limit_v"])',
        why="The comparison was written with > where >= was meant.",
    ),
    Fault(
        name="cell-limit-ten-millivolts-high",
        requirement="PROTECT.cell-trips",
        title="trips 10 mV above the limit of a cell",
        old=_CELL_HIGH,
        new='held = self._held("cell", self.cell_max_v >= settings["cell_limit_v"] + 0.010)',
        why="A margin was added against trips by noise.",
    ),
    Fault(
        name="cell-limit-only-in-absorption",
        requirement="PROTECT.cell-trips",
        title="trips on a cell only in absorption",
        old=_CELL_TRIPS,
        new='if held >= settings["trip_dwell_s"] - SLACK and self.stage in ("absorption", "inhibited"):',
        why="A cell was thought to be high only where the voltage is.",
    ),
    Fault(
        name="full-before-protection",
        requirement="PROTECT.cell-trips",
        title="lets a hold come to its end before it trips on a cell",
        old=_CELL_TRIPS,
        new='if held >= settings["trip_dwell_s"] - SLACK and self.stage != "absorption":',
        why="Protection comes after the stage rules.",
    ),
    Fault(
        name="cell-dwell-lost",
        requirement="PROTECT.cell-held",
        title="trips on a single reading of a high cell",
        old=_CELL_TRIPS,
        new="if held >= 0.0:",
        why="The dwell was left for later, and the bench supply had no noise.",
    ),
    Fault(
        name="cell-limit-ten-millivolts-low",
        requirement="PROTECT.cell-held",
        title="trips 10 mV under the limit of a cell",
        old=_CELL_HIGH,
        new='held = self._held("cell", self.cell_max_v >= settings["cell_limit_v"] - 0.010)',
        why="A margin was added for safety; the limit was the margin already.",
    ),
    Fault(
        name="cold-ignored",
        requirement="PROTECT.temperature-trips",
        title="charges a pack that is too cold",
        old=_COLD,
        new="cold = False",
        why="The pack was to stand in a warm room.",
    ),
    Fault(
        name="heat-ignored",
        requirement="PROTECT.temperature-trips",
        title="charges a pack that is too hot",
        old=_HOT,
        new="hot = False",
        why="The pack was to stand in a cellar.",
    ),
    Fault(
        name="hottest-sensor-ignored",
        requirement="PROTECT.temperature-trips",
        title="looks at the coldest sensor alone",
        old=_STANDS_IN,
        new="if True:",
        why="There was one sensor once.",
    ),
    Fault(
        name="one-sensor-never-hot",
        requirement="PROTECT.temperature-trips",
        title="never trips on heat where there is one sensor only",
        old=_STANDS_IN,
        new="if False:",
        why="Two sensors were taken for granted.",
    ),
    Fault(
        name="causes-share-one-dwell",
        requirement="PROTECT.temperature-trips",
        title="never trips while the cells and the temperature do not both ask for it",
        old=_TEMPERATURE_TRIPS,
        new='if self._held("cell", cold or hot) >= settings["trip_dwell_s"] - SLACK:',
        why="Two causes share one timer, and each clears it for the other.",
    ),
    Fault(
        name="temperature-dwell-lost",
        requirement="PROTECT.temperature-held",
        title="trips on a single reading of temperature",
        old=_TEMPERATURE_TRIPS,
        new='if self._held("temperature", cold or hot) >= 0.0:',
        why="Temperature was thought to be slow enough to need no dwell.",
    ),
    Fault(
        name="cold-limit-excluded",
        requirement="PROTECT.temperature-held",
        title="trips at exactly the lowest temperature",
        old=_COLD,
        new='cold = self.temp_c <= settings["charge_min_c"]',
        why="The comparison was written with <= where < was meant.",
    ),
    Fault(
        name="hot-limit-excluded",
        requirement="PROTECT.temperature-held",
        title="trips at exactly the highest temperature",
        old=_HOT,
        new='hot = self.hottest_c >= settings["charge_max_c"]',
        why="The comparison was written with >= where > was meant.",
    ),
    Fault(
        name="cold-seen-at-the-hottest-sensor",
        requirement="PROTECT.temperature-trips",
        title="looks for cold at the hottest sensor",
        old=_COLD,
        new='cold = self.hottest_c < settings["charge_min_c"]',
        why="The names of the two readings were mixed up.",
    ),
    Fault(
        name="silence-ignored",
        requirement="PROTECT.no-reading",
        title="goes on charging without a valid reading",
        old=_SILENT,
        new="if self.t - self.heard_t > 1e9:",
        why="A meter that fails was not thought of.",
    ),
    Fault(
        name="silence-ten-times-longer",
        requirement="PROTECT.no-reading",
        title="waits ten times as long for a valid reading",
        old=_SILENT,
        new='if self.t - self.heard_t > 10.0 * settings["max_gap_s"] + SLACK:',
        why="A limit in ticks of a tenth of a second was compared with seconds.",
    ),
    Fault(
        name="silence-from-the-start-ignored",
        requirement="PROTECT.no-reading",
        title="does not trip when there never was a valid reading",
        old=_HEARD,
        new="if False:",
        why="The watch starts with the first valid reading.",
    ),
    Fault(
        name="silence-at-first-bad-reading",
        requirement="PROTECT.no-reading",
        title="trips at the first reading that is not valid",
        old=_SILENT,
        new="if self.t >= self.heard_t:",
        why="A reading that cannot be believed was thought to be reason enough.",
    ),
    Fault(
        name="never-released",
        requirement="PROTECT.releases",
        title="stays inhibited until power is lost",
        old=_RELEASE,
        new='elif self.stage == "inhibited" and held >= 1e9:',
        why="A trip was meant to be looked at by somebody.",
    ),
    Fault(
        name="heat-released-only-with-a-cold-limit",
        requirement="PROTECT.releases",
        title="does not let go of heat where no lowest temperature is set",
        old=_WARM,
        new="warm = self.temp_c >= coldest_c",
        why="A limit that is none is compared like a number.",
    ),
    Fault(
        name="release-dwell-tripled",
        requirement="PROTECT.releases",
        title="lets go only after three times the release dwell",
        old=_RELEASE,
        new='elif self.stage == "inhibited" and held >= 3.0 * settings["release_dwell_s"] - SLACK:',
        why="Every cause that is watched adds a dwell of its own.",
    ),
    Fault(
        name="release-below-the-release-voltage",
        requirement="PROTECT.releases",
        title="does not let go of a cell at exactly the release voltage",
        old=_CELL_CLEAR,
        new='cell = self.cell_max_v < settings["cell_release_v"] or "cell_voltage" not in self.tripped',
        why="The comparison was written with < where <= was meant.",
    ),
    Fault(
        name="release-at-once",
        requirement="PROTECT.release-held",
        title="lets go at the first clear reading",
        old=_RELEASE,
        new='elif self.stage == "inhibited" and held >= 0.0:',
        why="Only the trip was thought to need a dwell.",
    ),
    Fault(
        name="release-cell-without-band",
        requirement="PROTECT.release-held",
        title="lets go as soon as the cell is under its limit",
        old=_CELL_CLEAR,
        new='cell = self.cell_max_v < settings["cell_limit_v"] or "cell_voltage" not in self.tripped',
        why="One comparison serves the trip and the release.",
    ),
    Fault(
        name="release-cold-without-band",
        requirement="PROTECT.release-held",
        title="lets go as soon as the pack is as warm as it must be",
        old=_COLDEST,
        new='coldest_c = settings["charge_min_c"]',
        why="One comparison serves the trip and the release.",
    ),
    Fault(
        name="release-heat-without-band",
        requirement="PROTECT.release-held",
        title="lets go as soon as the pack is as cool as it must be",
        old=_HOTTEST,
        new='hottest_c = settings["charge_max_c"]',
        why="One comparison serves the trip and the release.",
    ),
    Fault(
        name="release-dwell-survives-relapse",
        requirement="PROTECT.release-held",
        title="does not start the release dwell again when the cause returns",
        old=_HELD,
        new='begun = self.stage == "inhibited" and "stage" in self.since\n'
        '        held = self._held("stage", condition or begun)',
        why="The timer is started by the first clear reading and nothing stops it.",
    ),
    Fault(
        name="only-the-last-cause-kept",
        requirement="PROTECT.release-held",
        title="lets go when the last cause is clear and an earlier one is not",
        old=_TRIPPED,
        new="self.tripped = {cause}",
        why="There is one variable for the cause.",
    ),
    Fault(
        name="only-the-first-cause-kept",
        requirement="PROTECT.release-held",
        title="lets go when the first cause is clear and a later one is not",
        old=_TRIPPED,
        new="self.tripped = self.tripped or {cause}",
        why="A trip while tripped already is not looked at.",
    ),
    Fault(
        name="absent-cell-is-clear",
        requirement="PROTECT.release-held",
        title="takes a cell reading that is missing for a clear one",
        old=_CELL_CLEAR,
        new='high = self.cell_max_v > settings["cell_release_v"]\n'
        '        cell = not high or "cell_voltage" not in self.tripped',
        why="The comparison asks for what is wrong, and nothing is wrong with nothing.",
    ),
    Fault(
        name="absent-temperature-is-clear",
        requirement="PROTECT.release-held",
        title="takes a temperature that is missing for a clear one",
        old=_MILD,
        new="mild = (warm and cool) or isnan(self.temp_c)\n"
        '        return cell and (mild or "temperature" not in self.tripped)',
        why="The comparison asks for what is wrong, and nothing is wrong with nothing.",
    ),
    Fault(
        name="absent-is-zero",
        requirement="PROTECT.temperature-trips",
        title="takes a reading that is missing for zero",
        old=_ABSENT,
        new="readings = (0.0 if x is None or not abs(x) <= sys.float_info.max else x for x in given)",
        why="Memory is cleared to zero, and nobody asks whether a reading came.",
    ),
    Fault(
        name="released-into-float",
        requirement="PROTECT.to-bulk",
        title="goes from inhibited to float",
        old=_NEW_STAGE,
        new='self.stage = "float" if self.stage == "inhibited" else stage\n',
        why="The voltage asked for while inhibited is that of float, so nothing had to change.",
    ),
    Fault(
        name="full-while-inhibited",
        requirement="PROTECT.blocks-full",
        title="calls a pack full that is high while charging is inhibited",
        old=_HELD,
        new=_HELD + "\n"
        '        if self.stage == "inhibited" and self.v >= self._level("full_v") and self.soc < 1.0:\n'
        "            self.soc, self.full_reset = 1.0, True",
        why="The rule for a full pack does not ask for the stage.",
    ),
    Fault(
        name="tripped-hold-goes-on",
        requirement="PROTECT.cell-trips",
        title="stays in absorption when a cell trips there",
        old=_INHIBITS,
        new='self.stage = self.stage if self.stage == "absorption" else "inhibited"',
        why="The stage is set again by the branch that handles absorption.",
    ),
)
