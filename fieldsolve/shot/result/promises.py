"""What a shot promises, and the sentences that say which promises it did not keep."""
from __future__ import annotations

from fieldsolve.shot.result.accuracy import accuracy_shortfalls

MAX_RESIDUAL_HELD, MAX_RESIDUAL_MOVING = 1e-3, 5e-3        # of the banks' energy: what the balance may leave unexplained
PROMISED_AT = 1e-2          # accuracy up to which these hold; of a coarser one the limits grow with it


def shortfalls(shot) -> tuple[str, ...]:
    """A sentence for each promise that a shot did not keep; none where it kept all.

    A shot promises to reach its end time, its accuracy with bounds that prove it, and to close its energy balance to `residual_limit`.
    One that was interrupted promises nothing.
    """
    if shot.interrupted:
        return ()
    return (*_early_end(shot), *_open_balance(shot), *accuracy_shortfalls(shot))


def residual_limit(shot) -> float:
    """Share of the energy that the balance of a shot may leave unexplained."""
    return (MAX_RESIDUAL_HELD if shot.held else MAX_RESIDUAL_MOVING) * max(1.0, shot.accuracy / PROMISED_AT)


def _early_end(shot) -> tuple[str, ...]:
    if not shot.stop_reason:
        return ()
    return (f"ended by its motion at {1e6 * shot.times[-1]:.3g} us, before its end at {1e6 * shot.problem.end_time:.3g} us: "
            f"{shot.stop_reason}",)


def _open_balance(shot) -> tuple[str, ...]:
    limit, residual = residual_limit(shot), shot.energy.residual
    if residual <= limit:
        return ()
    return (f"the energy balance closes to {100 * residual:.2g} % only, at {1e6 * residual.time:.3g} us: more than the "
            f"{100 * limit:.2g} % promised with metal {'held' if shot.held else 'that moves'}",)
