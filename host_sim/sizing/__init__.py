"""Sizing: the arithmetic that decides whether any controller can keep the basement dry.

A site file goes in as a plain dictionary, is read into SI (`reading`), worked
through part by part (`inflow`, `head`, `cycling`, `room`, `reserve`, `battery`,
`wiring`, `contacts`), judged against the catalogue of remarks, and comes out
as a terminal summary, a printable page, JSON, a settings file and a site file
that `sumpbench night` takes.
"""
