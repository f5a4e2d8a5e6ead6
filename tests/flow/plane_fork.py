"""A fork seen from above and its plane flow, by triangles of scikit-fem: truth that shares no code with ours."""

import numpy as np
from skfem import Basis, BilinearForm, ElementTriP2, MeshTri, condense, solve
from skfem.helpers import dot, grad


class PlaneFork:
    """A fork as high as it likes, seen from above: a straight trunk, a leg that swings out and one that narrows.

    The triangles are quadratic, on a mesh of its own; `values` is the potential of a flow of one, its legs' openings at
    one mean.
    """

    TRUNK, WIDE, SIDE, REACH, NARROW, SWING, RUN_ON = 40.0, 26.0, 14.0, 70.0, 20.0, np.radians(40.0), 60.0

    def left(self, along, across):
        """Points of the left leg: stations past the split, places across it, plus to the left."""
        radius = self.REACH / self.SWING
        turn = np.clip(along, 0.0, self.REACH) / radius
        past = np.maximum(along - self.REACH, 0.0)
        centre = np.stack([radius * np.sin(turn), self.SIDE + radius * (1.0 - np.cos(turn))], axis=-1)
        ahead = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        aside = np.stack([-np.sin(turn), np.cos(turn)], axis=-1)
        return centre + past[..., None] * ahead + across[..., None] * aside

    def right(self, along, across):
        share = np.clip(along, 0.0, self.REACH) / self.REACH
        scale = 1.0 + share * (self.NARROW / self.WIDE - 1.0)
        return np.stack([along, -self.SIDE + across * scale], axis=-1)

    def __init__(self, cell=1.0):
        half = self.WIDE / 2.0
        near = np.concatenate(
            [np.linspace(0.0, 6.0, int(24 / cell) + 1), np.arange(6.0 + cell, self.REACH + 1e-9, cell)]
        )
        far = np.linspace(self.REACH, self.REACH + self.RUN_ON, int(self.RUN_ON / cell / 2.0) + 1)[1:]
        along = np.concatenate([near, far])
        across = np.linspace(-half, half, 2 * int(half / cell) + 1)
        wide = np.unique(np.round(np.concatenate(
            [self.SIDE + across, across - self.SIDE, np.linspace(-1.0, 1.0, 9), [-30.0, -29.0, -28.0, 28.0, 29.0, 30.0]]
        ), 9))  # fmt: skip
        ahead = -np.concatenate([near[near < self.TRUNK], np.linspace(self.TRUNK, 2.0 * self.TRUNK, 21)])[::-1]
        patches = [
            np.stack(np.meshgrid(ahead, wide, indexing="ij"), axis=-1),
            self.left(*np.meshgrid(along, across, indexing="ij")),
            self.right(*np.meshgrid(along, across, indexing="ij")),
        ]
        points, triangles, count = [], [], 0
        for patch in patches:
            n, m = patch.shape[:2]
            number = np.arange(n * m).reshape(n, m) + count
            a, b, c, d = (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:])
            triangles += [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
            points.append(patch.reshape(-1, 2))
            count += n * m
        every, number = np.unique(np.round(np.concatenate(points), 7), axis=0, return_inverse=True)
        mesh = MeshTri(*(np.ascontiguousarray(each.T) for each in (every, number[np.concatenate(triangles)])))
        self.basis = Basis(mesh, ElementTriP2())
        stiffness = BilinearForm(lambda u, v, _: dot(grad(u), grad(v))).assemble(self.basis)
        ends = self.REACH + self.RUN_ON
        tips = [
            [place(np.array(along), np.array(0.0)) for along in (ends, ends + 1.0)] for place in (self.left, self.right)
        ]
        dofs = [self.basis.get_dofs(lambda x: np.abs(x[0] - ahead[0]) < 1e-6).all()]
        for tip, beyond in tips:
            way = beyond - tip
            dofs.append(self.basis.get_dofs(lambda x, t=tip, w=way: np.abs(w @ (x - t[:, None])) < 1e-6).all())
        solutions = []
        for leg in (1, 2):
            start = np.zeros(self.basis.N)
            start[dofs[leg]] = 1.0
            solutions.append(solve(*condense(stiffness, x=start, D=np.concatenate(dofs))))
        flows = np.array([[(stiffness @ u)[d].sum() for u in solutions] for d in dofs[1:]])
        means = np.array([
            [self.at(u, place(np.full(99, self.REACH), np.linspace(-half, half, 101)[1:-1])).mean() for u in solutions]
            for place in (self.left, self.right)
        ])  # fmt: skip
        # Both openings at one mean potential, a flow of one.
        mix = np.linalg.solve(np.stack([means[0] - means[1], flows.sum(axis=0)]), [0.0, 1.0])
        self.values = np.stack(solutions, axis=-1) @ mix
        self.shares = flows @ mix

    def at(self, values, points):
        return self.basis.probes(points.T) @ values

    def speed(self, place, station, across):
        """The speed along a leg's wall at a station past the split."""
        step = 0.05
        return self.slope(np.stack([place(np.array(station + k * step), np.array(across)) for k in (-1, 1)]))

    def slope(self, two):
        """The rise of the potential from one point (2,) to another, for each mm."""
        low, high = self.at(self.values, two)
        return (high - low) / np.linalg.norm(two[1] - two[0])
