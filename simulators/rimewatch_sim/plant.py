"""The cold itself: one unit's air, its fixtures and its fish, stepped exactly.

Nodes: air (with the evaporator's and shelves' quick mass), fixtures (slow mass), the
stock of fish, and every warm load until it has come to the stock's temperature. Between
two switchings the equations are linear and a step is their exact solution:

    C_air   dT_air/dt = (G_leak + G_door)(T_amb − T_air) + G_fix(T_fix − T_air)
                        + Σ G_fish(T_fish − T_air) + k·G_evap(T_evap − T_air) + Q_heater
    C_fix   dT_fix/dt = G_fix(T_air − T_fix)
    C_fish dT_fish/dt = G_fish(T_air − T_fish),  C_fish from FAO's enthalpy table

with k the cooling left, 0 when the compressor rests. A fish that leaves its band of the
table within a step is put where its heat says, so that no heat is lost or made.
Pure: no I/O, no clock, no chance. °C, seconds, watts, joules.

The values of cases and coolers in the scenarios are plausible ones (no source).
"""

import math
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from operator import mul
from typing import Final

from rimewatch_sim import fish
from rimewatch_sim.linear import Row, exponential

CAPACITY_STEPS: Final = 64
"""The cooling left is taken in 64ths, so that the table of exact steps stays small."""

