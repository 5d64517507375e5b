"""Conductors cut into cells, and the mean logarithm of the distance between cells, in closed form.

In a cell (or pattern) i of the section around the mean radius r_i the current density is

    J = psi_i sqrt(r_i / r),   psi_i the unknown (A/m^2),

which makes resistances diagonal and the logarithm of the mutual inductance of circles,

    M(x, x') = -mu_0 sqrt(r r') ln|x - x'| + S(x, x'),   S smooth on the scale of the radii,

a pure logarithm:  -mu_0 sqrt(r_i r_j) integral of ln|x - x'| over both cells.  The rest S is sampled at points.
Source of the split: J. C. Maxwell, Treatise (1873), vol. II, arts. 704-706.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

GAUSS = 2                   # points a side of a rectangular cell
WIRE_RADII, WIRE_ANGLES = 12, 64        # points in a round wire at which the field of others is sampled


def graded(start, end, cells, finest) -> np.ndarray:
    """Edges of `cells` intervals from `start`, where they are long, to `end`; the last is about `finest` of the mean length.

        x = end - (end - start) (g s + (1 - g) s^2),   s = 0 ... 1 counted from `end`,   g = `finest`
    """
    s = np.linspace(1.0, 0.0, cells + 1)
    return end - (end - start) * (finest * s + (1 - finest) * s**2)


def graded_both(start, end, cells, finest) -> np.ndarray:
    """Edges of an even number of intervals that shorten towards both ends."""
    middle = (start + end) / 2
    upper = graded(middle, end, cells // 2, finest)
    return np.concatenate([start + end - upper[:0:-1], upper])


@dataclass(frozen=True, eq=False)
class Block:
    """A body of rectangular section in cells of uniform psi; metres, S/m."""

    radial_edges: np.ndarray
    axial_edges: np.ndarray
    conductivity: float

    @property
    def size(self) -> int:
        """Number of cells, the axial index running fastest."""
        return (len(self.radial_edges) - 1) * (len(self.axial_edges) - 1)

    @cached_property
    def mean_radius(self) -> np.ndarray:
        """r_i in metres."""
        middle = (self.radial_edges[1:] + self.radial_edges[:-1]) / 2
        return np.repeat(middle, len(self.axial_edges) - 1)

    @cached_property
    def points(self) -> tuple[np.ndarray, np.ndarray]:
        """(r, z) of the sampling points in metres."""
        r, z = (_gauss(edges)[0] for edges in (self.radial_edges, self.axial_edges))
        r, z = (axis.ravel() for axis in np.meshgrid(r, z, indexing="ij"))
        return r, z

    @cached_property
    def sampling(self) -> csr_array:
        """Weights (m^2) of the integral of f sqrt(r_i / r) over each cell; cells x points."""
        radial, axial = (_gauss(edges)[1] for edges in (self.radial_edges, self.axial_edges))
        weight = np.outer(radial, axial).ravel()
        cells = np.add.outer((len(self.axial_edges) - 1) * _owner(radial), _owner(axial)).ravel()
        weight = weight * np.sqrt(self.mean_radius[cells] / self.points[0])
        return csr_array((weight, (cells, np.arange(weight.size))), shape=(self.size, weight.size))

    @cached_property
    def current(self) -> np.ndarray:
        """Net current for psi = 1:  integral of sqrt(r_i / r) over the cell; m^2."""
        reach = 2 * np.diff(np.sqrt(self.radial_edges))
        return np.sqrt(self.mean_radius) * np.outer(reach, np.diff(self.axial_edges)).ravel()

    @cached_property
    def resistance(self) -> np.ndarray:
        """Heat for psi = 1:  integral of J^2 / sigma over the cell's volume, 2 pi r_i area / sigma; ohm m^4."""
        area = np.outer(np.diff(self.radial_edges), np.diff(self.axial_edges)).ravel()
        return 2 * math.pi * self.mean_radius * area / self.conductivity

    def logarithm(self, other: Block, mirrored: bool = False) -> np.ndarray:
        """Integral of ln|x - x'| over the cells of both (of `other` mirrored at z = 0); m^4, cells x cells of `other`."""
        across = self.axial_edges[:, None] + (1 if mirrored else -1) * other.axial_edges
        along = self.radial_edges[:, None] - other.radial_edges
        scale = max(np.ptp(self.radial_edges), np.ptp(other.radial_edges))
        table = _fourfold(along[:, None, :, None] / scale, across[None, :, None, :] / scale)
        for axis in range(4):
            table = np.diff(table, axis=axis)
        signed = -table if mirrored else table          # of a mirrored cell the edges run downward
        areas = (np.outer(np.diff(body.radial_edges), np.diff(body.axial_edges)).ravel() for body in (self, other))
        return scale**4 * signed.reshape(self.size, other.size).astype(float) + math.log(scale) * np.outer(*areas)


