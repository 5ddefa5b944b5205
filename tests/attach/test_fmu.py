"""FMUs of FMI 2.0 and 3.0: the example controller behind the standard, whole, mapped, and broken."""

from __future__ import annotations

import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach import AttachError, attach
from harness.cases import rendered_for, shipped
from harness.rules import requirement
from harness.run import Case, Outcome
from harness.verify import verify
from tests.attach.fmu.built import as_initializer, built

pytest.importorskip("fmpy")

START = '[parameters]\nsoc = "start_soc"\n'
SOME = ("entry/", "hold/", "time/", "soc/")


def spec(fmu: Path, mapping: str = START) -> str:
    file = fmu.with_name("mapping.toml")
    file.write_text(mapping, encoding="utf-8")
    return f"fmu:{fmu}:{file}"


def some(*groups: str) -> list[Case]:
    return [vector.case for vector in shipped() if vector.id.startswith(groups or SOME)]


@pytest.mark.parametrize("version", [2, 3])
def test_the_example_as_an_fmu_conforms(version: int, tmp_path: Path) -> None:
    cases = [vector.case for vector in shipped()]
    with attach(spec(built(tmp_path, version))) as attachment:
        identity = attachment.hello()
        report = verify(attachment, cases)
    assert (identity.name, identity.version, identity.language) == ("example", "1.2", "the tests")
    assert report.findings == ()
    assert report.errors == {}
    # Nobody can take the power from an FMU, or ask it for an equalisation.
    lacking = {"power_cycle", "equalisation"}
    assert set(report.not_applicable) == {c.id for c in cases if c.features & lacking}
    for result in report.results:
        claimed = not requirement(result.requirement).features & lacking
        assert result.outcome is (Outcome.PASS if claimed else Outcome.NOT_CLAIMED)


def test_without_the_stamp_its_own_clock_only_goes_on(tmp_path: Path) -> None:
    cases = some()
    with attach(spec(built(tmp_path, 2, stamp=False))) as attachment:
        report = verify(attachment, cases)
    assert report.findings == ()
    stuck = {
        case.id
        for case in cases
        if not np.isfinite(case.trace.t).all() or not (np.diff(case.trace.t) > 0).all()
    }
    assert len(stuck) > 5
    for name in stuck - {case.id for case in cases if "power_cycle" in case.features}:
        assert "its own clock only goes on" in report.not_applicable[name]
    assert report.cases > len(cases) / 2


OTHER = """
[inputs]
v = "PackVoltage"
i = {{ name = "PackCurrent", factor = {sign} }}

[outputs]
stage = {{ name = "Mode", words = {{ bulk = {bulk}, absorption = 1, float = 2, inhibited = 3 }} }}

[parameters]
soc = "Charge at start"
hold_s = "HoldTime"
"""
RENAMED = {
    "v": "PackVoltage", "i": "PackCurrent", "stage": "Mode", "parameter.soc": "Charge at start",
    "hold_s": "HoldTime",
}  # fmt: skip


def test_other_names_signs_and_words(tmp_path: Path) -> None:
    fmu = built(tmp_path, 2, renamed=RENAMED)
    with attach(spec(fmu, OTHER.format(sign=1, bulk=0))) as attachment:
        assert verify(attachment, some()).findings == ()
    with attach(spec(fmu, OTHER.format(sign=-1, bulk=0))) as attachment:
        wrong_sign = {f.requirement for f in verify(attachment, some("soc/")).findings}
    assert "SOC.counts" in wrong_sign
    with attach(spec(fmu, OTHER.format(sign=1, bulk=7))) as attachment:
        (first, *_) = verify(attachment, some("entry/")).findings
    assert first.requirement == "LINK.rows"
    assert "'0'" in first.observed


def test_fixed_settings_are_written_down(tmp_path: Path) -> None:
    own = Settings(hold_s=60.0, float_s=45.0, return_soc=None)
    fmu = built(tmp_path, 3, f"-DFIXED={as_initializer(own)}", settable=False)
    with pytest.raises(AttachError, match=r"no parameters for cells.*\[settings\]"):
        attach(f"fmu:{fmu}")
    given = '[settings]\nhold_s = 60.0\nfloat_s = 45.0\nsag_v = "none"\n'
    with pytest.raises(AttachError, match="return_soc is set, and nobody can tell"):
        attach(spec(fmu, given))
    given += 'return_soc = "none"\n'
    with attach(spec(fmu, given)) as attachment:
        assert attachment.hello().fixed == own
        # Nobody could tell it the starting count.
        assert "soc" not in attachment.hello().features
        rendered, _ = rendered_for(own)
        report = verify(attachment, [vector.case for vector in rendered[:60]])
    assert report.findings == ()
    assert report.cases > 20


