"""Meshes refined until every goal is within the accuracy requested, by dual-weighted residuals: the
goals, the error indicators of the triangles, the error bounds, and the loop that solves and
refines."""
from fieldsolve.field.adaptivity.error_indicators import Goal, refined_sizes
from fieldsolve.field.adaptivity.goals import GoalBuilders, PendingGoal, build_goals, goal_names
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.adaptivity.refinement import refine, surface_cell_sizes

__all__ = [
    "Goal", "GoalBuilders", "MeshPair", "PendingGoal", "build_goals", "goal_names", "refine",
    "refined_sizes", "surface_cell_sizes",
]
