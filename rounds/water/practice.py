"""What common practice allows a keeper to change, and where it says to act; without a source except where one is named.

Every text that speaks of such a limit takes it from here.
"""

from __future__ import annotations

from datetime import timedelta

SALINITY_UP_A_DAY, SALINITY_DOWN_A_DAY = 0.5, 1.0
"""PSU."""

CHANGE_A_DAY = 0.20
"""Share of the water changed, unless it is an emergency."""
NEW_WATER = "within 0.5 °C, 0.5 PSU and 1 dKH of the tank"
"""What water for a change has to be."""

SUPPLY_STEP = 0.10
"""Share of the total supply by which the standing dose may change in one step."""
RISE_A_DAY = 0.5
"""dKH a day above what is consumed."""
RISE_AT_ONCE = 0.2
"""dKH in one addition."""
ENOUGH_TESTS = 3
ENOUGH_DAYS = timedelta(days=4)
"""So much is tested before a dose is judged."""

LIMEWATER_A_DAY = 0.01
"""Share of the system's volume; more raises pH too far (computed with PyCO2SYS for closed water)."""
LIMEWATER_AN_HOUR = 0.001
STOP_PH = 8.45
"""NBS scale: above it limewater stops and nothing is raised."""

BARREL_SHARE = 0.09
"""Of its system a barrel on a float valve should hold at most so much: let in at once it takes 35 to 32.1, by mass
balance."""

EVAPORATION = (1.4, 7.5)
"""Millimetres a day from a surface indoors, from still, humid and cool to dry with moving air; a check on what is
measured, no forecast. ASHRAE Handbook, HVAC Applications, natatoriums (activity factor 0.5 to 1); Shah M.M. (2014),
ASHRAE Trans. 120(2)."""
EVAPORATION_DOUBTED = (0.5, 12.0)
"""Outside this the litres are doubted, not the room."""

UNIONISED_USUAL, UNIONISED_ACT = 0.01, 0.02
"""mg/L of nitrogen: the upper end of what is usual, and where to act."""

OUTDOOR_CO2 = 425
"""ppm, mean of the open air about 2024 (from memory)."""
ROOM_CO2_USUAL = 1000
"""ppm in the air of a room up to which it is aired well enough."""
ROOM_CO2_LEAVE = 5000
"""ppm in the air of a room: the limit over a working day (HSE EH40, read second-hand)."""
