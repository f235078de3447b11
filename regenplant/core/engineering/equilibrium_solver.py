"""Mass action and charge balance of a waste or a water, solved for pH.

At a pH, each cation (and silica) follows from the free carbonate and sulfate in closed form, so two unknowns are left;
they are found by Newton's method in logarithms while the ionic strength settles. The balance is written in protons:
charge of the totals plus the protons that species carry. Pairs without a proton drop out of it, so an unsettled digit
of a pair cannot move a pH.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log, log10, sqrt

from regenplant.core.engineering.interpolation import root
from regenplant.core.engineering.water_species import (
    FORMED,
    HYDROGEN,
    HYDROXIDE,
    SPECIES,
    Species,
    activity_law,
)

_LN10 = log(10.0)
_STRENGTH_HELD = 3.0
"""Above this ionic strength [mol/L] the activity model means nothing and is held where it is."""
_LIGANDS = ("CO3--", "SO4--")
_LOWEST_PH, _HIGHEST_PH = -2.0, 16.0
_PASSES = 200
_SETTLED = 1e-11
"""Relative; the balances of a state are asked to close to this."""
_LARGEST_STEP = 3.0
"""In natural logarithms: farther than this a slope says nothing."""
_SMALL_STRENGTH = 1e-7
"""mol/L: pure water; below it a relative change of ionic strength is nothing."""
_STRONG_MOL_PER_L = 1e-6
_ABSENT = -300.0
"""ln of the free concentration of a ligand that is not there."""


@lru_cache(maxsize=256)
def _ln_constants(temperature_kelvin: float) -> dict[str, float]:
    return {pair.name: _LN10 * pair.log_k_at(temperature_kelvin) for pair in FORMED}


@dataclass(frozen=True, slots=True)
class WasteSpecies:
    """What a waste holds at its pH, by the names of ``water_species``."""

    ph: float
    ionic_strength_mol_per_m3: float
    mol_per_m3: Mapping[str, float]
    activities: Mapping[str, float]
    """On the scale of mol/kg."""


class _Member:
    """One pair within its component: what it takes to compute and count it."""

    __slots__ = ("charge_square", "kind", "ligand", "ln_k", "name", "part_kinds", "protons")

    def __init__(self, pair: Species, ln_k: float, kinds: _Kinds) -> None:
        self.name, self.ln_k, self.protons = pair.name, ln_k, pair.protons
        self.charge_square = pair.charge**2
        self.kind = kinds.of(pair)
        self.part_kinds = tuple(kinds.of(SPECIES[part]) for part in _parts(pair))
        self.ligand = _LIGANDS.index(pair.anion) if pair.cation and pair.anion else -1

    def ln_k_at(self, ln_h: float, ln_gammas: list[float]) -> float:
        """Formation constant from free components in concentrations, protons included."""
        power = self.ln_k + self.protons * ln_h - ln_gammas[self.kind]
        for kind in self.part_kinds:
            power += ln_gammas[kind]
        return power


class _Kinds:
    """Species that share charge and activity parameters share one activity coefficient."""

    def __init__(self) -> None:
        self.parameters: list[tuple[int, float | None, float]] = []

    def of(self, species: Species) -> int:
        entry = (species.charge**2, species.size_angstrom, species.b)
        if entry not in self.parameters:
            self.parameters.append(entry)
        return self.parameters.index(entry)

    def ln_gammas(self, strength: float, a: float, b_hueckel: float) -> list[float]:
        """Natural logarithms of the activity coefficients at an ionic strength in mol/L."""
        strength = min(strength, _STRENGTH_HELD)
        square_root = sqrt(strength)
        davies = -_LN10 * a * (square_root / (1.0 + square_root) - 0.3 * strength)
        neutral = 0.1 * strength * _LN10
        return [
            neutral
            if square == 0
            else square * davies
            if size is None
            else _LN10 * (b * strength - a * square * square_root / (1.0 + b_hueckel * size * square_root))
            for square, size, b in self.parameters
        ]


class _Component:
    """A total with the pairs counted under it, and their sums at the pH and activities last asked for.

    ``bound`` is Σ k over the pairs without ligand, with carbonate, with sulfate; ``protons``, ``spread`` and
    ``squares`` are the same sums weighted by protons, protons squared and charge squared.
    """

    __slots__ = ("bound", "charge_square", "kind", "members", "name", "protons", "spread", "squares", "total")

    def __init__(self, name: str, total: float, members: list[_Member], kinds: _Kinds) -> None:
        self.name, self.total, self.members = name, total, members
        self.kind, self.charge_square = kinds.of(SPECIES[name]), SPECIES[name].charge ** 2
        self.bound = [1.0, 0.0, 0.0]
        self.protons = [0.0, 0.0, 0.0]
        self.spread = [0.0, 0.0, 0.0]
        self.squares = [float(self.charge_square), 0.0, 0.0]

    def set(self, ln_h: float, ln_gammas: list[float]) -> None:
        self.bound = bound = [1.0, 0.0, 0.0]
        self.protons = protons = [0.0, 0.0, 0.0]
        self.spread = spread = [0.0, 0.0, 0.0]
        self.squares = squares = [float(self.charge_square), 0.0, 0.0]
        for member in self.members:
            value, place = exp(member.ln_k_at(ln_h, ln_gammas)), member.ligand + 1
            bound[place] += value
            protons[place] += member.protons * value
            spread[place] += member.protons**2 * value
            squares[place] += member.charge_square * value

    def free(self, ligands: tuple[float, float]) -> float:
        """Free concentration of a component that is not a ligand itself."""
        bound = self.bound
        return self.total / (bound[0] + bound[1] * ligands[0] + bound[2] * ligands[1])

    def add_to(self, sums: _Sums, carbonate: float, sulfate: float) -> None:
        """Count this component, which is not a ligand, into the balances."""
        bound, protons, spread, squares = self.bound, self.protons, self.spread, self.squares
        total = self.total
        free = total / (bound[0] + bound[1] * carbonate + bound[2] * sulfate)
        held = (free * bound[1] * carbonate, free * bound[2] * sulfate)
        carried = (free * protons[0], free * protons[1] * carbonate, free * protons[2] * sulfate)
        protons_here = carried[0] + carried[1] + carried[2]
        sums.charge += protons_here
        sums.hydrogen += (
            free * (spread[0] + spread[1] * carbonate + spread[2] * sulfate) - protons_here**2 / total
        )
        for index in (0, 1):
            sums.rest[index] += held[index]
            sums.with_hydrogen[index] += carried[index + 1] - held[index] * protons_here / total
            sums.own[index] += held[index] - held[index] ** 2 / total
        sums.crossed -= held[0] * held[1] / total
        sums.strength += free * (squares[0] + squares[1] * carbonate + squares[2] * sulfate)


@dataclass(slots=True)
class _Sums:
    """Residuals and slopes at one state, all in mol/L per unit of a natural logarithm.

    ``charge`` and ``rest`` are what the balances of charge, carbonate and sulfate miss; the other fields are the
    symmetric matrix of their slopes with ln of free protons, carbonate and sulfate.
    """

    charge: float
    hydrogen: float
    rest: list[float]
    with_hydrogen: list[float]
    own: list[float]
    crossed: float
    strength: float = 0.0

    def ligand_steps(self, ln_h_step: float) -> tuple[float, float]:
        """Newton's moves of ln carbonate and ln sulfate when ln of the protons moves by a step."""
        first = -self.rest[0] - self.with_hydrogen[0] * ln_h_step
        second = -self.rest[1] - self.with_hydrogen[1] * ln_h_step
        return self._solved(first, second)

    def ln_h_step(self) -> float:
        """Newton's move of ln of the protons, the ligands moving along."""
        along = self._solved(*self.with_hydrogen)
        slope = self.hydrogen - sum(g * a for g, a in zip(self.with_hydrogen, along, strict=True))
        return -(self.charge - sum(r * a for r, a in zip(self.rest, along, strict=True))) / slope

    def _solved(self, first: float, second: float) -> tuple[float, float]:
        determinant = self.own[0] * self.own[1] - self.crossed * self.crossed
        return (
            (self.own[1] * first - self.crossed * second) / determinant,
            (self.own[0] * second - self.crossed * first) / determinant,
        )


