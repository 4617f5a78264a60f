"""Usual numbers of supplies, breakers and residual-current devices, each with its source.

They are for counting and warning only. Local code, what stands on the devices, and a licensed electrician come first.
"""

from __future__ import annotations

EFFICIENCY = 0.85
"""Part of its mains power that a supply gives as DC. Common practice, no source; less where it gives little."""
POWER_FACTOR = 0.6
"""Watts as a part of volt-amperes. Common practice, no source: small supplies have 0.5 to 0.7, those that correct
it 0.9 and more. A breaker is warned of rather too soon than too late."""
INRUSH_AMPS = 60.0
"""Amperes that a supply takes for a moment when it is switched on cold. Common practice, no source."""
LEAKAGE_MA = 1.0
"""Milliamperes that leak from a supply to earth. Common practice, no source."""
CONTINUOUS = 0.8
"""Part of its rating that a breaker carries for three hours and more. From memory: NFPA 70 (NEC), 210.20(A): 125 % of a
continuous load; Article 100: continuous is three hours or more. Elsewhere the local code says what holds."""
CONTINUOUS_HOURS = 3
LEAKED = 1 / 3
"""Part of what trips a residual-current device that may leak all the time. Common practice, no source. From memory: it
may trip from half of its rating on (IEC 61008-1), and IEC 61140 limits what one appliance leaks, not the sum."""
AT_ONCE = 5.0
"""Times its rating at which a breaker of type B opens at once, at the latest; it may from 3 times on. From memory: IEC
60898-1: type B 3 to 5 times, type C 5 to 10 times. How long the inrush lasts is not counted."""
LOCAL = "local code and a licensed electrician come first"
"""What stands behind all that is said of the mains."""