_MERGE_K: Final = 0.05
"""A load this close to the stock is stock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantSpec:
    """What a unit is made of."""

    air_j_per_k: float
    fixtures_j_per_k: float
    fixtures_w_per_k: float
    leak_w_per_k: float
    door_w_per_k: float
    fish_kg: float
    fish_lag_s: float
    """Time constant of chilled or frozen fish behind moving air."""
    evaporator_w_per_k: float
    evaporator_c: float
    set_c: float
    hysteresis_c: float
    """The compressor starts half of it above ``set_c`` and stops half of it below."""
    heater_w: float = 0.0
    """Defrost heater; 0: the defrost is a rest of the compressor (off-cycle)."""
    heater_stop_c: float = 15.0
    """The heater rests while the air is warmer than this."""
    still_factor: float = 0.4
    """What is left of the heat exchange with fish and fixtures when the fan stands."""

    @property
    def fish_w_per_k_kg(self) -> float:
        """Conductance between moving air and each kilogram of fish.

        The lag is that of fish away from its freezing: of chilled fish for a unit set
        above 0 °C, of frozen fish below.
        """
        celsius = 2.0 if self.set_c > 0.0 else min(self.set_c, -20.5)
        return fish.CAPACITIES_J_PER_KG_K[fish.band_of(celsius)] / self.fish_lag_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """Fish put into a unit."""

    lot: str
    kilograms: float
    celsius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What happens to a unit, step by step. All arrays have one element a step."""

    step_s: float
    ambient_c: "array[float]"
    door: bytearray
    defrost: bytearray
    power_off: bytearray
    capacity: "array[int]"  # in 64ths of the full cooling
    loadings: Mapping[int, Sequence[Loading]] = field(default_factory=dict)
    unloadings: Mapping[int, float] = field(default_factory=dict)
    """Step to the part of the stock that stays, 0…1 (the probe's own dummy always stays)."""

    def __len__(self) -> int:
        """Return the number of steps."""
        return len(self.ambient_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadHistory:
    """A load's temperature from the step it came until it was like the stock."""

    loading: Loading
    first_step: int
    celsius: "array[float]" = field(default_factory=lambda: array("d"))


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What truly was in a unit: element n is the state at ``n`` steps after the start."""

    step_s: float
    air_c: "array[float]"
    fish_c: "array[float]"
    running: bytearray
    """1 where the compressor ran during the step that follows."""
    loads: list[LoadHistory]


@dataclass(slots=True)
class _FishNode:
    kilograms: float
    band: int
    history: LoadHistory | None = None


class Plant:
    """One unit, stepped. ``celsius`` holds its state: air, fixtures, stock, then the loads."""

    def __init__(self, spec: PlantSpec, *, step_s: float, initial_c: float | None = None) -> None:
        start_c = spec.set_c if initial_c is None else initial_c
        self.spec = spec
        self.step_s = step_s
        self.celsius = [start_c, start_c, start_c]
        self.compressor_on = False
        self._fish = [_FishNode(spec.fish_kg, fish.band_of(start_c))]
        self._steps: dict[tuple[int, ...], tuple[Row, ...]] = {}

    @property
    def fish_kg(self) -> tuple[float, ...]:
        """Kilograms of the stock and of each load."""
        return tuple(node.kilograms for node in self._fish)

    def heat_j(self) -> float:
        """Return the heat in the unit; its zero is arbitrary, its changes are not."""
        air, fixtures, *bodies = self.celsius
        stored = self.spec.air_j_per_k * air + self.spec.fixtures_j_per_k * fixtures
        return stored + sum(
            node.kilograms * fish.heat_j_per_kg(celsius)
            for node, celsius in zip(self._fish, bodies, strict=True)
        )

    def rates(self, celsius: Sequence[float], mode: tuple[int, ...]) -> list[list[float]]:
        """Return the rows of dT/dt over (nodes…, ambient, 1) in a mode, in 1/s.

        Args:
            celsius: Air, fixtures, fish…; only its length matters here.
            mode: Cooling in 64ths, door open, heater on, fan on, then each fish's band.
        """
        spec = self.spec
        capacity, door, heater, fan, *bands = mode
        size = len(celsius)
        stir = 1.0 if fan else spec.still_factor
        rows = [[0.0] * (size + 2) for _ in range(size + 2)]
        air = rows[0]

        outside = spec.leak_w_per_k + (spec.door_w_per_k if door else 0.0)
        cooling = spec.evaporator_w_per_k * capacity / CAPACITY_STEPS
        air[0] = -(outside + cooling)
        air[size] = outside
        air[size + 1] = cooling * spec.evaporator_c + (spec.heater_w if heater else 0.0)

        bodies = [(spec.fixtures_w_per_k * stir, spec.fixtures_j_per_k)]
        bodies += [
            (
                spec.fish_w_per_k_kg * stir * node.kilograms,
                node.kilograms * fish.CAPACITIES_J_PER_KG_K[band],
            )
            for node, band in zip(self._fish, bands, strict=True)
        ]
        for i, (conductance, capacity_j) in enumerate(bodies, start=1):
            air[0] -= conductance
            air[i] = conductance
            rows[i][0] = conductance / capacity_j
            rows[i][i] = -conductance / capacity_j
        rows[0] = [value / spec.air_j_per_k for value in air]
        return rows

    def load(self, loading: Loading, step: int) -> LoadHistory:
        """Put fish in; it stays a body of its own until it is like the stock."""
        history = LoadHistory(loading=loading, first_step=step)
        self.celsius.append(loading.celsius)
        self._fish.append(
            _FishNode(loading.kilograms, fish.band_of(loading.celsius), history=history)
        )
        self._steps.clear()
        return history

    def unload(self, part_left: float) -> None:
        """Take fish out, the loads with it; a twentieth, the probe's dummy, always stays."""
        stock = self._fish[0]
        stock.kilograms = max(stock.kilograms * part_left, self.spec.fish_kg / 20.0)
        del self._fish[1:]
        del self.celsius[3:]
        self._steps.clear()

    def step(
        self, *, ambient_c: float, door: bool, defrost: bool, power_off: bool, capacity: int
    ) -> None:
        """Move on by one step. ``capacity`` is the cooling left, in 64ths."""
        spec = self.spec
        air_c = self.celsius[0]
        if air_c >= spec.set_c + spec.hysteresis_c / 2.0:
            self.compressor_on = True
        elif air_c <= spec.set_c - spec.hysteresis_c / 2.0:
            self.compressor_on = False
        cools = self.compressor_on and not defrost and not power_off
        heats = defrost and not power_off and spec.heater_w > 0.0 and air_c < spec.heater_stop_c
        fan = not power_off and not (defrost and spec.heater_w > 0.0)
        mode = (
            capacity if cools else 0,
            int(door),
            int(heats),
            int(fan),
            *(node.band for node in self._fish),
        )
        rows = self._steps.get(mode)
        if rows is None:
            rows = self._solve(mode)
        state = (*self.celsius, ambient_c, 1.0)
        after = [math.fsum(map(mul, row, state)) for row in rows]
        self._settle_bands(after)
        self.celsius = after
        if len(self._fish) > 1:
            self._follow_loads()

    def _solve(self, mode: tuple[int, ...]) -> tuple[Row, ...]:
        rates = self.rates(self.celsius, mode)
        exact = exponential([[value * self.step_s for value in row] for row in rates])
        rows = exact[: len(self.celsius)]
        self._steps[mode] = rows
        return rows

    def _settle_bands(self, after: list[float]) -> None:
        for i, node in enumerate(self._fish, start=2):
            celsius = after[i]
            if fish.LOWEST_C[node.band] <= celsius <= fish.HIGHEST_C[node.band]:
                continue
            before = self.celsius[i]
            capacity = fish.CAPACITIES_J_PER_KG_K[node.band]
            after[i] = fish.celsius_of_heat(
                fish.heat_j_per_kg(before) + capacity * (celsius - before)
            )
            node.band = fish.band_of(after[i])

    def _follow_loads(self) -> None:
        for i in range(len(self._fish) - 1, 0, -1):
            node = self._fish[i]
            assert node.history is not None, "every body but the stock is a load"
            node.history.celsius.append(self.celsius[i + 2])
            if abs(self.celsius[i + 2] - self.celsius[2]) < _MERGE_K:
                self._merge(i)

    def _merge(self, index: int) -> None:
        stock, load = self._fish[0], self._fish[index]
        total = stock.kilograms + load.kilograms
        heat = (
            stock.kilograms * fish.heat_j_per_kg(self.celsius[2])
            + load.kilograms * fish.heat_j_per_kg(self.celsius[index + 2])
        ) / total
        self.celsius[2] = fish.celsius_of_heat(heat)
        stock.kilograms = total
        stock.band = fish.band_of(self.celsius[2])
        del self._fish[index]
        del self.celsius[index + 2]
        self._steps.clear()


def run(plant: Plant, inputs: Inputs) -> History:
    """Run a plant through its inputs and return what truly was, one state more than steps."""
    history = History(
        step_s=inputs.step_s,
        air_c=array("d", [plant.celsius[0]]),
        fish_c=array("d", [plant.celsius[2]]),
        running=bytearray(),
        loads=[],
    )
    air_c, fish_c, running = history.air_c, history.fish_c, history.running
    for n, ambient_c, door, defrost, power_off, capacity in _steps_of(inputs):
        if n in inputs.unloadings:
            plant.unload(inputs.unloadings[n])
        history.loads.extend(plant.load(one, n) for one in inputs.loadings.get(n, ()))
        plant.step(
            ambient_c=ambient_c,
            door=bool(door),
            defrost=bool(defrost),
            power_off=bool(power_off),
            capacity=capacity,
        )
        air_c.append(plant.celsius[0])
        fish_c.append(plant.celsius[2])
        running.append(plant.compressor_on and not defrost and not power_off)
    return history


def _steps_of(inputs: Inputs) -> Iterator[tuple[int, float, int, int, int, int]]:
    return zip(
        range(len(inputs)),
        inputs.ambient_c,
        inputs.door,
        inputs.defrost,
        inputs.power_off,
        inputs.capacity,
        strict=True,
    )
