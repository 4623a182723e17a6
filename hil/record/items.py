"""The items of a hose test, every one of them in every record: tested, noted, or not tested and why."""

PASS, MARGINAL, FAIL, NOTED, NOT_TESTED = "pass", "marginal", "fail", "noted", "not tested"
VERDICTS = (PASS, MARGINAL, FAIL, NOTED, NOT_TESTED)

SECTIONS = (
    ("site", "Place and day"),
    ("floats", "Floats by hand, horn, valves"),
    ("pump_1", "Pump 1 alone"),
    ("pump_2", "Pump 2 alone"),
    ("both", "Both pumps"),
    ("supply", "Supply"),
    ("left", "Left as"),
    ("hand_over", "Handing over"),
)

# (key, section, what it is called on the paper)
ITEMS = (
    ("safety", "site", "cautions read"),
    ("weather", "site", "weather"),
    ("water_table", "site", "water table"),
    ("found", "site", "board as found"),
    ("float_off", "floats", "off float, lifted and let go"),
    ("float_lead", "floats", "lead float, lifted and let go"),
    ("float_lag", "floats", "lag float, lifted and let go"),
    ("float_high", "floats", "high float, lifted: alarm and horn"),
    ("horn", "floats", "horn heard in the bedroom, doors shut"),
    ("silence", "floats", "silence button stops the horn"),
    ("valve_1", "floats", "isolating valve 1 worked"),
    ("valve_2", "floats", "isolating valve 2 worked"),
    ("rate_1", "pump_1", "pumped rate against the sizing"),
    ("amps_1", "pump_1", "amps against the data plate"),
    ("volts_1", "pump_1", "supply volts under load"),
    ("check_2", "pump_1", "idle check valve 2 holds"),
    ("refill_1", "pump_1", "refill after the stop"),
    ("rate_2", "pump_2", "pumped rate against the sizing"),
    ("amps_2", "pump_2", "amps against the data plate"),
    ("volts_2", "pump_2", "supply volts under load"),
    ("check_1", "pump_2", "idle check valve 1 holds"),
    ("refill_2", "pump_2", "refill after the stop"),
    ("rate_both", "both", "pumped rate against the sizing"),
    ("amps_both", "both", "amps against the data plates"),
    ("volts_both", "both", "supply volts under load"),
    ("refill_both", "both", "refill after the stop"),
    ("leaks", "both", "no leaks at pipes, unions, valves"),
    ("outlet", "both", "flow at the outlet, away from the house"),
    ("battery_start", "supply", "battery at the start"),
    ("power_cut", "supply", "power cut in mid draw-down"),
    ("battery_10_min", "supply", "battery after 10 min"),
    ("trip_1", "supply", "breaker or earth-fault device 1 tripped and named"),
    ("trip_2", "supply", "breaker or earth-fault device 2 tripped and named"),
    ("tripped", "supply", "no device tripped by itself"),
    ("left_auto", "left", "selectors at AUTO"),
    ("left_valves", "left", "valves open"),
    ("left_jumper", "left", "test jumper out"),
    ("left_forces", "left", "forces clear"),
    ("left_cover", "left", "cover on and fastened"),
    ("left_alarms", "left", "alarms reset"),
    ("left_settings", "left", "settings, checksum"),
    ("others", "hand_over", "what else was not tested, and why"),
    ("remarks", "hand_over", "remarks"),
    ("instructed", "hand_over", "owner instructed"),
    ("next_check", "hand_over", "next check"),
    ("installer", "hand_over", "installer"),
    ("licence", "hand_over", "licence"),
    ("owner", "hand_over", "owner or tenant"),
)
KEYS = tuple(item[0] for item in ITEMS)
TITLES = {key: title for key, _, title in ITEMS}
