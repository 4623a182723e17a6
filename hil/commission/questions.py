"""Every question of the hose test: its text, the reason for it, and an example answer.

`{n}` is the pump in question, `{other}` the other one.  A row is (key, question,
reason, kind of answer, example in US units, in SI, least, most).
"""

from hil.commission.step_context import Question

_ROWS = (
    ("safety", "Have you read the cautions, and is a helper within call?",
     "Two of these kill at once and without warning; a helper can cut the power."),
    ("weather", "What has the weather been over the last few days?",
     "Inflow in a dry week tells nothing about a wet one.", "words", "dry for a week"),
    ("water_table", "Where does the water table stand, measured from the basement floor, and where was that seen?",
     "It decides how much water the pit gets today and in the worst week.", "words",
     "2 ft below the floor, in the garden well", "60 cm below the floor, in the garden well"),
    ("unplugged", "Are both pumps cut off now: plug out, circuit locked out, or fuse pulled?",
     "A selector only opens a relay coil; a welded contact would still run the pump."),
    ("stayed_dead_{n}", "The controller has switched pump {n} on in HAND.  Did it stay dead: no hum, no movement?",
     "A pump that you only believe to be cut off takes your hand off."),
    ("plug_in_sight_{n}", "The controller does not switch pump {n} on and cannot prove it dead.  {how}",
     "What the controller cannot prove, you must see."),
    ("horn", "Tie the `high` float up, go to the bedroom, close all doors.  Is the horn loud enough to wake you?",
     "High water comes at night; an alarm nobody hears is no alarm."),
    ("valve_{n}", "Does it turn freely both ways, and is it fully open now?",
     "With a seized valve nobody replaces a pump in a flood; one left half closed costs half the flow."),
    ("thermal", "Which motor brings its thermal contact out, through a relay to the controller?  (none, 1, 2, both)",
     "A bridge forgotten at that terminal reads cool for ever, and a hot motor goes on.", "words", "none"),
    ("plugged", "Hands and tools out of the pit, no float tied up, both pumps powered again?",
     "From here on the controller starts the pumps by itself.", "ready"),
    ("bucket_{n}", "There are no off and lead contacts to time the water by.  What is the pumped rate, by tape and "
     "watch in the pit or by bucket at the outlet?", "The sizing stands on this rate.", "flow", "30 gpm",
     "1.9 L/s", "0.5 gpm", "500 gpm"),
    ("clamp_{n}", "The controller senses no current.  What did the clamp meter read on one conductor of pump {n} while "
     "it ran?", "Too high: jammed or overloaded.  Too low: it moves no water.", "current", "8.2 A", "", "0 A",
     "200 A"),
    ("clamp_both_{n}", "With both running: what did the clamp meter read on pump {n}?",
     "Two motors on one supply pull the volts down and the amps up.", "current", "8.2 A", "", "0 A", "200 A"),
    ("plate_{n}", "What is the current on the nameplate of pump {n}?",
     "A motor that draws more than its nameplate is overloaded and burns out.", "current", "8.2 A", "", "0.2 A",
     "100 A"),
    ("plate_volts_{n}", "What is the voltage on the nameplate of pump {n}?", "The measured volts are judged by it.",
     "voltage", "115 V", "230 V", "5 V", "1000 V"),
    ("volts_{n}", "What did the voltmeter read at the supply of pump {n} while it ran?",
     "Low volts under load mean a long or thin cable or a bad terminal; the motor runs hot.", "voltage", "118 V",
     "231 V", "5 V", "1000 V"),
    ("volts_both", "What did the voltmeter read at the mains supply while both pumps ran?",
     "One feeder carries both: its drop shows only now.", "voltage", "116 V", "228 V", "5 V", "1000 V"),
    ("check_{other}", "While pump {n} ran, did pump {other} stand still, with no water coming back through it?  Look "
     "from above.", "Through a leaking check valve one pump pumps back through the other, and turns it backwards."),
    ("leaks", "Pipes, unions, valves: all tight, and nothing but the weep holes spraying into the pit?  Look, do not "
     "touch.", "Water that leaks back is pumped again and again; a drip behind a wall rots it."),
    ("outlet", "At the outlet outside, while they ran: a full, steady stream, running away from the house?",
     "A frozen, crushed or blocked outlet stops both pumps at once."),
    ("battery_volts", "What does a voltmeter read at the battery, at rest?",
     "A worn battery shows at rest or after ten minutes of load.", "voltage", "12.7 V", "", "5 V", "60 V"),
    ("battery_later", "What does a voltmeter read at the battery now?",
     "A worn battery is down after ten minutes of load.", "voltage", "12.4 V", "", "4 V", "60 V"),
    ("device_{n}", "{how}", "A device that does not trip protects nobody."),
    ("tripped", "Has any breaker or GFCI tripped by itself, or a fuse blown, during the tests?",
     "One that trips without a fault leaves the basement without a pump in the first storm.", "yes"),
    ("which_tripped", "Which, when, and how often?", "It tells the electrician where to look.", "words",
     "GFCI of pump 1, at its second start"),
    ("left_valves", "Both isolation valves fully open, and every union dry?  Look, do not reach into the pit.",
     "A valve left closed is found in the flood."),
    ("left_cover", "Cover on the pit, and fastened?", "An open pit drowns a child."),
    ("others", 'What else was not tested, and why?  ("nothing" if nothing)',
     "Whoever reads the record must not mistake untested for good.", "words", "the generator: none on site"),
    ("remarks", 'Any other remarks for the record?  ("none" if none)', "What you know now, nobody knows in five years.",
     "words", "the outlet needs a grate before winter"),
    ("instructed", "Has the owner been shown alarm, silence button, breakers, and what to do in a power outage?",
     "Nobody reads a manual at three in the morning."),
    ("next_check", "When is the next check due?", "Every three months, and before the wet season, is common practice.",
     "date", "2031-05-25"),
    ("installer", "Your name, and your company's?", "Somebody answers for this record.", "words",
     "first and last name, company"),
    ("license", 'License or registration number?  ("none" where none is required)',
     "Electrical and plumbing work is licensed in most places.", "words", "trade and number"),
    ("owner", "Name of the owner or tenant who was there?", "The owner or tenant was shown, and says so.", "words",
     "first and last name"),
)  # fmt: skip


def _row(key, ask, why, kind="yes", us="", si="", least="", most=""):
    return key, (ask, why, kind, us, si or us, least, most)


_BY_KEY = dict(_row(*row) for row in _ROWS)


def question(context, key, n=None, how=""):
    """Return a Question by its key, as "volts_{n}", for pump `n` (1 or 2) in the units that the context speaks.

    `how` are the words of `pump_supply` that the question leaves open.
    """
    ask, why, kind, us, si, least, most = _BY_KEY[key]
    example = us if context.show.system == "us" else si
    fills = {"n": n, "other": 3 - n} if isinstance(n, int) else {"n": n}
    named = key.format(**fills) if "{" in key else key
    if n is not None:
        ask = ask.format(**fills, how=how)
    return Question(named, ask, why, kind, example, (), least, most)
