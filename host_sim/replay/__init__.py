"""After the night: what a log says happened, whether the controller did right, and what would have kept the floor dry.

`reading` takes a log in; `exact` and `changes` replay our own journal; `judge` runs the firmware on the water of a
table log; `segments`, `inflow` and `findings` reconstruct; `whatif` tries changes; `account`, `picture` and `zoom`
report; `streaming` takes a year in bounded memory; `command`, `command_journal` and `command_streaming` are the work
behind the command line, `inputs` what they share.
Nothing here simulates by itself: the closed loop is `host_sim.run.closed_loop`.
"""