class System:
    """Totals at a temperature, in mol/L or, as the constants have it, in mol/kg. Keeps its last state, so a question near the one before is cheap."""

    def __init__(self, totals: dict[str, float], temperature_kelvin: float, log_kw: float) -> None:
        self._kinds, members = _structure(tuple(totals), temperature_kelvin)
        self._hydrogen, self._hydroxide = self._kinds.of(HYDROGEN), self._kinds.of(HYDROXIDE)
        self._ln_kw = log_kw * _LN10
        law = activity_law(temperature_kelvin)
        self._a, self._b = law.a, law.b
        parts = {name: _Component(name, total, members[name], self._kinds) for name, total in totals.items()}
        self._ligands = [parts.pop(name, None) for name in _LIGANDS]
        self._centers = list(parts.values())
        self._total_charge = sum(SPECIES[name].charge * total for name, total in totals.items())
        self._strength = 0.5 * sum(SPECIES[name].charge ** 2 * total for name, total in totals.items())
        self._ln_h = -_LN10 * _first_ph(totals, self._total_charge, log_kw)
        self._ln_free = self._first_ligands()

    def _first_ligands(self) -> list[float]:
        """Free carbonate and sulfate if only protons held them: near enough to start from."""
        ln_gammas = self._kinds.ln_gammas(self._strength, self._a, self._b)
        found: list[float] = []
        for ligand in self._ligands:
            if ligand is None:
                found.append(_ABSENT)
                continue
            ligand.set(self._ln_h, ln_gammas)
            found.append(log(ligand.total / ligand.bound[0]))
        return found

    def start_from(self, other: System) -> None:
        """Begin where a system of nearly the same totals ended; one with other ligands is no start."""
        if [part is None for part in self._ligands] == [part is None for part in other._ligands]:
            self._ln_free, self._strength, self._ln_h = list(other._ln_free), other._strength, other._ln_h

    def balanced_ph(self, tolerance: float) -> float:
        """pH at which the charges balance [-]: Newton on all unknowns at once, halving behind it."""
        for _ in range(_PASSES):
            sums = self._sums()
            step = _clamped(sums.ln_h_step())
            moved = self._move(sums, step)
            self._ln_h = min(max(self._ln_h + step, -_HIGHEST_PH * _LN10), -_LOWEST_PH * _LN10)
            if max(abs(step), moved) < tolerance:
                return -self._ln_h / _LN10
        return root(self.charge_at, _LOWEST_PH, _HIGHEST_PH, tolerance)

    def charge_at(self, ph: float) -> float:
        """Net charge at a pH [mol/L]."""
        self._ln_h = -ph * _LN10
        sums = self._sums()
        for _ in range(_PASSES):
            if self._move(sums, 0.0) < _SETTLED:
                break
            sums = self._sums()
        return sums.charge

    def species_at(self, ph: float) -> WasteSpecies:
        """Every species at a pH."""
        self.charge_at(ph)
        ln_gammas = self._kinds.ln_gammas(self._strength, self._a, self._b)
        ligands = self._free()
        found = {
            "H+": exp(self._ln_h - ln_gammas[self._hydrogen]),
            "OH-": exp(self._ln_kw - self._ln_h - ln_gammas[self._hydroxide]),
        }
        activities = {"H+": exp(self._ln_h), "OH-": exp(self._ln_kw - self._ln_h)}
        for part, free in (
            *((part, part.free(ligands)) for part in self._centers),
            *zip(self._ligands, ligands, strict=True),
        ):
            if part is None:
                continue
            found[part.name] = free
            activities[part.name] = free * exp(ln_gammas[part.kind])
            for member in part.members:
                value = free * exp(member.ln_k_at(self._ln_h, ln_gammas))
                value *= ligands[member.ligand] if member.ligand >= 0 else 1.0
                found[member.name] = value
                activities[member.name] = value * exp(ln_gammas[member.kind])
        return WasteSpecies(
            ph, 1000.0 * self._strength, {name: 1000.0 * value for name, value in found.items()}, activities
        )

    # --- one state --------------------------------------------------------------------------------------------
    def _free(self) -> tuple[float, float]:
        return exp(self._ln_free[0]), exp(self._ln_free[1])

    def _move(self, sums: _Sums, ln_h_step: float) -> float:
        """Take Newton's step of the ligands and the new ionic strength; the largest relative move."""
        steps = [_clamped(step) for step in sums.ligand_steps(ln_h_step)]
        for index, step in enumerate(steps):
            self._ln_free[index] += step
        shifted = abs(sums.strength - self._strength) / (_SMALL_STRENGTH + self._strength)
        self._strength = sums.strength
        return max(abs(steps[0]), abs(steps[1]), shifted)

    def _sums(self) -> _Sums:
        ln_gammas = self._kinds.ln_gammas(self._strength, self._a, self._b)
        carbonate, sulfate = self._free()
        hydrogen = exp(self._ln_h - ln_gammas[self._hydrogen])
        hydroxide = exp(self._ln_kw - self._ln_h - ln_gammas[self._hydroxide])
        both = hydrogen + hydroxide
        sums = _Sums(
            self._total_charge + hydrogen - hydroxide, both, [0.0, 0.0], [0.0, 0.0], [1.0, 1.0], 0.0, both
        )
        for index, free in enumerate((carbonate, sulfate)):
            ligand = self._ligands[index]
            if ligand is None:
                continue
            ligand.set(self._ln_h, ln_gammas)
            amount, carried = free * ligand.bound[0], free * ligand.protons[0]
            sums.charge += carried
            sums.hydrogen += free * ligand.spread[0]
            sums.rest[index] = amount - ligand.total
            sums.with_hydrogen[index] = carried
            sums.own[index] = amount
            sums.strength += free * ligand.squares[0]
        for center in self._centers:
            center.set(self._ln_h, ln_gammas)
            center.add_to(sums, carbonate, sulfate)
        sums.strength *= 0.5
        return sums


