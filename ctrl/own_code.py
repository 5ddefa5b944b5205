"""What the machine code of a function of one's own depends on, so that it can be kept.

The rules of the project are kept by the text of their sources. A condition that somebody else wrote
may use numbers and functions from anywhere; it is kept only where all of them can be told.
"""

from __future__ import annotations

import builtins
import math
from collections.abc import Callable, Iterable, Iterator
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any

import numpy as np

# What these hold is known by their version, which stands in the name of the folder beside this.
_KNOWN_MODULES = (math, np)
_PLAIN = (bool, int, float, str, bytes, type(None))


class _CannotTellError(Exception):
    """Something goes into the machine code of which nobody knows whether it will be the same."""


def told_of(functions: Iterable[Callable[..., Any]]) -> bytes | None:
    """All that goes into the machine code of these functions, in their order.

    Two answers are equal only where the machine code is: instructions, constants, and the values of
    the names in them, functions that they call among them.

    Args:
        functions: as numba would compile them.

    Returns:
        What it depends on; None where that cannot be told, so that nothing may be kept.
    """
    try:
        return repr([_function(function, ()) for function in functions]).encode()
    except _CannotTellError:
        return None


def _function(function: Any, callers: tuple[Any, ...]) -> tuple[Any, ...]:
    if function in callers:
        return ("calls", callers.index(function))
    if not isinstance(function, FunctionType):
        raise _CannotTellError
    inner = (*callers, function)
    code = function.__code__
    cells = zip(code.co_freevars, function.__closure__ or (), strict=True)
    held = {name: _value(cell.cell_contents, inner) for name, cell in cells}
    for name in sorted(set(_names(code))):
        if name in function.__globals__:
            held[name] = _value(function.__globals__[name], inner)
        elif not hasattr(builtins, name):
            # An attribute of something, of which is told elsewhere.
            held[name] = "attribute"
    return (_code(code), held, _value(function.__defaults__, inner))


def _names(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names(constant)


def _code(code: CodeType) -> tuple[Any, ...]:
    constants = [
        _code(each) if isinstance(each, CodeType) else repr(each) for each in code.co_consts
    ]
    return (code.co_code, constants, code.co_names, code.co_varnames, code.co_freevars)


def _value(value: Any, callers: tuple[Any, ...]) -> Any:
    if type(value) in _PLAIN:
        return repr(value)
    if type(value) is tuple:
        return tuple(_value(each, callers) for each in value)
    if isinstance(value, ModuleType) and value in _KNOWN_MODULES:
        return value.__name__
    if isinstance(value, BuiltinFunctionType) and value.__module__ == math.__name__:
        return f"{value.__module__}.{value.__name__}"
    return _function(value, callers)
