"""A linear program with whole numbers, built row by row and handed to the solver of scipy (HiGHS)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

INFEASIBLE = 2
"""The status of scipy's answer where no answer is possible."""


SHORTEST_S = 0.05
"""The solver is given so many seconds at least."""


@dataclass(frozen=True, slots=True)
class Solved:
    """No answer costs less than ``bound``; ``values`` of the columns of the best one found, if one was."""

    bound: float
    values: np.ndarray | None


class Program:
    """A cost to be made least under rows between limits. Columns lie between 0 and ``most``."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.most: list[float] = []
        self.whole: list[bool] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.values: list[float] = []
        self.rows: list[int] = []
        self.columns: list[int] = []

    def row(self, low: float = -math.inf, high: float = math.inf) -> int:
        """A row whose sum lies between the limits; what stands in it is put there afterwards."""
        self.low.append(low)
        self.high.append(high)
        return len(self.low) - 1

    def column(self, cost: float, most: float = math.inf, whole: bool = True) -> int:
        """A quantity from 0 to ``most``, in whole numbers unless said otherwise."""
        self.cost.append(cost)
        self.most.append(most)
        self.whole.append(whole)
        return len(self.cost) - 1

    def put(self, row: int, column: int, value: float) -> None:
        """Adds to the factor of a column in a row."""
        self.values.append(value)
        self.rows.append(row)
        self.columns.append(column)

    def least(self, seconds: float, at_most: float = math.inf) -> float:
        """The least cost, or the bound that branch and bound proved in the time; without one, that of the linear relaxation."""
        return self.solve(seconds, at_most).bound

    def solve(self, seconds: float, at_most: float = math.inf, is_row: bool = False) -> Solved:
        """The bound, and the best answer that was found in the time.

        ``at_most``: what a known answer costs. Columns that no cheaper answer can have are left out, and the bound is no higher.
        ``is_row``: it is a row of the program as well, which is quicker where no answer keeps it.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_matrix, vstack

        if not self.cost:
            return Solved(0.0, None)
        matrix = csr_matrix((self.values, (self.rows, self.columns)), shape=(len(self.low), len(self.cost)))
        most = np.array(self.most, dtype=float)
        whole = np.array(self.whole, dtype=float)
        relaxed = 0.0
        if math.isfinite(at_most):
            found = self._relaxed(matrix)
            if found is not None:
                relaxed, dearer = found
                most[(relaxed + dearer > at_most) & (whole > 0)] = 0.0
        low, high = self.low, self.high
        if is_row and math.isfinite(at_most):
            matrix = vstack([matrix, csr_matrix([self.cost])], format="csr")
            low, high = [*low, -math.inf], [*high, at_most]
        answer = milp(
            self.cost,
            constraints=LinearConstraint(matrix, low, high),
            bounds=Bounds(0.0, most),
            integrality=whole,
            options={"time_limit": max(seconds, SHORTEST_S)},
        )
        if answer.status == INFEASIBLE:
            return Solved(at_most if math.isfinite(at_most) else 0.0, None)
        if answer.mip_dual_bound is not None and np.isfinite(answer.mip_dual_bound):
            return Solved(min(at_most, max(relaxed, float(answer.mip_dual_bound))), answer.x)
        if not math.isfinite(at_most):
            found = self._relaxed(matrix)
            relaxed = found[0] if found is not None else 0.0
        return Solved(relaxed, answer.x)

    def _relaxed(self, matrix: csr_matrix) -> tuple[float, np.ndarray] | None:
        """The least cost with parts of columns, and by how much the cost rises at least when one more of a column is taken."""
        from scipy.optimize import linprog
        from scipy.sparse import vstack

        low, high = np.array(self.low), np.array(self.high)
        has_high, has_low = np.isfinite(high), np.isfinite(low)
        answer = linprog(
            self.cost,
            A_ub=vstack([matrix[has_high], -matrix[has_low]], format="csr"),
            b_ub=np.concatenate([high[has_high], -low[has_low]]),
            bounds=np.column_stack([np.zeros(len(self.most)), self.most]),
            method="highs",
        )
        if not answer.success:
            return None
        return float(answer.fun), np.asarray(answer.lower.marginals)
