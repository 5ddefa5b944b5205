"""Who a controller says it is, checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ctrl.errors import SettingsError, nearest
from ctrl.settings import SETTING_NAMES, Settings
from harness.attach.base import LinkFault
from harness.role import CONTROLLER, ROLES
from harness.run import FEATURES, Identity

PROTOCOL = 1
# Settings that the first version of the protocol had when it was written are never left out. These
# came later: whoever was built before them has nothing of the kind, which is what their defaults say.
LATER_SETTINGS = (
    "compensation_min_c",
    "compensation_max_c",
    "sensor_lost_s",
    "sensor_frozen_s",
    "sensor_jump_c",
    "equalisation_v",
    "equalisation_s",
    "equalisation_every_s",
    "equalisation_max_c",
    "equalisation_loss_s",
    "equalisation_retry_s",
)


def identity_from(
    answer: Mapping[str, Any],
    names: Sequence[str] = SETTING_NAMES,
    settings: Callable[[Mapping[str, Any]], Any] = Settings.from_mapping,
    role: str = CONTROLLER,
) -> Identity:
    """The identity in an answer to `hello`.

    Args:
        answer: the answer.
        names: the settings that there are for this role.
        settings: makes settings of a mapping; raises `SettingsError`.
        role: the role that is asked for; a controller need not say its own.

    Raises:
        LinkFault: `LINK.greets`, with what is wrong and what would be right.
    """
    said = answer.get("role")
    if said != role and (role != CONTROLLER or said in ROLES):
        observed = _said("role", said)
        raise LinkFault(
            "LINK.greets",
            observed=observed,
            expected=f"role {role!r}",
            sentence=f"The answer to hello has {observed}; it must have role {role!r}. "
            "The option --role says what is under test: a controller, or a charger.",
        )
    protocol = answer.get("protocol")
    if protocol != PROTOCOL or isinstance(protocol, bool):
        raise _wrong(_said("protocol", protocol), f"protocol {PROTOCOL}")
    name, version, language = (_text(answer, key) for key in ("name", "version", "language"))
    return Identity(name, version, language, _features(answer), _fixed(answer, names, settings))


def _wrong(observed: str, expected: str) -> LinkFault:
    return LinkFault(
        "LINK.greets",
        observed=observed,
        expected=expected,
        sentence=f"The answer to hello is not right. It has {observed}; it must have {expected}",
    )


def _said(member: str, value: object) -> str:
    return f"no {member}" if value is None else f"{member} {value!r:.80}"


def _text(answer: Mapping[str, Any], key: str) -> str:
    value = answer.get(key)
    if not isinstance(value, str) or not value:
        raise _wrong(_said(key, value), f"{key} as text that is not empty")
    return value


def _features(answer: Mapping[str, Any]) -> frozenset[str]:
    features = answer.get("features")
    if not isinstance(features, list | tuple | set | frozenset):
        raise _wrong(_said("features", features), "features as a list of words, empty for none")
    for word in features:
        if not isinstance(word, str) or word not in FEATURES:
            hint = nearest(str(word), FEATURES)
            raise _wrong(_said("feature", word), f"a feature that the protocol knows: {hint}")
    return frozenset(features)


def _fixed(
    answer: Mapping[str, Any],
    names: Sequence[str],
    settings: Callable[[Mapping[str, Any]], Any],
) -> Any:
    fixed = answer.get("fixed")
    if fixed is None:
        return None
    if not isinstance(fixed, Mapping):
        raise _wrong(_said("fixed", fixed), "fixed as an object of settings, or left out")
    # A setting that is left out would be taken at its default, and the controller would be judged
    # by a value that it was perhaps not built with.
    missing = [name for name in names if name not in fixed and name not in LATER_SETTINGS]
    if missing:
        raise _wrong(f"fixed without {', '.join(missing)}", "every setting, null for none")
    try:
        return settings(fixed)
    except SettingsError as error:
        raise _wrong(f"fixed: {error}", "settings that the rules allow") from error
