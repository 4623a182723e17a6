"""Every question of the hose test in one place: what is asked, why, and what an answer looks like.

`{n}` is the pump in question, `{other}` the other one.  A row is (key, what is
asked, why, kind of answer, example in US units, in SI, least, most).
"""

from hil.commission.step_context import Question

_ROWS = (
    ("safety", "Have you read this, and is somebody within call?",
     "Two of these kill at once and without warning; a helper can cut the supply."),
    ("weather", "What has the weather been, these last days?",
     "The inflow of a dry week says nothing about a wet one.", "words", "dry for a week"),
    ("water_table", "Where does the water table stand, against the cellar floor, and where was it seen?",
     "It decides how much water the pit gets today and in the worst week.", "words",
     "2 ft below the floor, in the garden well", "60 cm below the floor, in the garden well"),
    ("unplugged", "Both cords pulled, or both circuits locked out?",
     "A selector opens a coil and no more; a welded contact would still run the pump."),
    ("horn", "Tie the `high` float up, go to the bedroom, shut all doors.  Is the horn loud enough to wake you?",
     "High water comes at night; an alarm that nobody hears is none."),
    ("valve_{n}", "Does it turn freely both ways, and does it stand fully open now?",
     "With a stuck valve nobody changes a pump in a flood; one left half shut costs half the flow."),
    ("plugged", "Stimuli out of the pit, both pumps plugged in, their circuits on?",
     "From here on the controller starts the pumps by itself.", "ready"),
    ("bucket_{n}", "The board has no off and lead contacts to time the water by.  What do you measure, by tape and "
     "watch in the pit or by bucket at the outlet?", "The rate is what the sizing stands on.", "flow", "30 gpm",
     "1.9 L/s", "0.5 gpm", "500 gpm"),
    ("clamp_{n}", "The board senses no current.  What did the clamp meter show on one conductor of pump {n} while it "
     "pumped?", "Too much: jammed or overloaded.  Too little: it moves no water.", "current", "8.2 A", "", "0 A",
     "200 A"),
    ("clamp_both_{n}", "Both pumping: what did the clamp meter show on pump {n}?",
     "Two motors on one supply pull its volts down and their amps up.", "current", "8.2 A", "", "0 A", "200 A"),
    ("plate_{n}", "Which current is on the data plate of pump {n}?",
     "A motor that draws more than its plate says is overloaded and burns out.", "current", "8.2 A", "", "0.2 A",
     "100 A"),
    ("plate_volts_{n}", "Which voltage is on the data plate of pump {n}?", "The measured volts are judged by it.",
     "voltage", "115 V", "230 V", "5 V", "1000 V"),
    ("volts_{n}", "What did the voltmeter show at the supply of pump {n} while it pumped?",
     "Low volts under load mean a long or thin cable or a bad terminal; the motor runs hot.", "voltage", "118 V",
     "231 V", "5 V", "1000 V"),
    ("volts_both", "What did the voltmeter show at the supply while both pumped?",
     "One feeder carries both: its drop shows only now.", "voltage", "116 V", "228 V", "5 V", "1000 V"),
    ("check_{other}", "While pump {n} ran, did pump {other} stand still, with no water coming back through it?",
     "Through a leaking check valve one pump only pumps back through the other, and turns it backwards."),
    ("leaks", "Pipes, unions, valves: all tight, and nothing but the weep holes spraying into the pit?",
     "Water that leaks back is pumped again and again; a drip behind a wall rots it."),
    ("outlet", "At the outlet outside, while they pumped: a full, steady jet, running away from the house?",
     "A frozen, crushed or blocked outlet stops both pumps at once."),
    ("battery_volts", "What does a voltmeter show at the battery, at rest?",
     "A tired battery shows it at rest or after ten minutes of work.", "voltage", "12.7 V", "", "5 V", "60 V"),
    ("battery_later", "What does a voltmeter show at the battery now?",
     "A tired battery is down after ten minutes of work.", "voltage", "12.4 V", "", "4 V", "60 V"),
    ("device_{n}", "Press the test button of pump {n}'s earth-fault device, or switch its breaker off and on.  Does it "
     "cut the pump off, and does it hold when set again?", "A device that does not trip protects nobody."),
    ("tripped", "Has any breaker or earth-fault device tripped by itself during the tests?",
     "One that trips without a fault leaves the cellar without a pump in the first storm.", "yes"),
    ("which_tripped", "Which, when, and how often?", "It tells the electrician where to look.", "words",
     "earth-fault device of pump 2, at its second start"),
    ("left_valves", "Both isolating valves fully open, and every union hand-tight and dry?",
     "A valve left shut is found in the flood."),
    ("left_cover", "Cover on the pit, and fastened?", "An open pit drowns a child."),
    ("others", 'What else was not tested, and why?  ("nothing" if nothing)',
     "Who reads the record must not take untested for good.", "words", "the generator: none on site"),
    ("remarks", 'Anything else for the record?  ("none" if none)', "What you know now, nobody knows in five years.",
     "words", "the outlet needs a grate before winter"),
    ("instructed", "Has the owner been shown alarm, silence button, breakers, and what to do in a power cut?",
     "At three at night nobody reads a manual."),
    ("next_check", "When is the next check due?", "Every three months, and before the wet season, is common practice.",
     "date", "2031-05-25"),
    ("installer", "Your name, and your firm's?", "Somebody answers for this paper.", "words",
     "first and last name, firm"),
    ("licence", 'Licence or registration number?  ("none" where none is asked for)',
     "Electrical and plumbing work on this is licensed in most places.", "words", "trade and number"),
    ("owner", "Name of the owner or tenant who was there?", "Somebody was shown, and says so.", "words",
     "first and last name"),
)  # fmt: skip


def _row(key, ask, why, kind="yes", us="", si="", least="", most=""):
    return key, (ask, why, kind, us, si or us, least, most)


_BY_KEY = dict(_row(*row) for row in _ROWS)


def question(context, key, n=None):
    """Return a Question by its key, as "volts_{n}", for pump `n` (1 or 2) in the units that the context speaks."""
    ask, why, kind, us, si, least, most = _BY_KEY[key]
    example = us if context.show.system == "us" else si
    fills = {"n": n, "other": 3 - n} if isinstance(n, int) else {"n": n}
    named = key.format(**fills) if "{" in key else key
    if n is not None:
        ask = ask.format(**fills)
    return Question(named, ask, why, kind, example, (), least, most)
