"""What a person at the terminals is asked to do: turn a contact over, put a known value on."""

# What a person does to change a contact, by the beginning of its name.
CHANGE = {
    "float": "tip the float up",
    "thermal": "lift one wire of the thermal contact, or the bridge in its place, off its terminal",
    "moisture": "bridge the two terminals of the moisture relay's contact",
    "mains": "lift one wire of the mains relay's low-voltage contact, or the bridge in its place, off its "
             "terminal",
    "charging": "lift one wire of the charger's contact off its terminal",
    "generator": "bridge the two terminals of the transfer switch's contact",
    "silence": "press the button", "reset": "press the button", "test": "make the jumper",
}  # fmt: skip


# And what undoes it.
UNDO = {"float": "let the float hang down", "thermal": "put the wire of the thermal contact, or its bridge, back",
        "moisture": "take the bridge away",
        "mains": "put the wire of the mains relay's contact, or its bridge, back",
        "charging": "put the wire of the charger's contact back",
        "generator": "take the bridge away", "silence": "release the button",
        "reset": "release the button", "test": "take the jumper out"}  # fmt: skip
# How a known value is put on, by electrical class.
APPLY = {
    "current": "AC: a plug-in load on a cord splitter, sensor and meter's clamp round its x10 loop; DC: a fused 12 V "
               "lamp, its wire several times through sensor and clamp: n turns read n times. Nothing at line voltage "
               "is opened for it",
    "loop": "a resistor in the transmitter's place, 1.8 kohm 0.5 W, is about 12 mA; meter in series",
    "battery": "the battery itself; meter from X5:4 to X5:6, 0 V",
}  # fmt: skip


def change(one, was):
    """Return the order that turns a contact over from what it reads now, 1 closed or 0 open: it need not be at rest."""
    rest = int(one.rest.startswith("closed"))
    if one.name.startswith("selector"):
        return f"turn selector {one.name[9]} to {one.name[11:] if was == rest else 'AUTO'}"
    return (CHANGE if was == rest else UNDO)[one.name.split()[0]]
