"""After the night: what a log says happened, whether the controller did right, and what would have kept the floor dry.

`reading` takes a log in; `exact` and `changes` replay our own journal; `judge` runs the firmware on the water of a
table log; `turns`, `segments`, `inflow` and `findings` reconstruct; `whatif` tries changes; `account`, `picture` and
`zoom` report; `recorded` is what pump states tell by themselves; `streaming` takes a year in bounded memory; `regress`
takes a corpus of journals through two firmwares; the `command` modules are the work behind the command line, `inputs`
what they share; `api` is all of it as a library.
Nothing here simulates by itself: the closed loop is `host_sim.run.closed_loop`.
"""
