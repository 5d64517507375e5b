"""Bodies that flow plastically, by explicit steps on bilinear quadrilaterals of revolution, and the
conservative transfer of force and heat between those and the field's triangles."""
from fieldsolve.motion.plastic_flow.motion import FlowMotion, FlowMotionState
from fieldsolve.motion.plastic_flow.profile import chords

__all__ = [
    "FlowMotion", "FlowMotionState", "chords",
]
