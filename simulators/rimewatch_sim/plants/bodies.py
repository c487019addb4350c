"""Bodies that exchange heat: five refrigerated units that differ in kind, not in numbers alone.

Each has its own net of bodies and its own equations; what they share is how they are driven
(:class:`Drive`). Rates are written by time constants: a body of heat capacity C behind a
conductance G follows with C/G seconds. The air's capacity is that of the air and the sheet metal
about it, and is the unit that the others' are counted in.

Euler steps of some seconds; no time constant is below four of them.
Temperatures °C, times seconds, cooling power K/s of the air's capacity.

References:
    [1] FAO Fisheries Technical Paper 340 (1994), ch. 19, table 31, by ``rimewatch_sim.fish``:
        heat in fish through freezing.
    The ranges that ``draw`` takes are our choice: no source gives them for small shops.
"""

from dataclasses import dataclass
from typing import Final, Protocol

from rimewatch_sim import fish

ICE_C: Final = 0.0
"""Melting ice of fresh water."""


@dataclass(slots=True)
class Drive:
    """What works on a unit's bodies during one step."""

    ambient_c: float = 20.0
    leak: float = 1.0
    """Times the leak of a shut unit: doors raise it, a night curtain lowers it."""
    cooling: float = 0.0
    """Part of the compressor's power that works, 0…1."""
    fan: float = 1.0
    """Part of the fan's stirring, 0…1."""
    heater: float = 0.0
    """Part of the defrost heater's power, 0…1."""
    goods_c: float = 0.0
    goods: float = 0.0
    """Warm goods beside the fish: how warm, and how many times the air's heat capacity."""


class Body(Protocol):
    """A unit's net of bodies."""

    air_c: float
    """Where an air probe hangs."""
    fish_c: float
    """The warmest fish that counts: its mean, near the air where it has two shells."""
    goods_c: float
    coil_c: float
    """The evaporator; where it has no body of its own, the air."""
    sizes: "Sizes"

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        ...


@dataclass(slots=True, kw_only=True)
class Sizes:
    """How large and how well joined a unit's bodies are."""

    leak_s: float
    """The air alone warms to the room with this time constant."""
    fish_s: float
    """The fish follows the air with it."""
    fish_share: float
    """The fish's heat capacity over the air's (above freezing, where it has latent heat)."""
    power: float
    """Cooling power, K/s of the air."""
    wall_s: float = 3600.0
    wall_share: float = 2.0
    coil_s: float = 90.0
    coil_share: float = 0.3
    heater: float = 0.02
    """Heater power, K/s of the air."""


class Case:
    """Two bodies: the air with its metal, and the fish. Cooled straight in the air."""

    def __init__(self, sizes: Sizes, start_c: float) -> None:
        self.air_c = self.fish_c = self.goods_c = self.coil_c = start_c
        self.sizes = sizes

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        of, air_c = self.sizes, self.air_c
        to_fish = of.fish_share * (air_c - self.fish_c) / of.fish_s
        to_goods = drive.goods * (air_c - self.goods_c) / of.fish_s
        inward = drive.leak * (drive.ambient_c - air_c) / of.leak_s
        warmth = inward - to_fish - to_goods - of.power * drive.cooling + of.heater * drive.heater
        self.air_c = self.coil_c = air_c + step_s * warmth
        self.fish_c += step_s * (air_c - self.fish_c) / of.fish_s
        self.goods_c += step_s * (air_c - self.goods_c) / of.fish_s


class WalkIn:
    """Four bodies: air, fish, walls with racks, and a coil with a mass of its own.

    The compressor cools the coil, the heater warms it, and the fan alone joins it to the air;
    still air takes a twelfth of that.
    """

    def __init__(self, sizes: Sizes, start_c: float) -> None:
        self.air_c = self.fish_c = self.goods_c = self.wall_c = start_c
        self.coil_c = start_c - 5.0
        self.sizes = sizes

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        of, air_c = self.sizes, self.air_c
        joined = max(drive.fan, 1.0 / 12.0) * of.coil_share / of.coil_s
        to_coil = joined * (air_c - self.coil_c)
        to_wall = of.wall_share * (air_c - self.wall_c) / of.wall_s
        to_fish = of.fish_share * (air_c - self.fish_c) / of.fish_s
        to_goods = drive.goods * (air_c - self.goods_c) / of.fish_s
        # The room leaks through the walls, a door into the air.
        through = (drive.ambient_c - self.wall_c) / of.leak_s
        door = (drive.leak - 1.0) * (drive.ambient_c - air_c) / of.leak_s
        self.air_c = air_c + step_s * (door - to_coil - to_wall - to_fish - to_goods)
        self.wall_c += step_s * (to_wall + through) / of.wall_share
        worked = of.heater * drive.heater - of.power * drive.cooling
        self.coil_c = max(self.coil_c + step_s * (to_coil + worked) / of.coil_share, -48.0)
        self.fish_c += step_s * (air_c - self.fish_c) / of.fish_s
        self.goods_c += step_s * (air_c - self.goods_c) / of.fish_s