def _fourfold(x, y) -> np.ndarray:
    """An antiderivative of ln sqrt(x^2 + y^2), twice in x and twice in y.

        (x^2 y^2 / 8 - x^4 / 48 - y^4 / 48) ln(x^2 + y^2) + (x^3 y atan(y/x) + x y^3 atan(x/y)) / 6 - 25 x^2 y^2 / 48

    In extended precision, for its fourfold differences lose the fourth power of body over cell.
    Source: the integral behind Maxwell's mean distance of a rectangle, Treatise, vol. II, art. 692.
    """
    x, y = np.broadcast_arrays(np.abs(x).astype(np.longdouble), np.abs(y).astype(np.longdouble))
    squared = x**2 + y**2
    logarithm = np.log(np.where(squared > 0, squared, 1))
    angle = np.arctan2(y, x)
    arcs = x**3 * y * angle + x * y**3 * (np.longdouble(np.pi) / 2 - angle)
    return (x**2 * y**2 / 8 - (x**4 + y**4) / 48) * logarithm + arcs / 6 - 25 * x**2 * y**2 / 48


@dataclass(frozen=True, eq=False)
class Wire:
    """A ring of round wire: in each annulus of the wire psi is a Fourier series of the angle, 1, cos, sin, cos 2, ...

    ring_radius  of the wire's centre, metres; r_i for all patterns
    height       z of the centre, metres
    edges        of the annuli, from 0 to the wire's radius, metres
    harmonics    highest multiple of the angle
    conductivity S/m
    """

    ring_radius: float
    height: float
    edges: np.ndarray
    harmonics: int
    conductivity: float

    @property
    def size(self) -> int:
        """Number of patterns, the annuli running fastest."""
        return (len(self.edges) - 1) * (2 * self.harmonics + 1)

    @property
    def mean_radius(self) -> np.ndarray:
        """r_i in metres."""
        return np.full(self.size, self.ring_radius)

    @cached_property
    def points(self) -> tuple[np.ndarray, np.ndarray]:
        """(r, z) of the sampling points in metres, on circles about the wire's centre."""
        distance = self.edges[-1] * _unit_rule(WIRE_RADII)[0][:, None]
        angle = _angles()
        return (self.ring_radius + distance * np.cos(angle)).ravel(), (self.height + distance * np.sin(angle)).ravel()

    @cached_property
    def sampling(self) -> np.ndarray:
        """Weights (m^2) of the integral of f psi_i sqrt(r_i / r) over the wire; patterns x points.

        f is interpolated along each radius by the polynomial through its points.
        """
        around = 2 * math.pi / WIRE_ANGLES * self._angular(_angles())
        weight = np.einsum("kg,ma->mkga", self._radial(), around).reshape(self.size, -1)
        return weight * np.sqrt(self.ring_radius / self.points[0])

    @cached_property
    def current(self) -> np.ndarray:
        """Net current for psi = 1; m^2."""
        return self.sampling.sum(axis=1)

    @cached_property
    def resistance(self) -> np.ndarray:
        """Heat for psi = 1:  2 pi R / sigma times the integral of psi^2 over the section; ohm m^4."""
        area = np.diff(self.edges**2) / 2
        around = np.full(2 * self.harmonics + 1, math.pi)
        around[0] = 2 * math.pi
        return 2 * math.pi * self.ring_radius / self.conductivity * np.outer(around, area).ravel()

    def own_logarithm(self) -> np.ndarray:
        """Integral of psi_i psi_j ln|x - x'| over the section twice; m^4, patterns x patterns.

            ln|x - x'| = ln p - sum over m of (q/p)^m cos m(theta - theta') / m,   p, q the larger and smaller distance
        """
        wire, count = self.edges[-1], len(self.edges) - 1
        full = np.zeros((2 * self.harmonics + 1, count, 2 * self.harmonics + 1, count))
        area = np.diff((self.edges / wire) ** 2) / 2
        full[0, :, 0, :] = 4 * math.pi**2 * (_larger_logarithm(self.edges / wire) + math.log(wire) * np.outer(area, area))
        for m in range(1, self.harmonics + 1):
            shares = -(math.pi**2) / m * _ratio_power(self.edges / wire, m)
            full[2 * m - 1, :, 2 * m - 1, :] = full[2 * m, :, 2 * m, :] = shares
        return wire**4 * full.reshape(self.size, self.size)

    def _angular(self, angle) -> np.ndarray:
        """1, cos, sin, cos 2, sin 2, ... of the angles; 2 harmonics + 1 rows."""
        m = np.arange(1, self.harmonics + 1)[:, None]
        waves = np.stack([np.cos(m * angle), np.sin(m * angle)], axis=1).reshape(2 * self.harmonics, -1)
        return np.concatenate([np.ones((1, angle.size)), waves])

    def _radial(self) -> np.ndarray:
        """Integral of each interpolating polynomial times distance over each annulus; m^2, annuli x points."""
        x, w = _unit_rule(WIRE_RADII // 2 + 1)
        nodes = _unit_rule(WIRE_RADII)[0]
        edges = self.edges / self.edges[-1]
        at = edges[:-1, None] + np.diff(edges)[:, None] * x
        basis = [np.polynomial.Polynomial.fromroots(np.delete(nodes, g)) for g in range(WIRE_RADII)]
        values = np.stack([p(at) / p(node) for p, node in zip(basis, nodes, strict=True)], axis=-1)
        return self.edges[-1] ** 2 * np.einsum("kx,kxg->kg", np.diff(edges)[:, None] * w * at, values)


def _larger_logarithm(edges) -> np.ndarray:
    """Integral of p q ln max(p, q) over pairs of annuli; edges over the wire's radius."""
    weighted = np.diff(_power_logarithm(edges, 1))
    outer = np.maximum.outer(np.arange(len(weighted)), np.arange(len(weighted)))
    area = np.diff(edges**2) / 2
    inner = np.minimum.outer(np.arange(len(weighted)), np.arange(len(weighted)))
    table = area[inner] * weighted[outer]
    np.fill_diagonal(table, np.diff(_power_logarithm(edges, 3)) - edges[:-1] ** 2 * weighted)
    return table


def _power_logarithm(x, power) -> np.ndarray:
    """Antiderivative of x^power ln x that vanishes at 0."""
    return x ** (power + 1) / (power + 1) * (np.log(np.where(x > 0, x, 1)) - 1 / (power + 1))


def _ratio_power(edges, m) -> np.ndarray:
    """Integral of p q (min(p, q) / max(p, q))^m over pairs of annuli."""
    low, high = edges[:-1], edges[1:]
    grown = np.diff(edges ** (m + 2)) / (m + 2)
    start = np.where(low > 0, low, high)             # the innermost annulus is never the outer one of two
    fallen = np.log(high / start) if m == 2 else (high ** (2.0 - m) - start ** (2.0 - m)) / (2.0 - m)
    outer = np.maximum.outer(np.arange(len(low)), np.arange(len(low)))
    inner = np.minimum.outer(np.arange(len(low)), np.arange(len(low)))
    table = grown[inner] * fallen[outer]
    np.fill_diagonal(table, 2 / (m + 2) * ((high**4 - low**4) / 4 - low ** (m + 2) * fallen))
    return table


def _gauss(edges) -> tuple[np.ndarray, np.ndarray]:
    """Points and weights of all intervals in a row."""
    x, w = _unit_rule(GAUSS)
    length = np.diff(edges)[:, None]
    return (np.asarray(edges)[:-1, None] + length * x).ravel(), (length * w).ravel()


def _owner(points) -> np.ndarray:
    """Interval of each Gauss point."""
    return np.arange(len(points)) // GAUSS


def _angles() -> np.ndarray:
    return 2 * math.pi * (np.arange(WIRE_ANGLES) + 0.5) / WIRE_ANGLES


def _unit_rule(nodes) -> tuple[np.ndarray, np.ndarray]:
    """Gauss-Legendre nodes and weights on [0, 1]."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    return (x + 1) / 2, w / 2
