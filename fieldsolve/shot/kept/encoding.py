"""Frozen dataclasses as plain data and a list of arrays, and back; what two of them share stays shared.

Plain data are those of JSON.  What JSON lacks stands as an object with one entry:
    {"float": "inf"}  {"complex": [re, im]}  {"scalar": [type, value]}  {"list": [...]}  {"dict": [[key, value], ...]}
    {"array": number}  {"object": number}  {"lost": description}
A JSON array is a tuple.  Arrays and dataclasses are numbered, each stored once however often it occurs.  Functions and objects of
classes from outside this project are lost: what stands in their place raises an error that says so, once it is used.
"""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

import numpy as np

from fieldsolve.errors import InputError

PACKAGES = ("fieldsolve", "geometries")                          # whose dataclasses are kept
Packer = Callable[[Any], dict[str, Any]]


@dataclass(frozen=True)
class Lost:
    """Stands for a function or an object that a kept file does not hold; using it raises InputError."""

    description: str

    def __call__(self, *arguments: Any, **keywords: Any) -> Any:
        raise self._error()

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        raise self._error()

    def _error(self) -> InputError:
        return InputError(f"{self.description} is not in the kept file, which holds no code: solve again with it to compute anew")


@dataclass(eq=False)
class Encoder:
    """Collects what `encode` meets.

    packers  fields by name in place of the declared ones, by type; of classes from elsewhere, too
    exact    whether numbers of numpy stay such, and do not become numbers of Python
    arrays   every array, in the order of their numbers
    objects  every dataclass as {"type": name, "fields": {...}}, in the order of their numbers
    lost     a sentence for each function or object that is not kept
    """

    packers: Mapping[type, Packer] = field(default_factory=dict)
    exact: bool = False
    arrays: list[np.ndarray] = field(default_factory=list)
    objects: list[dict] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    _numbers: dict[int, int] = field(default_factory=dict)
    _descriptions: dict[int, str] = field(default_factory=dict)
    _alive: list[Any] = field(default_factory=list)               # so that no number is given twice

    def encode(self, value: Any, where: str) -> Any:
        """Plain data of a value; `where` says in words where it stands."""
        if value is None or isinstance(value, (bool, int, str)):
            return value
        if isinstance(value, np.generic):
            plain = self.encode(value.item(), where)
            return {"scalar": [value.dtype.str, plain]} if self.exact else plain
        if isinstance(value, complex):
            return {"complex": [self.encode(part, where) for part in (value.real, value.imag)]}
        if isinstance(value, float):
            return float(value) if math.isfinite(value) else {"float": repr(float(value))}
        if isinstance(value, np.ndarray):
            return {"array": self._number(value, self._add_array)}
        if isinstance(value, (tuple, list)):
            items = [self.encode(item, f"{where}[{k}]") for k, item in enumerate(value)]
            return items if isinstance(value, tuple) else {"list": items}
        if isinstance(value, Mapping):
            return {"dict": [[self.encode(key, where), self.encode(item, f"{where} of {key}")] for key, item in value.items()]}
        if type(value) in self.packers or (is_dataclass(value) and type(value).__module__.split(".")[0] in PACKAGES):
            return {"object": self._number(value, self._add_object, where)}
        return {"lost": self._describe_lost(value, where)}

    def _describe_lost(self, value: Any, where: str) -> str:
        """What is lost, in words; the same wherever it stands again."""
        if id(value) not in self._descriptions:
            self._alive.append(value)
            self._descriptions[id(value)] = f"{where}, {_describe(value)},"
            self.lost.append(f"{where}, {_describe(value)}")
        return self._descriptions[id(value)]

    def _number(self, value: Any, add: Callable[..., int], *where: str) -> int:
        if id(value) not in self._numbers:
            self._alive.append(value)
            self._numbers[id(value)] = add(value, *where)
        return self._numbers[id(value)]

    def _add_array(self, value: np.ndarray) -> int:
        if value.dtype.hasobject:
            raise TypeError(f"an array of Python objects, shape {value.shape}, cannot be kept")
        self.arrays.append(value)
        return len(self.arrays) - 1

    def _add_object(self, value: Any, where: str) -> int:
        number = len(self.objects)
        self.objects.append({})
        packer = self.packers.get(type(value), _declared)
        packed = {name: self.encode(item, f"{where}.{name}") for name, item in packer(value).items()}
        self.objects[number] = {"type": type(value).__name__, "fields": packed}
        return number


def decode(value: Any, objects: list[dict], arrays: list[np.ndarray], makers: Mapping[str, Callable[..., Any]],
           given: Mapping[str, Any] | None = None) -> Any:
    """The value whose plain data `Encoder.encode` made.

    makers  what makes an object of its fields, by the name of its type
    given   what stands in the place of something lost, by where it stood first
    Raises InputError for a type or fields that this version does not know.
    """
    made: dict[int, Any] = {}

    def build_lost(description: str) -> Any:
        where = description.rsplit(", ", 1)[0]
        return given[where] if given and where in given else Lost(description)

    def build(data: Any) -> Any:
        if isinstance(data, list):
            return tuple(map(build, data))
        if not isinstance(data, dict):
            return data
        ((kind, content),) = data.items()
        return {"float": float, "complex": lambda parts: complex(*map(build, parts)), "list": lambda items: list(map(build, items)),
                "scalar": lambda pair: np.dtype(pair[0]).type(build(pair[1])), "array": arrays.__getitem__, "object": build_object,
                "dict": lambda pairs: {build(key): build(item) for key, item in pairs}, "lost": build_lost}[kind](content)

    def build_object(number: int) -> Any:
        if number not in made:
            name, packed = objects[number]["type"], objects[number]["fields"]
            if name not in makers:
                raise InputError(f"it holds a {name}, which this version does not know")
            made[number] = _make(name, makers[name], {key: build(item) for key, item in packed.items()})
        return made[number]
    return build(value)


def _make(name: str, maker: Callable[..., Any], values: dict[str, Any]) -> Any:
    try:
        return maker(**values)
    except TypeError as error:
        raise InputError(f"its {name} has other fields than this version expects: {error}") from error


def _declared(value: Any) -> dict[str, Any]:
    return {each.name: getattr(value, each.name) for each in fields(value)}


def _describe(value: Any) -> str:
    if callable(value):
        return f"the function {getattr(value, '__module__', '')}.{getattr(value, '__qualname__', type(value).__name__)}"
    return f"an object of {type(value).__module__}.{type(value).__qualname__}"
