"""After the night: what a log says happened, whether the controller did right, and what would have kept the floor dry.

`mapping`, `stamps`, `mend`, `foreign` and `sources` read a log; `exact` and `changes` replay our own journal;
`judge` puts the firmware beside a foreign log; `segments`, `inflow` and `signs` reconstruct; `whatif` tries
changes; `account`, `picture` and `zoom` tell it; `long` does a year in bounded memory.
Nothing here simulates by itself: the closed loop is `host_sim.run.closed_loop`.
"""
