"""Where the nodes of a triangle of order 2, 3 or 4 stand.

First the corners, then in even orders the middles of the edges, then what is left of the edges, then the interior: so the first six
nodes of a triangle of order 4 are those of a triangle of order 2.
"""
from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np

ORDERS = (2, 3, 4)
EDGES = ((0, 1), (1, 2), (0, 2))            # corners at the ends of each edge, as their nodes are numbered
COUNTER_CLOCKWISE = ((0, 1), (1, 2), (2, 0))


def node_count(order: int) -> int:
    """Nodes of a triangle of an order."""
    return (order + 1) * (order + 2) // 2


def order_of(count: int) -> int:
    """Order of a triangle by the number of its nodes."""
    return next(order for order in ORDERS if node_count(order) == count)


@lru_cache(maxsize=4)
def node_steps(order: int) -> np.ndarray:
    """Barycentric coordinates of the nodes times the order, whole numbers; (nodes, 3)."""
    corners = order * np.eye(3, dtype=int)
    along = [[(corners[a] * (order - k) + corners[b] * k) // order for k in range(1, order)] for a, b in EDGES]
    middles = [nodes[order // 2 - 1] for nodes in along] if order % 2 == 0 else []
    others = [node for nodes in along for k, node in enumerate(nodes, start=1) if 2 * k != order]
    interior = [(order - j - k, j, k) for j, k in product(range(1, order), repeat=2) if j + k < order]
    return np.array([*corners, *middles, *others, *interior])


@lru_cache(maxsize=4)
def edge_nodes(order: int) -> np.ndarray:
    """Nodes of each edge, counter-clockwise: both ends, then those between from the first to the second; (3, order + 1)."""
    number = {tuple(steps): k for k, steps in enumerate(node_steps(order).tolist())}
    corners = np.eye(3, dtype=int)
    along = [0, order, *range(1, order)]
    return np.array([[number[tuple((corners[a] * (order - k) + corners[b] * k).tolist())] for k in along] for a, b in COUNTER_CLOCKWISE])
