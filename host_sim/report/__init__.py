"""Reports of a run: verdict, timeline, comparison, strip chart; the state machines as tables and Mermaid text.

Everything here reads a `host_sim.run.trace.Trace` (SI units inside) and writes
words, tables or pictures in the units that were asked for.  Nothing here
simulates or decides.
"""