def test_a_crash_costs_the_cases_that_crash(tmp_path: Path) -> None:
    absorbing = [
        c for c in some("entry/") if c.expected and "absorption" in dict(c.expected.stages).values()
    ]
    others = [c for c in some("entry/") if c not in absorbing]
    with attach(spec(built(tmp_path, 2, "-DPLANTED_CRASH"))) as attachment:
        report = verify(attachment, [*absorbing[:3], *others[:3]])
    assert {f.requirement for f in report.findings} == {"LINK.stays-alive"}
    assert {f.observed for f in report.findings} == {"killed by SIGSEGV"}
    assert {f.case for f in report.findings} == {case.id for case in absorbing[:3]}
    assert report.cases == 6


def test_a_step_that_fails_is_told(tmp_path: Path) -> None:
    with attach(spec(built(tmp_path, 2, "-DPLANTED_ERROR"))) as attachment:
        (first, *_) = verify(attachment, some("entry/")).findings
    assert first.requirement == "LINK.rows"
    assert "fmi2DoStep" in first.sentence


def test_a_reading_that_is_missing_needs_a_number_in_a_whole_type(tmp_path: Path) -> None:
    fmu = built(tmp_path, 2, kinds={"temp_c": "Integer"})
    cases = some("entry/after-dwell")
    with attach(spec(fmu)) as attachment:
        (finding, *_) = verify(attachment, cases[:1]).findings
    assert "missing cannot be told" in finding.sentence
    told = START + '[inputs]\ntemp_c = { name = "temp_c", none = 25 }\n'
    with attach(spec(fmu, told)) as attachment:
        assert verify(attachment, cases).findings == ()


def no_file(folder: Path) -> str:
    return f"fmu:{folder}/nothing.fmu"


def no_archive(folder: Path) -> str:
    (folder / "text.fmu").write_text("no archive", encoding="utf-8")
    return f"fmu:{folder}/text.fmu"


def no_description(folder: Path) -> str:
    with zipfile.ZipFile(folder / "empty.fmu", "w") as archive:
        archive.writestr("readme.txt", "nothing")
    return f"fmu:{folder}/empty.fmu"


def elsewhere(folder: Path) -> str:
    return spec(built(folder, 2, platform="win64"))


def no_library(folder: Path) -> str:
    whole = built(folder, 2)
    with zipfile.ZipFile(whole) as read, zipfile.ZipFile(folder / "odd.fmu", "w") as odd:
        for name in read.namelist():
            odd.writestr(name, b"no library" if name.endswith(".so") else read.read(name))
    return spec(folder / "odd.fmu")


def misspelt(folder: Path) -> str:
    return spec(built(folder, 2, renamed=RENAMED), '[inputs]\nv = "PackVoltag"\n')


def unmapped(folder: Path) -> str:
    return spec(built(folder, 2, renamed=RENAMED), START.replace("start_soc", "Charge at start"))


def no_field(folder: Path) -> str:
    return spec(built(folder, 2), '[inputs]\n\nvolts = "v"\n')


def zero(folder: Path) -> str:
    return spec(built(folder, 2), '[inputs]\nv = { name = "v", factor = 0 }\n')


def alike(folder: Path) -> str:
    words = "{ bulk = 0, absorption = 1, float = 1, inhibited = 3 }"
    return spec(built(folder, 2), f'[outputs]\nstage = {{ name = "stage", words = {words} }}\n')


def claims(folder: Path) -> str:
    return spec(built(folder, 2), 'features = ["power_cycle"]\n' + START)


def wrong_setting(folder: Path) -> str:
    return spec(built(folder, 3, settable=False), "[settings]\nhold_s = -1\n")


@pytest.mark.parametrize(
    ("named", "told"),
    [
        (no_file, "there is no such FMU"),
        (no_archive, "it is no FMU; an FMU is a zip file"),
        (no_description, "modelDescription.xml cannot be read"),
        (elsewhere, "binaries for win64; this is linux64"),
        (no_library, "the FMU cannot be loaded"),
        (misspelt, "'PackVoltag', which is no such variable; did you mean 'PackVoltage'?"),
        (unmapped, "the FMU has no input v; name the variable under [inputs]"),
        (no_field, "mapping.toml:3: inputs.volts: there is no field 'volts'"),
        (zero, "mapping.toml:2: inputs.v.factor: it is 0"),
        (alike, "two words have the same number"),
        (claims, "power_cycle is claimed; that needs power that can be taken from it"),
        (wrong_setting, "hold_s"),
    ],
)
def test_what_cannot_be_attached_is_told(
    named: Callable[[Path], str], told: str, tmp_path: Path
) -> None:
    with pytest.raises(AttachError) as caught, attach(named(tmp_path)) as attachment:
        attachment.hello()
    assert told in str(caught.value)


def test_without_the_extra_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fmu = built(tmp_path, 2)
    monkeypatch.setitem(sys.modules, "fmpy", None)
    with pytest.raises(AttachError, match=r"pip install 'fullproof\[fmu\]'"):
        attach(f"fmu:{fmu}")
