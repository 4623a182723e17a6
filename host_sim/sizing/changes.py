"""What another value would change, of what a site file leaves out: said on the page beside each value that was assumed.

By the key of the site file; where a key stands in several tables, it changes
the same in each.
"""

CHANGES = {
    "margin": "the design inflow, and with it every figure that is held against it",
    "sensing": "whether a pump that moves no water is noticed",
    "outlet": "which pipe may be used",
    "body_diameter": "whether pumps and floats fit",
    "covered_to": "how low off may be",
    "starts_per_hour": "how large the pit must be",
    "least_run": "the remark on short runs",
    "least_rest": "the remark on short rests",
    "minimum_flow": "the remark on a pump near shut-off",
    "maximum_flow": "the remark on a pump beyond run-out",
    "weight": "whether the basin can float",
    "kind": "how far the floats must be apart, and whether they fit",
    "travel": "how far the floats must be apart",
    "material": "whether the pipe may stay",
    "to": "whether it is allowed",
    "distance": "how much water seeps back",
    "freezes": "whether ice stops both pumps",
    "freeze_relief": "whether ice stops both pumps",
    "wall": "whether the basin can float",
    "held_down": "whether the basin can float",
    "water_table": "whether the basin can float",
    "cover": "the caution about an open pit",
    "circuits": "whether one breaker stops both pumps",
    "wanted": "the battery that is proposed",
    "battery": "how long the battery lasts, and ventilation",
    "room": "how long the battery lasts",
    "vented": "the caution about battery gas",
    "cable": "voltage drop and wire size",
    "battery_voltage": "the battery's current, cable and fuse",
    "alarm": "whether a failed pump is noticed",
}
