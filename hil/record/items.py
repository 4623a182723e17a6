"""The items of a hose test, all of them in every record: tested, noted, or not tested with the reason."""

PASS, MARGINAL, FAIL, NOTED, NOT_TESTED = "pass", "marginal", "fail", "noted", "not tested"
VERDICTS = (PASS, MARGINAL, FAIL, NOTED, NOT_TESTED)

SECTIONS = (
    ("site", "Site and day"),
    ("floats", "Floats by hand, horn, valves"),
    ("pump_1", "Pump 1 alone"),
    ("pump_2", "Pump 2 alone"),
    ("both", "Both pumps"),
    ("supply", "Supply"),
    ("left", "Left in order"),
    ("hand_over", "Handover"),
)

# (key, section, what it is called on the paper)
ITEMS = (
    ("safety", "site", "cautions read"),
    ("weather", "site", "weather"),
    ("water_table", "site", "water table"),
    ("found", "site", "controller as found"),
    ("float_off", "floats", "off float, lifted and released"),
    ("float_lead", "floats", "lead float, lifted and released"),
    ("float_lag", "floats", "lag float, lifted and released"),
    ("float_high", "floats", "high float, lifted: alarm and horn"),
    ("horn", "floats", "horn heard in the bedroom, doors shut"),
    ("silence", "floats", "silence button stops the horn"),
    ("valve_1", "floats", "isolation valve 1 operated"),
    ("valve_2", "floats", "isolation valve 2 operated"),
    ("rate_1", "pump_1", "pumped rate against the sizing"),
    ("amps_1", "pump_1", "amps against the nameplate"),
    ("volts_1", "pump_1", "supply volts under load"),
    ("check_2", "pump_1", "check valve 2 holds"),
    ("refill_1", "pump_1", "refill after the stop"),
    ("rate_2", "pump_2", "pumped rate against the sizing"),
    ("amps_2", "pump_2", "amps against the nameplate"),
    ("volts_2", "pump_2", "supply volts under load"),
    ("check_1", "pump_2", "check valve 1 holds"),
    ("refill_2", "pump_2", "refill after the stop"),
    ("rate_both", "both", "pumped rate against the sizing"),
    ("amps_both", "both", "amps against the nameplates"),
    ("volts_both", "both", "supply volts under load"),
    ("refill_both", "both", "refill after the stop"),
    ("leaks", "both", "no leaks at pipes, unions, valves"),
    ("outlet", "both", "flow at the outlet, away from the house"),
    ("battery_start", "supply", "battery at rest"),
    ("power_cut", "supply", "power cut in mid draw-down"),
    ("battery_10_min", "supply", "battery after 10 min on load"),
    ("trip_1", "supply", "power of pump 1 cut at its own device, pump named"),
    ("trip_2", "supply", "power of pump 2 cut at its own device, pump named"),
    ("tripped", "supply", "no nuisance trips"),
    ("left_auto", "left", "selectors at AUTO"),
    ("left_valves", "left", "valves open"),
    ("left_jumper", "left", "test jumper out"),
    ("left_forces", "left", "no forced inputs"),
    ("left_cover", "left", "cover on and fastened"),
    ("left_alarms", "left", "alarms reset"),
    ("left_settings", "left", "settings, checksum"),
    ("others", "hand_over", "what else was not tested, and why"),
    ("remarks", "hand_over", "remarks"),
    ("instructed", "hand_over", "owner instructed"),
    ("next_check", "hand_over", "next check"),
    ("installer", "hand_over", "installer"),
    ("license", "hand_over", "license"),
    ("owner", "hand_over", "owner or tenant"),
)
KEYS = tuple(item[0] for item in ITEMS)
TITLES = {key: title for key, _, title in ITEMS}