@lru_cache(maxsize=128)
def _structure(names: tuple[str, ...], temperature_kelvin: float) -> tuple[_Kinds, dict[str, list[_Member]]]:
    """What does not depend on amounts: the pairs that these totals can form, with their constants."""
    constants = _ln_constants(temperature_kelvin)
    kinds = _Kinds()
    for species in (HYDROGEN, HYDROXIDE, *(SPECIES[name] for name in names)):
        kinds.of(species)
    members: dict[str, list[_Member]] = {name: [] for name in names}
    for pair in FORMED:
        parts = _parts(pair)
        if all(part in members for part in parts):
            members[parts[0]].append(_Member(pair, constants[pair.name], kinds))
    return kinds, members


def _first_ph(totals: dict[str, float], total_charge: float, log_kw: float) -> float:
    """pH of the strong acid or free hydroxide alone, 7 where there is neither [-]."""
    carbonate, silica, ammonia = (totals.get(name, 0.0) for name in ("CO3--", "H4SiO4", "NH4+"))
    strong_acid = -(total_charge + 2.0 * carbonate)
    hydroxide = total_charge - ammonia - silica
    if strong_acid > _STRONG_MOL_PER_L:
        return max(-log10(strong_acid), _LOWEST_PH)
    if hydroxide > _STRONG_MOL_PER_L:
        return min(-log_kw + log10(hydroxide), _HIGHEST_PH)
    return 7.0


def _parts(pair: Species) -> tuple[str, ...]:
    """The components of a pair: its cation first, if it has one."""
    return tuple(part for part in (pair.cation, pair.anion) if part is not None)


def _clamped(step: float) -> float:
    return min(max(step, -_LARGEST_STEP), _LARGEST_STEP)
