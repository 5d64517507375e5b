"""Nodal forces against the change of the field's energy along a random displacement of all nodes."""
from dataclasses import replace

import numpy as np

from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.fem.reference_triangle import rule_of_forms
from fieldsolve.field.quantities.virtual_work import virtual_work_forces
from geometries.curved_edges import has_curved_edge
from geometries.mesh import EXTERIOR


def work_two_ways(system, carried, step=1e-4):
    """(minus the change of energy, work of the nodal forces) a metre of the displacement: r^2 u is kept in metal, u moves along in air.

    The change is a central difference, off as the square of its `step`, a share of the smallest cell.
    """
    mesh, rng = system.mesh, np.random.default_rng(5)
    u, way = rng.normal(size=mesh.size), rng.normal(size=mesh.nodes.shape)
    way[mesh.nodes[:, 0] == 0, 0] = 0
    way[np.unique(mesh.triangles[mesh.region == EXTERIOR])] = 0
    points = gauss_points(mesh, np.flatnonzero(mesh.region != EXTERIOR), rule_of_forms(mesh.order))

    def energy(step):
        nodes = mesh.nodes + step * way
        moved = system.moved(replace(mesh, nodes=nodes, curved=has_curved_edge(nodes, mesh.triangles)))
        share = carried.flux_ratio(mesh.nodes, nodes)
        share[carried.on_axis] = 1.0                                    # where the limit is no function of the node alone
        return moved.energy(u * share, 0.0)
    step *= mesh.cell_size.min()
    return (energy(-step) - energy(step)) / (2 * step), (virtual_work_forces(system, points, carried.metal, u, u) * way).sum()