class Freezer:
    """Four bodies: air, coil, and fish in two shells with the latent heat of freezing [1]."""

    def __init__(self, sizes: Sizes, start_c: float) -> None:
        self.air_c = self.goods_c = start_c
        self.coil_c = start_c - 6.0
        self.fish_c = self.core_c = start_c
        self.sizes = sizes
        self._heat = self._core_heat = fish.heat_j_per_kg(start_c)
        # Capacity is counted where the fish is stored.
        self._per_k = fish.CAPACITIES_J_PER_KG_K[fish.band_of(-18.0)]

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        of, air_c = self.sizes, self.air_c
        joined = max(drive.fan, 1.0 / 12.0) * of.coil_share / of.coil_s
        to_coil = joined * (air_c - self.coil_c)
        stirred = 0.4 + 0.6 * drive.fan
        # The outer shell has a third of the fish, the core the rest, behind as much again.
        to_fish = stirred * (air_c - self.fish_c) / of.fish_s / 3.0
        to_core = (self.fish_c - self.core_c) / of.fish_s / 3.0
        to_goods = drive.goods * (air_c - self.goods_c) / of.fish_s
        inward = drive.leak * (drive.ambient_c - air_c) / of.leak_s
        self.air_c = air_c + step_s * (inward - to_coil - of.fish_share * to_fish - to_goods)
        worked = of.heater * drive.heater - of.power * drive.cooling
        self.coil_c = max(self.coil_c + step_s * (to_coil + worked) / of.coil_share, -48.0)
        self._heat += step_s * (to_fish - to_core) * 3.0 * self._per_k
        self._core_heat += step_s * to_core * 1.5 * self._per_k
        self.fish_c = fish.celsius_of_heat(self._heat)
        self.core_c = fish.celsius_of_heat(self._core_heat)
        self.goods_c += step_s * (air_c - self.goods_c) / of.fish_s


class IceBed:
    """Three bodies: air, fish, and a bed of melting ice that the fish lies on.

    While there is ice it stays at its melting point and takes what comes; each morning the bed
    is made up anew. The fish lies between the two.
    """

    def __init__(self, sizes: Sizes, start_c: float) -> None:
        self.air_c = self.goods_c = self.coil_c = start_c
        self.fish_c = 0.5 * (start_c + ICE_C)
        self.sizes = sizes
        self.ice = 1.0
        """What is left of the bed, 0…1."""

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        of, air_c = self.sizes, self.air_c
        iced = 1.2 if self.ice > 0.0 else 0.0
        from_air, from_ice = air_c - self.fish_c, ICE_C - self.fish_c
        to_bed = of.wall_share * (air_c - ICE_C) / of.wall_s if iced else 0.0
        to_fish = of.fish_share * from_air / of.fish_s
        to_goods = drive.goods * (air_c - self.goods_c) / of.fish_s
        inward = drive.leak * (drive.ambient_c - air_c) / of.leak_s
        warmth = inward - to_fish - to_bed - to_goods - of.power * drive.cooling
        self.air_c = self.coil_c = air_c + step_s * (warmth + of.heater * drive.heater)
        self.fish_c += step_s * (from_air + iced * from_ice) / of.fish_s
        self.goods_c += step_s * (air_c - self.goods_c) / of.fish_s
        # A bed lasts through some eighty kelvin-days of the air's capacity (our choice).
        taken = to_bed - of.fish_share * iced * from_ice / of.fish_s
        self.ice = max(0.0, self.ice - step_s * taken / (40.0 * of.wall_share))

    def make_up(self) -> None:
        """Shovel fresh ice on."""
        self.ice = 1.0


class LayeredCase:
    """Three bodies: two layers of air, and the fish in the upper one.

    The coil blows into the lower layer, where many hang the probe; the fan alone stirs the
    layers. With the fan stopped the lower one stays cold and the fish above warms: what a probe
    in the wrong place does not see for long.
    """

    def __init__(self, sizes: Sizes, start_c: float, *, probe_high: bool) -> None:
        self.lower_c = self.upper_c = self.fish_c = self.goods_c = start_c
        self.coil_c = self.air_c = start_c
        self.sizes = sizes
        self._high = probe_high

    def step(self, drive: Drive, step_s: float) -> None:
        """Go on by a step."""
        of, upper_c, lower_c = self.sizes, self.upper_c, self.lower_c
        stirred = (0.06 + 0.94 * drive.fan) * (upper_c - lower_c) / of.coil_s
        to_fish = of.fish_share * (upper_c - self.fish_c) / of.fish_s
        to_goods = drive.goods * (upper_c - self.goods_c) / of.fish_s
        inward = drive.leak * (drive.ambient_c - upper_c) / of.leak_s
        self.upper_c += step_s * (inward - 2.0 * stirred - to_fish - to_goods)
        worked = of.heater * drive.heater - of.power * drive.cooling * (0.15 + 0.85 * drive.fan)
        self.lower_c = max(lower_c + step_s * (2.0 * stirred + 2.0 * worked), -30.0)
        self.fish_c += step_s * (upper_c - self.fish_c) / of.fish_s
        self.goods_c += step_s * (upper_c - self.goods_c) / of.fish_s
        self.air_c = self.upper_c if self._high else self.lower_c
        self.coil_c = self.lower_c
