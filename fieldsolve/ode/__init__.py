"""Steps in time that know no physics: methods as data, one step, the controller of its length, and where an event lies in it."""
from fieldsolve.ode.controller import StepController
from fieldsolve.ode.event_location import end_step_at_zero, hermite_root
from fieldsolve.ode.step import Step, take_step
from fieldsolve.ode.tableau import SDIRK2, SDIRK3, TR_BDF2, Tableau
from fieldsolve.ode.work_counts import WorkCounts

__all__ = ["SDIRK2", "SDIRK3", "TR_BDF2", "Step", "StepController", "Tableau", "WorkCounts", "end_step_at_zero", "hermite_root",
           "take_step"]
