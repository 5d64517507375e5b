"""What the numbers that are known from memory only change in a shot, as `python -m benchmarks.studies.influence` computed it."""
from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

FILE = Path(__file__).parent / "data" / "influence.json"
CHANGE = 0.1                        # of a number, for which the influence is computed


@dataclass(frozen=True, slots=True)
class Influence:
    """Relative changes in a shot where a number of its metal is `CHANGE` larger or smaller.

    radius, temperature : float
        Of the final radius of the blank and of its peak rise of temperature.
    burst : float
        Of the coil's hoop strain over that at which its metal breaks.
    """

    radius: float
    temperature: float
    burst: float

    @property
    def largest(self) -> float:
        """The largest of the three: the order in which numbers are worth looking up."""
        return max(self.radius, self.temperature, self.burst)


def influence_of(name: str, key: str) -> Influence | None:
    """Influence of a number of a metal; None where it was not computed."""
    changes = _computed().get(name, {}).get(key)
    return None if changes is None else Influence(**changes)


@lru_cache(maxsize=1)
def _computed() -> dict[str, dict[str, dict[str, float]]]:
    return json.loads(FILE.read_text(encoding="utf-8"))
