"""The PC side: physics of a sump pit, the closed loop with the firmware's controller, reports, tools for a board."""

from host_sim.compiled import select

select.install()
