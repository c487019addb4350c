"""The guidance's exposure limits in the shape that ``science.exposure`` computes with.

Pure values, made from the provisions. Decides nothing.

References:
    [1] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed. (2011,
        revised 2019-2022), chapter 7 and Appendix 4.
    [2] FDA Food Code 2022, 3-501.19.
"""

import math
from typing import Final

from rimewatch.rules import provisions_food_code as food_code
from rimewatch.rules import provisions_hazards as hazards
from rimewatch.science.exposure import Band, BandLimits, TwoLineLimits
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.science.time_control import TimeControlLimits

_S_PER_H: Final = 3600.0


def _band_limits(hazard: str, start_f: float, bands: tuple[tuple[float, float], ...]) -> BandLimits:
    return BandLimits(
        hazard=hazard,
        from_c=celsius_of_fahrenheit(start_f),
        bands=tuple(
            Band(
                up_to_c=high_f if math.isinf(high_f) else celsius_of_fahrenheit(high_f),
                allowed_s=hours * _S_PER_H,
            )
            for high_f, hours in bands
        ),
    )


TABLE_A2: Final = tuple(_band_limits(*row) for row in hazards.TABLE_A2_ROWS)
"""One entry a hazard. A temperature in a gap of the printed table (say 50.5 °F)
counts in the warmer band. Source: [1], Appendix 4, Table A-2, from memory."""

OF_PACKS: Final = next(row for row in TABLE_A2 if "botulinum E" in row.hazard)
"""What grows without oxygen and in the cold, from 37.9 °F on: the hazard of vacuum packs."""

SCOMBROTOXIN_FRESH: Final = TwoLineLimits(
    hazard="scombrotoxin, fish not previously frozen",
    line_c=hazards.SCOMBROTOXIN_LINE_C,
    warm_line_c=hazards.SCOMBROTOXIN_WARM_LINE_C,
    cool_s=hazards.SCOMBROTOXIN_FRESH_COOL_H * _S_PER_H,
    warm_s=hazards.SCOMBROTOXIN_FRESH_WARM_H * _S_PER_H,
)
SCOMBROTOXIN_FROZEN: Final = TwoLineLimits(
    hazard="scombrotoxin, fish previously frozen",
    line_c=hazards.SCOMBROTOXIN_LINE_C,
    warm_line_c=hazards.SCOMBROTOXIN_WARM_LINE_C,
    cool_s=hazards.SCOMBROTOXIN_FROZEN_COOL_H * _S_PER_H,
    warm_s=hazards.SCOMBROTOXIN_FROZEN_WARM_H * _S_PER_H,
)

RAW_READY_TO_EAT: Final = TwoLineLimits(
    hazard="pathogens, raw ready-to-eat fish",
    line_c=hazards.RAW_RTE_LINE_C,
    hot_line_c=hazards.RAW_RTE_HOT_LINE_C,
    warm_line_c=hazards.RAW_RTE_WARM_LINE_C,
    cool_s=hazards.RAW_RTE_COOL_H * _S_PER_H,
    warm_s=hazards.RAW_RTE_WARM_H * _S_PER_H,
    mixed_total_s=hazards.RAW_RTE_MIXED_TOTAL_H * _S_PER_H,
    mixed_warm_s=hazards.RAW_RTE_MIXED_WARM_H * _S_PER_H,
)
ABOVE_COLD_HOLDING: Final = TwoLineLimits(
    hazard="time above the cold holding limit, in all",
    line_c=food_code.COLD_HOLDING_LIMIT_C,
    warm_line_c=food_code.TIME_CONTROL_6H_CEILING_C,
    cool_s=food_code.TIME_CONTROL_4H_H * _S_PER_H,
    warm_s=food_code.TIME_CONTROL_4H_H * _S_PER_H,
)
"""Cold food stays at the limit but for the time of 3-501.19(B) [2]; here all times count together,
since raw fish is put back into the case each time."""

TIME_CONTROL_4H: Final = TimeControlLimits(
    start_c=food_code.TIME_CONTROL_START_C,
    allowed_s=food_code.TIME_CONTROL_4H_H * _S_PER_H,
)
TIME_CONTROL_6H: Final = TimeControlLimits(
    start_c=food_code.TIME_CONTROL_START_C,
    allowed_s=food_code.TIME_CONTROL_6H_H * _S_PER_H,
    ceiling_c=food_code.TIME_CONTROL_6H_CEILING_C,
)
