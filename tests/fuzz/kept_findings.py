"""What came out of readers once and must not again: `KEPT`, as the data that brought it out."""

from __future__ import annotations

from tests.fuzz import examples

_HUGE = b"9" * 400
_ENDLESS = b"9" * 5000
_NESTED = b"[" * 3000


def _vector(old: bytes, new: bytes) -> bytes:
    vector = examples.vectors()[0]
    assert vector.count(old) == 1, f"the example has no one {old!r}"
    return vector.replace(old, new)


def _charger_trace() -> bytes:
    return examples.charger_traces()[0].rstrip() + b"\n"


def _scenario_with_setting(line: bytes) -> bytes:
    scenario = examples.scenarios()[0]
    assert b"[pack.settings]\n" in scenario
    return scenario.replace(b"[pack.settings]\n", b"[pack.settings]\n" + line + b"\n")


def kept() -> list[tuple[str, str, bytes]]:
    """The reader, what is bad, and the data."""
    mapping, settings = examples.OWN_MAPPING, examples.SETTINGS_TOML
    return [
        ("log", "a carriage return in the header", b"t,v\r,i\n0,53,20\n"),
        ("charger-trace", "a cell that does not end", _charger_trace() + b'9,"' + b"1" * 140_000),
        ("charger-trace", "a pack of too many digits",
         _charger_trace().replace(b"age_s_1", b"age_s_" + _ENDLESS)),
        ("mapping", "a number too large to reckon with", mapping.replace(b"60", _HUGE)),
        ("mapping", "a number of too many digits", mapping.replace(b"60", _ENDLESS)),
        ("mapping", "a header line past all files",
         examples.DATED_MAPPING.replace(b"header_line = 1", b"header_line = 18446744073709551616")),
        ("mapping", "arrays in arrays without end", mapping.replace(b"60", _NESTED)),
        ("settings-toml", "arrays in arrays without end", settings.replace(b"360", _NESTED)),
        ("settings-toml", "a number of too many digits", settings.replace(b"360", _ENDLESS)),
        ("study", "a whole number that cannot be stored",
         examples.STUDY.replace(b"1800", b"18446744073709551616")),
        ("study", "a list for the name of a law",
         examples.STUDY.replace(b'"uniform"', b'["uniform"]')),
        ("settings-json", "a number alone", b"1e9"),
        ("settings-json", "a name of our own code", b'{"cls": 8}'),
        ("settings-toml", "a name of our own code", b"self = 8\n"),
        ("scenario", "a name of our own code", _scenario_with_setting(b"cls = 8")),
        ("mapping", "a name of our own code", mapping.replace(b"hold_s = 60", b"cls = 8")),
        ("settings-json", "objects nested just below the limit", b'{"a":' * 1000 + b"1" + b"}" * 1000),
        ("scenario", "a number too large to reckon with",
         examples.scenarios()[0].replace(b"hours = ", b"hours = " + _HUGE)),
        ("vector", "a loss of power past the end",
         _vector(b'"power_cycles": []', b'"power_cycles": [10000]')),
        *((name, "a name that is no text", data.replace(b"stage", b"stag\xe5"))
          for name, data in (("log-parquet", each) for each in examples.parquet_logs())),
    ]  # fmt: skip
